//! `strings`: where the notes of a scale lie in a tuning, open strings first.

mod answer;
mod capo;
mod chords;
mod guess;
mod harmonics;
mod json;
mod melody;
pub mod text;

use super::arguments::bars;
use super::command::Command;
use super::outputs::OutputArguments;
use super::source;
use super::terminal::Terminal;
use super::usage::usage;
use answer::Answer;
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use thumbline::music::hand::SCALE_MM;
use thumbline::music::moves::string_moves;
use thumbline::music::neck::{Neck, Question, wires};
use thumbline::music::pitch::read_pitch;
use thumbline::music::tuning::{HIGHEST_CAPO, Tuning};
use thumbline::preset::Presets;
use thumbline::report::file::Target;
use thumbline::report::neck::{self, Picture};
use thumbline::report::sheet::Ground;
use thumbline::report::{midi, musicxml};

/// Find the notes of a scale in a tuning, a path that lets them ring, and chord shapes.
#[derive(Args)]
pub struct Strings {
    /// Tuning by name, or its strings from the lowest: "D A D G A D", "x" for a missing one.
    #[arg(long, default_value = "standard")]
    tuning: String,
    /// Fret of the capo.
    #[arg(long, default_value_t = 0)]
    capo: i32,
    /// Scale by tonic and kind, or its notes: "D major", "E minor pentatonic", "D E G A".
    #[arg(long, default_value = "D major")]
    scale: String,
    /// Lowest note; without it, the lowest tonic that the guitar has.
    #[arg(long, value_name = "NOTE")]
    from: Option<String>,
    /// Highest note; without it, two octaves up as far as the neck goes.
    #[arg(long, value_name = "NOTE")]
    to: Option<String>,
    /// Highest fret to use, above the capo; of harmonics, the highest that is listed.
    #[arg(long, value_name = "FRET", default_value_t = 12)]
    highest: i32,
    /// The tuning to compare with.
    #[arg(long, value_name = "TUNING", default_value = "standard")]
    against: String,
    /// Natural harmonics instead: where they lie, how they sound, and what can be played in them.
    #[arg(long)]
    harmonics: bool,
    /// Shapes of chords instead, and how they follow each other: "C Am F G", "D/F#", "Asus4".
    #[arg(long, value_name = "CHORDS", conflicts_with = "harmonics")]
    chords: Option<String>,
    /// Where to put the capo for a key instead, so that its chords have open strings: "Eb".
    #[arg(long, value_name = "KEY", conflicts_with_all = ["harmonics", "chords"])]
    capo_for: Option<String>,
    /// Put a melody on the neck instead: a MIDI or MusicXML file, or a recording's melody.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["harmonics", "chords", "capo_for"])]
    melody: Option<PathBuf>,
    /// Bars of the recording whose melody it is, "5-8".
    #[arg(long, value_name = "BARS", requires = "melody", value_parser = bars)]
    bars: Option<(i32, i32)>,
    /// Guess the tuning of a recording instead: which known tuning, capo and detune fit.
    #[arg(long, value_name = "REC")]
    guess: Option<PathBuf>,
    /// Scale length of the guitar in millimetres, nut to saddle.
    #[arg(long, value_name = "MM", default_value_t = SCALE_MM)]
    length_mm: f64,
    /// Write the answer as JSON ("-" for standard output).
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write a picture of the neck.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Write the best path (of harmonics: the drill) as a MIDI file.
    #[arg(long, value_name = "FILE")]
    midi: Option<PathBuf>,
    /// Write the best path (of harmonics: the drill) as MusicXML, with notation and tablature.
    #[arg(long, value_name = "FILE")]
    musicxml: Option<PathBuf>,
    #[command(flatten)]
    outputs: OutputArguments,
}

