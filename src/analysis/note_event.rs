//! A pitch that begins at an instant: what the note decision hands on.

use super::pluck_net::Articulation;
use crate::unit::Seconds;

/// A pitch that begins at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoteEvent {
    /// When.
    pub time: Seconds,
    /// Whole semitone, MIDI number.
    pub midi: i32,
    /// Probability that this note begins here.
    pub confidence: f32,
    /// Its share of the loudness after the onset, amplitude.
    pub strength: f32,
    /// How it seems to be made.
    pub made: Articulation,
    /// Index of its candidate.
    pub heard: usize,
}
