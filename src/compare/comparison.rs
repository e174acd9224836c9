//! What comparing came to.

use super::feel::{SlotFeel, Whole};
use super::pairs::{Pair, Round};
use crate::music::meter::Meter;
use serde::Serialize;

/// What comparing came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Probability that the take plays this recording at all, 0 to 1.
    pub same_tune: f64,
    /// How many semitones higher the take sounds (another tuning or capo).
    pub transposed: i32,
    /// Times through the passage, in order; empty when it is another tune.
    pub rounds: Vec<Round>,
    /// Notes that answer each other, in order of the take.
    pub pairs: Vec<Pair>,
    /// The recording's time signature: how its slots are counted.
    pub meter: Meter,
    /// How each slot feels on both sides.
    pub feel: Vec<SlotFeel>,
    /// Fingers against thumb over all slots.
    pub whole: Option<Whole>,
    /// Why there are no figures, where there are none.
    pub fault: Option<NoComparison>,
    /// Plain sentences about what makes this doubtful.
    pub warnings: Vec<String>,
}

/// Why a take cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum NoComparison {
    /// Not a note in the take.
    #[error("This take is silent: no note was heard in it.")]
    SilentTake,
    /// Not a note in the recording.
    #[error("No note was heard in the recording, so there is nothing to compare with.")]
    SilentRecording,
    /// Too few notes to find the place.
    #[error("This take is too short to be found in the recording: play at least a bar.")]
    TooShort,
    /// Other notes than the recording's.
    #[error("This take does not seem to be the same tune, so nothing was measured.")]
    AnotherTune,
}
