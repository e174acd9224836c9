//! Recording → [`Analysis`]: onsets, pitches, roles, strings, beats, tuning.
//!
//! Owns what is heard. What the numbers mean for a player is `timing`; how they leave the process
//! is `report`.

pub mod beat;
pub mod net;
pub mod onset;

use crate::music::grid::Grid;
use crate::music::note::Note;
use crate::music::tuning::Tuning;
use crate::unit::{Cents, Seconds};
use serde::{Deserialize, Serialize};

/// Frames a second of the mono signal that every stage of the analysis reads.
pub const RATE: u32 = 22_050;

/// What was heard in one recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// Notes in order of time.
    pub notes: Vec<Note>,
    /// Beats and bars; empty where no pulse was found.
    pub grid: Grid,
    /// Offset of the guitar's tuning from A4 = 440 Hz, −50 to 50 cents; none when nothing tonal
    /// was heard.
    pub tuning_offset: Option<Cents>,
    /// The tuning that strings and frets refer to: given or assumed.
    pub tuning: Tuning,
    /// Length of the recording.
    pub end: Seconds,
    /// Plain sentences about what makes these results doubtful; empty when nothing does.
    pub warnings: Vec<String>,
}
