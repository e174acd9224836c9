//! The notes that a recording expects of a player, and a player's answers to them.

use crate::music::note::Role;
use crate::timing::Slot;
use crate::unit::{MidiNote, Seconds, Span};

/// Samples a second that playing along listens at.
pub const RATE: u32 = 22_050;

/// One note that the recording expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Its number, by which everything told names it.
    pub note: usize,
    /// When it begins in the recording.
    pub time: Seconds,
    /// Sounding pitch, where it has one.
    pub pitch: Option<MidiNote>,
    /// Which hand.
    pub role: Role,
    /// Where in the bar its player meant it; none in free time, and where its time means nothing by itself.
    pub slot: Option<Slot>,
    /// Below this, at the recording's own speed, nobody hears it as early or late.
    pub floor: Span,
}

/// A pluck that answers an expected note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Answer {
    /// Which note.
    pub note: usize,
    /// Time round, from 0.
    pub round: usize,
    /// Where on the recording's timeline it fell.
    pub at: Seconds,
    /// How much later it came than the recording's note, in seconds of the take, the round trip taken off
    /// where it is known. Without it, only differences between notes mean something.
    pub late: Span,
    /// The input's frame it began at.
    pub frame: u64,
}
