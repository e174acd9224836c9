//! What MIDI can be learnt for, and the notes and controllers that are learnt.

use serde::{Deserialize, Serialize};

/// What a MIDI note or controller can be learnt for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Control {
    /// Run and stop.
    Play,
    /// Loop on and off.
    Loop,
    /// The next kept region.
    NextRegion,
    /// The kept region before.
    PreviousRegion,
    /// The round of the take that is being played is kept.
    KeepRound,
    /// Record a take, or stop.
    Take,
    /// Slower by 5 %.
    Slower,
    /// Faster by 5 %.
    Faster,
    /// What the page in view sounds: the next of it, or silence.
    Hear,
}

/// A MIDI note or controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trigger {
    /// A key, 0 to 127.
    Note(u8),
    /// A controller, 0 to 127.
    Controller(u8),
}