impl Command for Strings {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let presets = source::presets(terminal);
        let read: Vec<_> = self.guess.as_deref().into_iter().collect();
        let reports = [&self.json, &self.svg, &self.midi, &self.musicxml].map(Option::as_ref);
        let [json, svg, midi, musicxml] = self.outputs.targets(&read, reports)?;
        let to_output = [&json, &svg, &midi, &musicxml]
            .iter()
            .any(|t| **t == Some(Target::Output));
        if let Some(rec) = &self.guess {
            if svg.is_some() || midi.is_some() || musicxml.is_some() {
                return Err(usage("a guess is written as text or with --json only"));
            }
            return guess::run(rec, &presets, json, terminal);
        }
        let (tuning_name, tuning) = self.tuning(&presets)?;
        let (report, words, picture, score) = if self.harmonics {
            let answer =
                harmonics::answer(&tuning_name, tuning, &presets, self.length_mm, self.highest)?;
            let words = answer.text();
            (answer.json(), words, answer.picture(), Some(answer.score()))
        } else if let Some(names) = &self.chords {
            let answer = chords::answer(names, &tuning_name, tuning)?;
            (
                answer.json(),
                answer.text(),
                answer.picture(),
                answer.score(),
            )
        } else if let Some(file) = &self.melody {
            if svg.is_some() {
                return Err(usage(
                    "a melody is written as text, --json, --midi or --musicxml",
                ));
            }
            let (bars, highest) = (self.bars, self.highest);
            let answer = melody::answer(file, bars, &tuning_name, tuning, highest, terminal)?;
            let score = answer.score().clone();
            (answer.json(), answer.text(), String::new(), Some(score))
        } else if let Some(key) = &self.capo_for {
            if svg.is_some() || midi.is_some() || musicxml.is_some() {
                return Err(usage(
                    "places of the capo are told as text or with --json only",
                ));
            }
            let answer = capo::answer(key, &tuning_name, tuning, &presets)?;
            (answer.json(), answer.text(), String::new(), None)
        } else {
            let answer = self.answer(tuning_name, tuning, &presets)?;
            let (words, picture) = (text::of(&answer), picture(&answer));
            (json::of(&answer), words, picture, answer.score())
        };
        if let Some(target) = json {
            target.write(|out| out.write_all(report.as_bytes()))?;
        }
        if let Some(target) = svg {
            target.write(|out| out.write_all(picture.as_bytes()))?;
        }
        if let Some(score) = score {
            if let Some(target) = midi {
                target.write(|out| out.write_all(&midi::score(&score)?))?;
            }
            if let Some(target) = musicxml {
                target.write(|out| out.write_all(&musicxml::score(&score)?))?;
            }
        } else if midi.is_some() || musicxml.is_some() {
            return Err(usage(
                "there is no path to write: choose a range that the strings reach",
            ));
        }
        if !to_output {
            terminal.say(words.trim_end())?;
        }
        Ok(())
    }
}

impl Strings {
    fn tuning(&self, presets: &Presets) -> Result<(String, Tuning)> {
        if !(0..=HIGHEST_CAPO).contains(&self.capo) {
            return Err(usage(format!(
                "a capo sits between fret 0 (none) and {HIGHEST_CAPO}, not at {}",
                self.capo
            )));
        }
        let (name, tuning) = presets
            .tuning(&self.tuning)
            .map_err(|e| usage(e.to_string()))?;
        Ok((name, tuning.with_capo(self.capo)))
    }

    fn answer(&self, tuning_name: String, tuning: Tuning, presets: &Presets) -> Result<Answer> {
        let scale = presets
            .scale(&self.scale)
            .map_err(|e| usage(e.to_string()))?;
        let (against, other) = presets
            .tuning(&self.against)
            .map_err(|e| usage(e.to_string()))?;
        let pitch = |text: &Option<String>| -> Result<Option<i32>> {
            let Some(text) = text else { return Ok(None) };
            read_pitch(text).map(Some).ok_or_else(|| {
                usage(format!(
                    "`{text}` is not a note: write it with its octave, like D3 or F#4"
                ))
            })
        };
        if !(100.0..=2000.0).contains(&self.length_mm) {
            return Err(usage("a string is between 100 and 2000 mm long"));
        }
        let question = Question {
            from: pitch(&self.from)?,
            to: pitch(&self.to)?,
            highest: self.highest,
            tuning,
            scale,
        };
        let neck = Neck::of(&question).map_err(|e| usage(e.to_string()))?;
        let capo = neck.tuning.capo();
        Ok(Answer {
            // The capo moves both: what changes is the strings.
            moves: string_moves(&other.with_capo(capo), &neck.tuning),
            wires: wires(self.length_mm, capo, self.highest),
            length_mm: self.length_mm,
            tuning_name,
            neck,
            against,
        })
    }
}

/// All places of the scale, the best path drawn through them.
fn picture(answer: &Answer) -> String {
    let neck = &answer.neck;
    let best = neck.paths.first();
    let marks = neck.marks(true, answer.length_mm);
    let path: Vec<(u8, f64)> = best
        .iter()
        .flat_map(|path| path.places.iter().map(|p| (p.string, f64::from(p.fret))))
        .collect();
    let capo = match neck.tuning.capo() {
        0 => String::new(),
        fret => format!(", capo {fret}"),
    };
    let title = format!("{} in {}{capo}", neck.scale.name, answer.tuning_name);
    neck::svg(
        &Picture {
            title: &title,
            tuning: &neck.tuning,
            marks: &marks,
            path: &path,
            highest: neck.highest.clamp(3, 24) as u8,
        },
        Ground::Paper,
    )
}
