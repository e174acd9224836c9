//! The neck in one tuning: where the notes of a scale lie, what rings, which chords it has, and where
//! the frets are.
//!
//! Owns what is asked of a neck and the answer; paths are found by `fingering`, shapes by `chord`,
//! nodes by `harmonics`. Window, command line and pictures show this answer and add nothing to it.

use super::chord::{Chord, Drone, Shape, drones, main_chords, shapes};
use super::fingering::{Costs, Path, on_one_string, paths, usual_line};
use super::hand::Hand;
use super::harmonics::{HIGHEST, Node, fret_distance_mm, nodes, sounding_length_mm};
use super::pitch::Key;
use super::scale::Scale;
use super::score::Score;
use super::tuning::Tuning;
use crate::dsp::pluck::{Played, Stroke};
use crate::unit::{MidiNote, Seconds, Span};

/// Paths that are found, shapes of each chord, and walks under drones.
const PATHS: usize = 3;
const SHAPES: usize = 3;
const DRONES: usize = 3;

/// Highest fret that can be asked for.
pub const LAST_FRET: i32 = 24;

/// What is asked of a neck.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Strings and capo.
    pub tuning: Tuning,
    /// The scale.
    pub scale: Scale,
    /// Lowest note (MIDI); without it, the lowest tonic that the guitar has.
    pub from: Option<i32>,
    /// Highest note; without it, two octaves up as far as the neck goes.
    pub to: Option<i32>,
    /// Highest fret to use, above the capo: 1 to [`LAST_FRET`].
    pub highest: i32,
}

/// Why a neck has no answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NeckError {
    /// The highest fret.
    #[error("the highest fret lies between 1 and {LAST_FRET}")]
    Highest,
    /// The range is upside down: the lower and the higher note as they were asked for.
    #[error("{0} lies above {1}: the lower note comes first")]
    Range(String, String),
    /// No string has any note of it.
    #[error(
        "no string reaches a note of {scale} from {from} to {to}: choose another range or tuning"
    )]
    Unreached {
        /// The scale's name.
        scale: String,
        /// Lowest note asked for.
        from: String,
        /// Highest note asked for.
        to: String,
    },
}

/// One note and everywhere it lies, open strings first.
#[derive(Debug, Clone, PartialEq)]
pub struct NotePlaces {
    /// Pitch.
    pub midi: i32,
    /// Its name in the scale, with octave.
    pub name: String,
    /// (string, fret above the capo).
    pub places: Vec<(u8, i32)>,
}

/// A scale on a neck.
#[derive(Debug, Clone, PartialEq)]
pub struct Neck {
    /// Strings and capo.
    pub tuning: Tuning,
    /// The scale.
    pub scale: Scale,
    /// Highest fret that was used.
    pub highest: i32,
    /// Its notes in the range, the lowest first.
    pub notes: Vec<NotePlaces>,
    /// Ways to play it up so that it rings, the best first.
    pub paths: Vec<Path>,
    /// Notes of the range that only one string has.
    pub alone: Vec<i32>,
    /// The mode's chords with their shapes, the easiest first.
    pub chords: Vec<(Chord, Vec<Shape>)>,
    /// Shapes that move up under open strings.
    pub drones: Vec<Drone>,
}

