//! Scales and sets of notes.
//!
//! Owns what a scale contains and how it is spelled. The list of named kinds is data
//! (`presets/scales.toml`), not code.

use super::pitch::{Key, read_class};
use serde::{Deserialize, Serialize};

/// A named kind of scale, without its tonic.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScaleKind {
    /// What players call it: `major`, `dorian`, `minor pentatonic`.
    pub name: String,
    /// Other names for it.
    #[serde(default)]
    pub aliases: Vec<String>,
    /// Semitones above the tonic, rising from 0.
    pub steps: Vec<i32>,
    /// Its key signature against the major scale on the same tonic, in fifths: minor is −3.
    #[serde(default)]
    pub fifths: i32,
}

/// Letters in order of the alphabet's scale.
const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];

/// A scale on a tonic, or any set of notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scale {
    /// Its name, like `D major`; of a set, its notes.
    pub name: String,
    /// Pitch class of the tonic (of a set: its first note), 0 = C.
    pub tonic: i32,
    /// Semitones above the tonic, rising from 0, each below 12.
    pub steps: Vec<i32>,
    /// How its notes are spelled.
    pub key: Key,
}

impl Scale {
    /// `kind` on the tonic named `tonic` (`D`, `F#`, `Bb`); none when that is no note name.
    pub fn on(tonic: &str, kind: &ScaleKind) -> Option<Self> {
        let (semitones, fifths, rest) = read_class(tonic)?;
        let mut steps: Vec<i32> = kind.steps.iter().map(|s| s.rem_euclid(12)).collect();
        steps.push(0);
        steps.sort_unstable();
        steps.dedup();
        let key = Key::new(fifths + kind.fifths);
        let tonic = semitones.rem_euclid(12);
        rest.is_empty().then(|| Self {
            name: format!("{} {}", key.class_name(tonic), kind.name),
            tonic,
            steps,
            key,
        })
    }

    /// A set of note names like `D E F# A B`, in any order; none when a word is no note name or
    /// there is no word.
    pub fn of_notes(text: &str) -> Option<Self> {
        let words: Vec<&str> = text
            .split([' ', ',', '-'])
            .filter(|word| !word.is_empty())
            .collect();
        let mut classes = Vec::new();
        let mut fifths = Vec::new();
        for word in &words {
            let (semitones, place, rest) = read_class(word)?;
            if !rest.is_empty() || !word.starts_with(|c: char| c.is_ascii_uppercase()) {
                return None;
            }
            classes.push(semitones.rem_euclid(12));
            fifths.push(place);
        }
        let tonic = *classes.first()?;
        let mut steps: Vec<i32> = classes.iter().map(|c| (c - tonic).rem_euclid(12)).collect();
        steps.sort_unstable();
        steps.dedup();
        // Spelled as written: the key whose notes cover the set's stretch on the line of fifths.
        let lowest = fifths.iter().min()?;
        let highest = fifths.iter().max()?;
        Some(Self {
            name: words.join(" "),
            tonic,
            steps,
            key: Key::new((lowest + 1).max(highest - 5).min(highest + 1)),
        })
    }

    /// The name of a pitch class in it: a scale of seven notes uses every letter once.
    pub fn class_name(&self, class: i32) -> String {
        let degree = self
            .steps
            .iter()
            .position(|s| (self.tonic + s - class).rem_euclid(12) == 0)
            .filter(|_| self.steps.len() == 7);
        let Some(degree) = degree else {
            return self.key.class_name(class);
        };
        let (tonic, _) = self.key.spell(self.tonic);
        let first = LETTERS.iter().position(|l| *l == tonic).unwrap_or(0);
        let letter = LETTERS[(first + degree) % 7];
        let natural = super::pitch::letter_semitones(letter).unwrap_or(0);
        let alter = (class - natural + 6).rem_euclid(12) - 6;
        if alter.abs() > 2 {
            return self.key.class_name(class);
        }
        let sign = if alter < 0 { "b" } else { "#" };
        format!("{letter}{}", sign.repeat(alter.unsigned_abs() as usize))
    }

    /// The name of a pitch of it, with octave, like `F#3`.
    pub fn pitch_name(&self, midi: i32) -> String {
        let name = self.class_name(midi.rem_euclid(12));
        let (semitones, ..) = read_class(&name).unwrap_or((0, 0, ""));
        format!("{name}{}", (midi - semitones).div_euclid(12) - 1)
    }

    /// Its pitch classes, from the tonic upwards.
    pub fn classes(&self) -> Vec<i32> {
        self.steps
            .iter()
            .map(|s| (self.tonic + s).rem_euclid(12))
            .collect()
    }

    /// Does a MIDI pitch belong to it?
    pub fn contains(&self, midi: i32) -> bool {
        self.steps.contains(&(midi - self.tonic).rem_euclid(12))
    }

    /// Its notes from `low` to `high` (MIDI, both included).
    pub fn notes(&self, low: i32, high: i32) -> Vec<i32> {
        (low..=high).filter(|midi| self.contains(*midi)).collect()
    }
}
