//! A guitar's tuning: which pitch each open string has, with a capo or without.
//!
//! Owns pitches of strings and places on the neck; what a player does with them is elsewhere.

use crate::unit::MidiNote;
use serde::{Deserialize, Serialize};

/// Open strings of a guitar and its capo.
///
/// Strings are numbered as players number them: 1 is the highest in place, the last the lowest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tuning {
    /// Open pitch (MIDI number, without capo) by string, string 1 first; 6 to 8 strings.
    open: Vec<i32>,
    /// Fret the capo sits on, 0 for none.
    capo: i32,
}

impl Tuning {
    /// A tuning from the open pitches of its strings, **lowest string first** as players spell
    /// it (`E A D G B E`), without capo.
    pub fn low_to_high(open: &[i32]) -> Self {
        Self {
            open: open.iter().rev().copied().collect(),
            capo: 0,
        }
    }

    /// Standard tuning, E2 A2 D3 G3 B3 E4.
    pub fn standard() -> Self {
        Self::low_to_high(&[40, 45, 50, 55, 59, 64])
    }

    /// D2 A2 D3 G3 A3 D4.
    pub fn dadgad() -> Self {
        Self::low_to_high(&[38, 45, 50, 55, 57, 62])
    }

    /// The same strings with the capo at `fret`.
    pub fn with_capo(mut self, fret: i32) -> Self {
        self.capo = fret;
        self
    }

    /// Fret of the capo, 0 for none.
    pub fn capo(&self) -> i32 {
        self.capo
    }

    /// Number of strings.
    pub fn strings(&self) -> u8 {
        self.open.len() as u8
    }

    /// Sounding pitch (MIDI number) of `string` (1 = highest) when played open, capo included.
    pub fn open(&self, string: u8) -> Option<i32> {
        let index = usize::from(string).checked_sub(1)?;
        self.open.get(index).map(|open| open + self.capo)
    }

    /// The fret above the capo (0 = open) at which `string` sounds `midi`, where it can be
    /// played at all: 0 to `highest`.
    pub fn fret(&self, string: u8, midi: i32, highest: i32) -> Option<i32> {
        let fret = midi - self.open(string)?;
        (0..=highest).contains(&fret).then_some(fret)
    }

    /// Every place where `midi` sounds, highest string first: (string, fret above the capo).
    pub fn places(&self, midi: i32, highest: i32) -> Vec<(u8, i32)> {
        (1..=self.strings())
            .filter_map(|string| self.fret(string, midi, highest).map(|fret| (string, fret)))
            .collect()
    }

    /// Sounding pitch of `string` at `fret` above the capo.
    pub fn sounding(&self, string: u8, fret: i32) -> Option<MidiNote> {
        self.open(string)
            .map(|open| MidiNote(f64::from(open + fret)))
    }
}