impl Neck {
    /// Answers a question.
    ///
    /// # Errors
    /// [`NeckError`] for a range that is upside down or that no string reaches, and for a highest fret
    /// that no neck has.
    pub fn of(asked: &Question) -> Result<Self, NeckError> {
        let Question {
            tuning,
            scale,
            highest,
            ..
        } = asked;
        if !(1..=LAST_FRET).contains(highest) {
            return Err(NeckError::Highest);
        }
        let (from, to) = asked.range()?;
        let line = scale.notes(from, to);
        let notes: Vec<NotePlaces> = line
            .iter()
            .map(|midi| {
                let mut places = tuning.places(*midi, *highest);
                places.sort_by_key(|(string, fret)| (*fret > 0, *fret, *string));
                NotePlaces {
                    midi: *midi,
                    name: scale.pitch_name(*midi),
                    places,
                }
            })
            .collect();
        let reached = notes.iter().filter(|n| !n.places.is_empty());
        let reached: Vec<i32> = reached.map(|n| n.midi).collect();
        if reached.is_empty() {
            return Err(NeckError::Unreached {
                scale: scale.name.clone(),
                from: scale.pitch_name(from),
                to: scale.pitch_name(to),
            });
        }
        let walked = if asked.from.is_none() && asked.to.is_none() {
            usual_line(tuning, scale, *highest)
        } else {
            reached
        };
        let hand = Hand::with_capo(tuning.capo());
        let with_shapes = |chord: Chord| {
            let found = shapes(&chord, tuning, &hand, SHAPES);
            (chord, found)
        };
        Ok(Self {
            paths: paths(tuning, &walked, *highest, &Costs::default(), PATHS),
            alone: on_one_string(tuning, &line, *highest),
            chords: main_chords(scale).into_iter().map(with_shapes).collect(),
            drones: drones(scale, tuning, &hand, DRONES),
            tuning: tuning.clone(),
            scale: scale.clone(),
            highest: *highest,
            notes,
        })
    }

    /// Pitch classes of the scale that some open string sounds, and those that none does, by name.
    pub fn open_classes(&self) -> (Vec<String>, Vec<String>) {
        let sounds = |class: i32| {
            let open = (1..=self.tuning.strings()).filter_map(|s| self.tuning.open(s));
            open.into_iter().any(|open| open.rem_euclid(12) == class)
        };
        let (open, stopped): (Vec<i32>, Vec<i32>) =
            self.scale.classes().into_iter().partition(|c| sounds(*c));
        let names = |classes: Vec<i32>| {
            let named = classes.into_iter().map(|c| self.scale.class_name(c));
            named.collect()
        };
        (names(open), names(stopped))
    }

    /// The best path as a piece called `title`.
    pub fn score(&self, title: &str) -> Option<Score> {
        let best = self.paths.first()?;
        Some(Score::of_path(title, &self.tuning, self.scale.key, best))
    }
}

impl Question {
    /// The range asked for, or two octaves from the lowest tonic, as far as the neck goes.
    fn range(&self) -> Result<(i32, i32), NeckError> {
        let (lowest, highest_open) = self.tuning.range().unwrap_or((40, 64));
        let tonic = lowest + (self.scale.tonic - lowest).rem_euclid(12);
        let from = self.from;
        let from = from.unwrap_or_else(|| self.to.map_or(tonic, |to| tonic.min(to)));
        let to = self.to;
        let to = to.unwrap_or((from + 24).min(highest_open + self.highest));
        if from > to {
            let name = |midi| self.scale.pitch_name(midi);
            return Err(NeckError::Range(name(from), name(to)));
        }
        Ok((from, to))
    }
}

/// One fret's wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wire {
    /// Fret above the capo (above the nut without one).
    pub fret: i32,
    /// From nut or capo, in mm.
    pub mm: f64,
}

/// The wires up to `highest` frets above nut or capo, of a guitar of scale length `scale_mm`: where
/// the rule of the twelfth root of two puts them.
pub fn wires(scale_mm: f64, capo: i32, highest: i32) -> Vec<Wire> {
    let length = sounding_length_mm(scale_mm, capo);
    (1..=highest.max(1))
        .map(|fret| Wire {
            fret,
            mm: fret_distance_mm(length, f64::from(fret)),
        })
        .collect()
}

