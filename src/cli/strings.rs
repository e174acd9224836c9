//! `strings`: where the notes of a scale lie in a tuning, open strings first.

mod capo;
mod chords;
mod guess;
mod harmonics;
mod json;
mod melody;
pub mod text;

use super::arguments::bars;
use super::outputs::OutputArguments;
use super::terminal::Terminal;
use super::{Command, source, usage};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use thumbline::music::chord::{Chord, Drone, Shape, drones, main_chords, shapes};
use thumbline::music::fingering::{Costs, Path, on_one_string, paths, usual_line};
use thumbline::music::hand::{Hand, SCALE_MM};
use thumbline::music::moves::{StringMove, string_moves};
use thumbline::music::pitch::read_pitch;
use thumbline::music::scale::Scale;
use thumbline::music::score::Score;
use thumbline::music::tuning::{HIGHEST_CAPO, Tuning};
use thumbline::preset::Presets;
use thumbline::report::file::Target;
use thumbline::report::neck::{Dot, Neck};
use thumbline::report::sheet::Ground;
use thumbline::report::{midi, musicxml, neck};

/// Paths that are shown, shapes of each chord, and walks under drones.
const PATHS: usize = 3;
const SHAPES: usize = 3;
const DRONES: usize = 3;

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

/// Everything that is known about a scale in a tuning.
struct Answer {
    tuning_name: String,
    tuning: Tuning,
    scale: Scale,
    notes: Vec<NotePlaces>,
    paths: Vec<Path>,
    against: String,
    moves: Vec<StringMove>,
    /// Notes of the path's line that only one string has.
    alone: Vec<i32>,
    chords: Vec<(Chord, Vec<Shape>)>,
    drones: Vec<Drone>,
    highest: i32,
}

/// One note and everywhere it lies, open strings first.
struct NotePlaces {
    midi: i32,
    name: String,
    places: Vec<(u8, i32)>,
}

impl Answer {
    /// Pitch classes of the scale that some open string sounds, and those that none does.
    fn open_classes(&self) -> (Vec<String>, Vec<String>) {
        let sounds = |class: i32| {
            (1..=self.tuning.strings())
                .filter_map(|s| self.tuning.open(s))
                .any(|open| open.rem_euclid(12) == class)
        };
        let (open, stopped): (Vec<i32>, Vec<i32>) =
            self.scale.classes().into_iter().partition(|c| sounds(*c));
        let names = |classes: Vec<i32>| {
            classes
                .into_iter()
                .map(|c| self.scale.class_name(c))
                .collect()
        };
        (names(open), names(stopped))
    }

    /// The best path as a piece.
    fn score(&self) -> Option<Score> {
        let best = self.paths.first()?;
        let title = format!("{}, {}", self.scale.name, self.tuning_name);
        Some(Score::of_path(&title, &self.tuning, self.scale.key, best))
    }
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
        if !(1..=24).contains(&self.highest) {
            return Err(usage("the highest fret lies between 1 and 24"));
        }
        let (from, to) = self.range(&tuning, &scale)?;
        let line = scale.notes(from, to);
        let notes: Vec<NotePlaces> = line
            .iter()
            .map(|midi| {
                let mut places = tuning.places(*midi, self.highest);
                places.sort_by_key(|(string, fret)| (*fret > 0, *fret, *string));
                NotePlaces {
                    midi: *midi,
                    name: scale.pitch_name(*midi),
                    places,
                }
            })
            .collect();
        let reached: Vec<i32> = notes
            .iter()
            .filter(|n| !n.places.is_empty())
            .map(|n| n.midi)
            .collect();
        if reached.is_empty() {
            return Err(usage(format!(
                "no string reaches a note of {} from {} to {}: choose another range or tuning",
                scale.name,
                scale.pitch_name(from),
                scale.pitch_name(to)
            )));
        }
        let hand = Hand::with_capo(tuning.capo());
        let line = if self.from.is_none() && self.to.is_none() {
            usual_line(&tuning, &scale, self.highest)
        } else {
            reached
        };
        Ok(Answer {
            paths: paths(&tuning, &line, self.highest, &Costs::default(), PATHS),
            alone: on_one_string(&tuning, &scale.notes(from, to), self.highest),
            // The capo moves both: what changes is the strings.
            moves: string_moves(&other.with_capo(tuning.capo()), &tuning),
            chords: main_chords(&scale)
                .into_iter()
                .map(|chord| {
                    let shapes = shapes(&chord, &tuning, &hand, SHAPES);
                    (chord, shapes)
                })
                .collect(),
            drones: drones(&scale, &tuning, &hand, DRONES),
            tuning_name,
            tuning,
            scale,
            notes,
            against,
            highest: self.highest,
        })
    }

    /// The range asked for, or two octaves from the lowest tonic, as far as the neck goes.
    fn range(&self, tuning: &Tuning, scale: &Scale) -> Result<(i32, i32)> {
        let pitch = |text: &Option<String>| -> Result<Option<i32>> {
            let Some(text) = text else { return Ok(None) };
            read_pitch(text).map(Some).ok_or_else(|| {
                usage(format!(
                    "`{text}` is no note: write it with its octave, like D3 or F#4"
                ))
            })
        };
        let (lowest, highest_open) = tuning.range().unwrap_or((40, 64));
        let from = pitch(&self.from)?;
        let to = pitch(&self.to)?;
        let tonic = lowest + (scale.tonic - lowest).rem_euclid(12);
        let from = from.unwrap_or_else(|| to.map_or(tonic, |to| tonic.min(to)));
        let to = to.unwrap_or((from + 24).min(highest_open + self.highest));
        if from > to {
            return Err(usage(format!(
                "{} lies above {}: give the lower note as --from",
                scale.pitch_name(from),
                scale.pitch_name(to)
            )));
        }
        Ok((from, to))
    }
}

/// All places of the scale, the best path drawn through them.
fn picture(answer: &Answer) -> String {
    let best = answer.paths.first();
    let dots: Vec<Dot> = answer
        .notes
        .iter()
        .flat_map(|note| {
            note.places.iter().map(move |(string, fret)| Dot {
                string: *string,
                fret: f64::from(*fret),
                label: answer.scale.class_name(note.midi.rem_euclid(12)),
                title: match fret {
                    0 => format!("{}: string {string} open", note.name),
                    _ => format!("{}: string {string}, fret {fret}", note.name),
                },
                strong: best.is_some_and(|path| {
                    path.places
                        .iter()
                        .any(|p| (p.string, p.fret) == (*string, *fret))
                }),
            })
        })
        .collect();
    let path: Vec<(u8, f64)> = best
        .iter()
        .flat_map(|path| path.places.iter().map(|p| (p.string, f64::from(p.fret))))
        .collect();
    let capo = match answer.tuning.capo() {
        0 => String::new(),
        fret => format!(", capo {fret}"),
    };
    let title = format!("{} in {}{capo}", answer.scale.name, answer.tuning_name);
    neck::svg(
        &Neck {
            title: &title,
            tuning: &answer.tuning,
            dots: &dots,
            path: &path,
            highest: answer.highest.clamp(3, 24) as u8,
        },
        Ground::Paper,
    )
}
