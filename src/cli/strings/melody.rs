//! `strings --melody`: a melody on the neck again, on open strings where they help.

use super::json::tuning as tuning_json;
use super::text::{WIDTH, heading, wrapped};
use crate::cli::source;
use crate::cli::terminal::Terminal;
use crate::cli::usage::usage;
use anyhow::Result;
use serde_json::json;
use std::fmt::Write;
use std::path::Path;
use thumbline::analysis::Options;
use thumbline::load::{Part, melody};
use thumbline::music::fingering::Costs;
use thumbline::music::melody::{Melody, Refingered};
use thumbline::music::pitch::Key;
use thumbline::music::tuning::Tuning;
use thumbline::music::{key, picking};
use thumbline::report::tab;

/// A melody and where it lies now.
pub struct Fingered {
    name: String,
    tuning: Tuning,
    melody: Melody,
    found: Refingered,
}

/// Reads a MIDI or MusicXML file, or hears the melody of a recording's `bars`, and fingers it.
pub fn answer(
    file: &Path,
    bars: Option<(i32, i32)>,
    name: &str,
    tuning: Tuning,
    highest: i32,
    terminal: &Terminal,
) -> Result<Fingered> {
    let start = std::fs::read(file).map(|bytes| bytes.into_iter().take(64).collect::<Vec<u8>>());
    let melody = if start.is_ok_and(|start| melody::is_melody(&start)) {
        melody::read(file)?
    } else {
        heard(file, bars, terminal)?
    };
    let found = melody
        .refinger(&tuning, highest, &Costs::default())
        .map_err(|e| usage(e.to_string()))?;
    Ok(Fingered {
        name: name.to_owned(),
        tuning,
        melody,
        found,
    })
}

fn heard(file: &Path, bars: Option<(i32, i32)>, terminal: &Terminal) -> Result<Melody> {
    let recording = source::read(file, Part::WHOLE, terminal)?;
    let heard = source::analyze(&recording, &Options::default(), terminal)?;
    let placed = picking::place(&heard.notes, &heard.grid);
    let division = picking::division(&placed, heard.grid.meter);
    let offset = heard.tuning_offset.unwrap_or_default();
    let key = key::of_notes(&heard.notes, offset)
        .map_or_else(Key::default, thumbline::music::key::Tonality::signature);
    let all = heard.grid.bars();
    let whole = all
        .first()
        .zip(all.last())
        .map(|(a, b)| (a.number, b.number));
    let Some(range) = bars.or(whole) else {
        anyhow::bail!("`{}` has no steady beat to find bars by", recording.name());
    };
    let title = recording.title();
    Melody::of_recording(title, &heard.notes, &heard.grid, key, division, range).ok_or_else(|| {
        usage(format!(
            "`{}` has no bars {} to {}",
            recording.name(),
            range.0,
            range.1
        ))
    })
}

impl Fingered {
    /// In words and tablature. Writing to a string cannot fail.
    pub fn text(&self) -> String {
        let mut out = String::new();
        heading(&mut out, &self.name, &self.tuning);
        let path = &self.found.path;
        let _ = writeln!(
            out,
            "\n{}: {} of {} notes are open, {:.0} of 100 ring on into the next",
            self.melody.title,
            path.open_notes(),
            path.places.len(),
            100.0 * path.ringing()
        );
        out += &tab::text(&self.found.score, WIDTH);
        let _ = writeln!(
            out,
            "Each note's places (string:fret, 0 is open), the one taken first"
        );
        let mut told: Vec<i32> = Vec::new();
        for (note, (choices, place)) in self
            .melody
            .notes
            .iter()
            .zip(self.found.choices.iter().zip(&path.places))
        {
            if told.contains(&note.midi) {
                continue;
            }
            told.push(note.midi);
            let mut names = vec![format!("{}:{}", place.string, place.fret)];
            names.extend(
                choices
                    .iter()
                    .filter(|c| (c.string, c.fret) != (place.string, place.fret))
                    .map(|c| format!("{}:{}", c.string, c.fret)),
            );
            let line = format!(
                "{:<4} {}",
                self.melody.key.pitch_name(note.midi),
                names.join(" ")
            );
            let _ = writeln!(out, "  {}", wrapped(&line, WIDTH - 2));
        }
        out
    }

    /// As JSON.
    pub fn json(&self) -> String {
        let path = &self.found.path;
        let document = json!({
            "schema": "thumbline.melody",
            "version": 1,
            "title": self.melody.title,
            "tuning": tuning_json(&self.name, &self.tuning),
            "rings_on": path.ringing(),
            "notes": self.melody.notes.iter().enumerate().map(|(i, n)| json!({
                "beat": n.at.0,
                "midi": n.midi,
                "name": self.melody.key.pitch_name(n.midi),
                "string": path.places[i].string,
                "fret": path.places[i].fret,
                "finger": path.fingers[i],
                "choices": self.found.choices[i].iter().map(|c| json!({
                    "string": c.string, "fret": c.fret,
                })).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
        });
        format!("{document:#}\n")
    }

    /// As a piece.
    pub fn score(&self) -> &thumbline::music::score::Score {
        &self.found.score
    }
}