/// A note that can be shown, told and sounded.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// String, 1 = highest.
    pub string: u8,
    /// Fret above the capo with fraction (nodes lie between frets), 0 = open.
    pub fret: f64,
    /// What is written in it: a note's name, or a finger.
    pub label: String,
    /// What it is, in words.
    pub told: String,
    /// It belongs to what is asked for: the path, the open strings, the octaves.
    pub strong: bool,
    /// Sounding pitch.
    pub pitch: MidiNote,
    /// Of a harmonic, its partial.
    pub partial: Option<u8>,
}

impl Neck {
    /// All places of its notes up to the highest fret; strong are those of the best path (`along`), else
    /// open strings. Told with distances on a guitar of scale length `scale_mm`.
    pub fn marks(&self, along: bool, scale_mm: f64) -> Vec<Mark> {
        let best = self.paths.first().filter(|_| along);
        let (low, high) = self.tuning.range().unwrap_or((40, 64));
        // Every place of every note, also outside the range that is walked.
        (low..=high + self.highest)
            .filter(|midi| self.scale.contains(*midi))
            .flat_map(|midi| {
                let places = self.tuning.places(midi, self.highest).into_iter();
                places.map(move |(string, fret)| (midi, string, fret))
            })
            .map(|(midi, string, fret)| {
                let name = self.scale.pitch_name(midi);
                let on_path = best.is_some_and(|path| {
                    let mut on = path.places.iter();
                    on.any(|p| (p.string, p.fret) == (string, fret))
                });
                Mark {
                    label: self.scale.class_name(midi.rem_euclid(12)),
                    told: told_place(&name, string, fret, &self.tuning, scale_mm),
                    strong: if along { on_path } else { fret == 0 },
                    pitch: self.pitch(string, fret, midi),
                    string,
                    fret: f64::from(fret),
                    partial: None,
                }
            })
            .collect()
    }

    fn pitch(&self, string: u8, fret: i32, midi: i32) -> MidiNote {
        let sounding = self.tuning.sounding(string, fret);
        sounding.unwrap_or(MidiNote(f64::from(midi)))
    }

    /// What a shape sounds, with the left hand's fingers as labels.
    pub fn shape_marks(&self, shape: &Shape, scale_mm: f64) -> Vec<Mark> {
        shape_marks(shape, &self.tuning, self.scale.key, scale_mm)
    }
}

/// What a shape sounds in `tuning`, with the left hand's fingers as labels.
pub fn shape_marks(shape: &Shape, tuning: &Tuning, key: Key, scale_mm: f64) -> Vec<Mark> {
    let strings = shape.frets.iter().enumerate();
    strings
        .filter_map(|(i, fret)| {
            let (string, fret) = (i as u8 + 1, (*fret)?);
            let pitch = tuning.sounding(string, fret)?;
            let name = key.pitch_name(pitch.nearest());
            let finger = shape.finger(string);
            let place = told_place(&name, string, fret, tuning, scale_mm);
            let (label, told) = match finger {
                Some(0) => ("T".to_owned(), format!("{place}, the thumb over the neck")),
                Some(n) => (n.to_string(), format!("{place}, finger {n}")),
                None => (key.class_name(pitch.nearest().rem_euclid(12)), place),
            };
            Some(Mark {
                string,
                fret: f64::from(fret),
                label,
                told,
                strong: true,
                pitch,
                partial: None,
            })
        })
        .collect()
}

/// The places of a path, each once, by their notes' names in `key`; told with distances on a guitar of
/// scale length `scale_mm`.
pub fn path_marks(path: &Path, tuning: &Tuning, key: Key, scale_mm: f64) -> Vec<Mark> {
    let mut marks: Vec<Mark> = Vec::new();
    for place in &path.places {
        let fret = f64::from(place.fret);
        if marks
            .iter()
            .any(|m| (m.string, m.fret) == (place.string, fret))
        {
            continue;
        }
        let name = key.pitch_name(place.midi);
        let sounding = tuning.sounding(place.string, place.fret);
        marks.push(Mark {
            string: place.string,
            fret,
            label: key.class_name(place.midi.rem_euclid(12)),
            told: told_place(&name, place.string, place.fret, tuning, scale_mm),
            strong: true,
            pitch: sounding.unwrap_or(MidiNote(f64::from(place.midi))),
            partial: None,
        });
    }
    marks
}

