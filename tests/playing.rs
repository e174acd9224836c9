//! What tests of timing play with: a note that is surely there, and chance that is the same each
//! time.

use thumbline::music::note::{Attack, Note, Role};
use thumbline::unit::{Decibels, MidiNote, Seconds};

/// A pluck at `time` seconds that rings for 0.4 s.
pub fn note(time: f64, role: Role, midi: i32) -> Note {
    Note {
        time: Seconds(time),
        end: Seconds(time + 0.4),
        role,
        role_confidence: 0.95,
        pitch: Some(MidiNote(f64::from(midi))),
        string: None,
        fret: None,
        attack: Attack::Pluck,
        strength: Decibels(-6.0),
        confidence: 0.95,
    }
}

/// A small deterministic generator (xorshift), evenly over −1 to 1.
pub struct Dice(pub u64);

impl Dice {
    /// The next value.
    pub fn roll(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}
