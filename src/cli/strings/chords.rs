//! `strings --chords`: shapes of chords that somebody names, alone or as a progression.

use super::json::shape as shape_json;
use super::text::{WIDTH, heading};
use crate::cli::usage::usage;
use anyhow::Result;
use serde_json::json;
use std::fmt::Write;
use thumbline::music::chord::{Chord, Shape, shapes};
use thumbline::music::hand::Hand;
use thumbline::music::pitch::Key;
use thumbline::music::progression::{self, HeldChord};
use thumbline::music::score::Score;
use thumbline::music::tuning::Tuning;
use thumbline::report::sheet::Ground;
use thumbline::report::{shapes as shown, tab};
use thumbline::unit::Bpm;

/// Shapes of each chord that are told.
const TOLD: usize = 4;

/// Most chords of a progression.
const MOST: usize = 8;

/// Chords with their shapes, and the progression they make.
pub struct Chords {
    name: String,
    tuning: Tuning,
    asked: Vec<(Chord, Vec<Shape>)>,
    held: Vec<HeldChord>,
}

/// Reads one to eight chord names and finds their shapes.
pub fn answer(text: &str, name: &str, tuning: Tuning) -> Result<Chords> {
    let names: Vec<&str> = text
        .split([' ', ',', '|'])
        .filter(|word| !word.is_empty())
        .collect();
    if names.is_empty() || names.len() > MOST {
        return Err(usage(format!(
            "name one to {MOST} chords, like \"C Am F G\""
        )));
    }
    let hand = Hand::with_capo(tuning.capo());
    let mut asked: Vec<(Chord, Vec<Shape>)> = Vec::new();
    let mut chords = Vec::new();
    for name in names {
        let chord = Chord::parse(name).map_err(|e| usage(e.to_string()))?;
        if !asked.iter().any(|(known, _)| *known == chord) {
            let found = shapes(&chord, &tuning, &hand, TOLD);
            if found.is_empty() {
                return Err(usage(format!(
                    "no hand reaches {} in this tuning",
                    chord.name
                )));
            }
            asked.push((chord.clone(), found));
        }
        chords.push(chord);
    }
    let held = if chords.len() > 1 {
        progression::voice(&chords, &tuning, &hand, false).unwrap_or_default()
    } else {
        Vec::new()
    };
    Ok(Chords {
        name: name.to_owned(),
        tuning,
        asked,
        held,
    })
}

impl Chords {
    /// In words and tablature. Writing to a string cannot fail.
    pub fn text(&self) -> String {
        let mut out = String::new();
        heading(&mut out, &self.name, &self.tuning);
        let _ = writeln!(
            out,
            "\nShapes, easiest first (frets, then left-hand fingers, from the lowest string)"
        );
        for (chord, shapes) in &self.asked {
            for shape in shapes {
                let _ = writeln!(out, "  {:<7} {}", shape.name, shown::line(shape));
            }
            let _ = writeln!(out, "  notes of {}: {}", chord.name, notes(chord));
        }
        if let Some(score) = self.progression() {
            let _ = writeln!(out, "\nOne after the other, moving least and ringing most");
            out += &shown::progression(&self.held, self.tuning.capo());
            out.push('\n');
            out += &tab::text(&score, WIDTH);
        }
        out
    }

    fn progression(&self) -> Option<Score> {
        let first = self.held.first()?;
        let names: Vec<&str> = self.held.iter().map(|h| h.chord.name.as_str()).collect();
        let (title, key) = (names.join(" "), first.chord.key);
        Some(progression::score(
            &title,
            &self.held,
            &self.tuning,
            key,
            Bpm(72.0),
        ))
    }

    /// The progression, or the first shape of a lone chord, as a piece.
    pub fn score(&self) -> Option<Score> {
        self.progression().or_else(|| {
            let (chord, shapes) = self.asked.first()?;
            let held = HeldChord {
                chord: chord.clone(),
                shape: shapes.first()?.clone(),
                stay: Vec::new(),
                sound_on: Vec::new(),
            };
            let key = Key::default();
            Some(progression::score(
                &chord.name,
                &[held],
                &self.tuning,
                key,
                Bpm(72.0),
            ))
        })
    }

    /// As JSON.
    pub fn json(&self) -> String {
        let document = json!({
            "schema": "thumbline.chords",
            "version": 1,
            "tuning": super::json::tuning(&self.name, &self.tuning),
            "chords": self.asked.iter().map(|(chord, shapes)| json!({
                "name": chord.name,
                "shapes": shapes.iter().map(shape_json).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
            "progression": self.held.iter().map(|held| json!({
                "chord": held.chord.name,
                "shape": shape_json(&held.shape),
                "stay": held.stay.iter().map(|(finger, string, fret)| json!({
                    "finger": finger, "string": string, "fret": fret,
                })).collect::<Vec<_>>(),
                "sound_on": held.sound_on,
            })).collect::<Vec<_>>(),
        });
        format!("{document:#}\n")
    }

    /// Boxes: of the progression, or of every shape of a lone chord.
    pub fn picture(&self) -> String {
        let boxes: Vec<&Shape> = if self.held.is_empty() {
            self.asked.iter().flat_map(|(_, shapes)| shapes).collect()
        } else {
            self.held.iter().map(|h| &h.shape).collect()
        };
        let title = format!("Chords in {}", self.name);
        shown::svg(&title, &boxes, Ground::Paper, 4)
    }
}

fn notes(chord: &Chord) -> String {
    let names: Vec<String> = chord
        .classes()
        .iter()
        .map(|c| chord.key.class_name(*c))
        .collect();
    names.join(" ")
}