fn told_place(name: &str, string: u8, fret: i32, tuning: &Tuning, scale_mm: f64) -> String {
    if fret == 0 {
        return format!("{name}: string {string} open");
    }
    let mm = fret_distance_mm(sounding_length_mm(scale_mm, tuning.capo()), f64::from(fret));
    let from = start(tuning);
    format!("{name}: string {string}, fret {fret}, {mm:.0} mm from the {from}")
}

/// What distances are measured from.
pub fn start(tuning: &Tuning) -> &'static str {
    if tuning.capo() > 0 { "capo" } else { "nut" }
}

/// Natural harmonics of `tuning` up to fret `highest`; octaves and twelfths are strong. Partials above
/// the fifth hardly sound and are left out.
pub fn harmonic_marks(tuning: &Tuning, highest: f64, scale_mm: f64) -> Vec<Mark> {
    let length = sounding_length_mm(scale_mm, tuning.capo());
    let from = start(tuning);
    let shown = |n: &Node| n.number <= 5.min(HIGHEST) && n.fret <= highest + 0.5;
    nodes(tuning, HIGHEST)
        .into_iter()
        .filter(shown)
        .map(|n| {
            let name = Key { fifths: 1 }.pitch_name(n.pitch.nearest());
            let mm = n.distance_mm(length);
            Mark {
                string: n.string,
                // Nodes lie upon the wire, not behind it, even of whole frets.
                fret: n.fret + if n.fret.fract() == 0.0 { 1e-6 } else { 0.0 },
                label: Key { fifths: 1 }.class_name(n.pitch.nearest()),
                told: format!(
                    "{name}: string {}, partial {}, touched at fret {:.2}, {mm:.0} mm from the {from}{}",
                    n.string,
                    n.number,
                    n.fret,
                    off(n.cents.0)
                ),
                strong: n.number <= 3,
                pitch: n.pitch,
                partial: Some(n.number),
            }
        })
        .collect()
}

impl Mark {
    /// A stroke that sounds it at `at` and lets it ring for `rings`.
    pub fn stroke(&self, tuning: &Tuning, at: Seconds, rings: Span) -> Option<Played> {
        let open = tuning.sounding(self.string, 0)?;
        let until = at + rings;
        Some(if let Some(number) = self.partial {
            Played {
                stroke: Stroke::Harmonic { number },
                ..Played::pluck(at, until, self.string, open, 0)
            }
        } else {
            let fret = self.fret.round().clamp(0.0, f64::from(LAST_FRET)) as u8;
            Played::pluck(at, until, self.string, open, fret)
        })
    }
}

/// Strokes that sound `marks` one after the other, `apart` from each other, each ringing for `rings`; how
/// long all of it lasts.
pub fn strokes<'a>(
    marks: impl IntoIterator<Item = &'a Mark>,
    tuning: &Tuning,
    apart: Span,
    rings: Span,
) -> (Vec<Played>, Span) {
    let mut found = Vec::new();
    for mark in marks {
        let at = Seconds(LEAD.0 + apart.0 * found.len() as f64);
        found.extend(mark.stroke(tuning, at, rings));
    }
    let last = apart.0 * found.len().saturating_sub(1) as f64;
    (found, Span(LEAD.0 + last + rings.0 + 0.3))
}

/// Silence before the first stroke: its finger's knock begins before the note does.
const LEAD: Span = Span(0.02);

/// `, 14 cents flat` where somebody would hear it.
fn off(cents: f64) -> String {
    match cents.round() as i32 {
        n if n <= -3 => format!(", {} cents flat", -n),
        n if n >= 3 => format!(", {n} cents sharp"),
        _ => String::new(),
    }
}
