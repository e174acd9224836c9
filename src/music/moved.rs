//! A melody against the beat: the same line on it, half of it off, all of it off, over a steady thumb.
//!
//! Owns which note goes where; what is pushed and delayed is `syncopation::senses`, so that a line is
//! moved by the rule by which a recording's is read. The order (on the beat, half-way, off it) is common
//! practice, no source.

use super::fingering::Costs;
use super::melody::{Melody, MelodyNote, RefingerError};
use super::note::Role;
use super::score::{Finger, Score, Written};
use super::syncopation::{Sense, senses};
use super::tuning::Tuning;
use crate::unit::{Beats, Bpm};
use serde::{Deserialize, Serialize};

/// Which way notes leave the beat.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// Ahead of it: each belongs to the next beat.
    #[default]
    Pushed,
    /// Behind it: each belongs to the beat before.
    Delayed,
}

/// How much of a line is off the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Degree {
    /// Every note on the beat it belongs to.
    On,
    /// Every second one off it.
    HalfWay,
    /// Every one off it.
    Off,
}

impl Degree {
    /// From the first to the last.
    pub const ALL: [Self; 3] = [Self::On, Self::HalfWay, Self::Off];

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::On => "On the beat",
            Self::HalfWay => "Half-way",
            Self::Off => "Off the beat",
        }
    }

    /// When it is good.
    pub fn goal(self) -> &'static str {
        match self {
            Self::On => "thumb and finger sound as one wherever they meet",
            Self::HalfWay => "the notes off the beat are as loud and as long as those on it",
            Self::Off => "the thumb does not follow the melody; you can count aloud all through",
        }
    }
}

/// Parts of a beat that a line is moved by.
const PARTS: usize = 2;

/// Highest fret.
const HIGHEST: i32 = 12;

/// One way to play the line.
#[derive(Debug, Clone, PartialEq)]
pub struct Version {
    /// How much of it is off the beat.
    pub degree: Degree,
    /// It over the thumb, on the page.
    pub score: Score,
}

/// A melody in all three degrees at `tempo`, on the neck of `tuning`, a thumb on every beat below it on a
/// string that the line leaves free.
///
/// # Errors
/// [`RefingerError`] where it has no notes, or one that no string reaches.
pub fn versions(
    melody: &Melody,
    tuning: &Tuning,
    tempo: Bpm,
    way: Way,
) -> Result<Vec<Version>, RefingerError> {
    let straight = on_the_beat(&melody.notes);
    let per_bar = f64::from(melody.meter.beats().max(1));
    Degree::ALL
        .into_iter()
        .map(|degree| {
            let mut notes = moved(&straight, degree, way);
            // What would begin before the first bar has a bar of thumb before it.
            if notes.iter().any(|n| n.at.0 < 0.0) {
                for note in &mut notes {
                    note.at.0 += per_bar;
                }
            }
            let line = Melody {
                title: format!("{}, {}", melody.title, degree.name().to_lowercase()),
                tempo,
                notes,
                ..melody.clone()
            };
            let found = line.refinger(tuning, HIGHEST, &Costs::default())?;
            let mut score = found.score;
            for note in &mut score.notes {
                note.role = Role::Melody;
            }
            alternate(&mut score);
            thumb(&mut score, &line);
            Ok(Version { degree, score })
        })
        .collect()
}

/// Every note on the beat it belongs to; what passes between two played beats is left out.
fn on_the_beat(notes: &[MelodyNote]) -> Vec<MelodyNote> {
    let pulse = |n: &MelodyNote| (n.at.0 * PARTS as f64).round().max(0.0) as usize;
    let mut pulses: Vec<usize> = notes.iter().map(pulse).collect();
    pulses.sort_unstable();
    pulses.dedup();
    let senses = senses(&pulses, PARTS, None);
    let straight = notes.iter().filter_map(|note| {
        let at = pulse(note);
        let sense = senses.iter().find(|(p, _)| *p == at).map(|s| s.1);
        let at = match sense {
            None => at,
            Some(Sense::Pushed { to }) => to,
            Some(Sense::Delayed { from }) => from,
            Some(Sense::Passing) => return None,
        };
        Some(MelodyNote {
            at: Beats(at as f64 / PARTS as f64),
            length: Beats(1.0),
            midi: note.midi,
        })
    });
    Melody::top_line(straight.collect())
}

/// The notes of a line on the beat, those of `degree` moved off it.
fn moved(straight: &[MelodyNote], degree: Degree, way: Way) -> Vec<MelodyNote> {
    let by = match way {
        Way::Pushed => -1.0 / PARTS as f64,
        Way::Delayed => 1.0 / PARTS as f64,
    };
    let off = |i: usize| match degree {
        Degree::On => false,
        Degree::HalfWay => i % 2 == 1,
        Degree::Off => true,
    };
    let notes = straight.iter().enumerate().map(|(i, note)| MelodyNote {
        at: Beats(note.at.0 + if off(i) { by } else { 0.0 }),
        ..*note
    });
    notes.collect()
}

/// Index and middle finger in turn.
fn alternate(score: &mut Score) {
    for (i, note) in score.notes.iter_mut().enumerate() {
        note.finger = Some(if i % 2 == 0 { Finger::I } else { Finger::M });
    }
}

/// A thumb's stroke on every beat, on the lowest open string that the line leaves free and whose note
/// belongs to its key.
fn thumb(score: &mut Score, line: &Melody) {
    let tuning = score.tuning.clone();
    let used = |string: u8| score.notes.iter().any(|n| n.string == string);
    let tonic = 7 * line.key.fifths;
    let belongs = |string: &u8| {
        let step = tuning
            .open(*string)
            .map(|open| (open - tonic).rem_euclid(12));
        step.is_some_and(|s| [0, 2, 4, 5, 7, 9, 11].contains(&s))
    };
    let free = (1..=tuning.strings())
        .rev()
        .filter(|s| !used(*s) && tuning.open(*s).is_some());
    let free: Vec<u8> = free.collect();
    let Some(string) = free.iter().copied().find(belongs).or(free.first().copied()) else {
        return;
    };
    let per_bar = f64::from(score.meter.beats().max(1));
    let bars = score.bars().max(1) as f64;
    let beats = (bars * per_bar) as usize;
    score.notes.extend((0..beats).map(|beat| {
        let mut note = Written::pluck(Beats(beat as f64), Beats(1.0), string, 0);
        note.role = Role::Bass;
        note.finger = Some(Finger::P);
        note
    }));
    score.settle();
}
