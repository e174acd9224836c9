//! What the distance between notes and grid means for a player: slots, drift, swing, lateness,
//! steadiness, tempo — each with an interval and absent where it cannot be told.
//!
//! Owns the reading of a grid; it never moves a beat (`analysis/beat` does). Robust throughout:
//! centres are medians, spreads are scaled median distances.

use crate::unit::{Bpm, Span};
use serde::{Deserialize, Serialize};

pub mod floor;

/// What a note is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reference {
    /// The player's own tempo, smoothed: the grid as it is.
    #[default]
    OwnTempo,
    /// A strict tempo, as from a click or a host: beats of this length; without a figure, the
    /// steady tempo that fits the grid best.
    Strict(Option<Bpm>),
    /// The thumb itself: each beat where the thumb played it, where it did.
    Thumb,
}

/// A place in the bar that a note is meant for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Slot {
    /// Beat in the bar, 1 is the downbeat.
    pub beat: u8,
    /// Part of the beat, 0 is the beat itself.
    pub part: u8,
    /// Parts the beat divides into.
    pub parts: u8,
}

/// How a note stands to its slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Meant for the slot: its drift is its timing.
    Plain,
    /// Part of a rolled chord, after its first note: late by the roll, not by drift.
    Rolled,
    /// A grace note just before the note it leads into.
    Grace,
    /// The same pluck found twice; the other one counts.
    Doubled,
    /// Between the slots: no slot is near enough to say which one was meant.
    Between,
}

/// One note against the grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteDrift {
    /// Bar it is in (see [`Beat::bar`](crate::music::grid::Beat::bar)).
    pub bar: i32,
    /// Slot it is meant for.
    pub slot: Slot,
    /// How it stands to that slot.
    pub standing: Standing,
    /// Onset minus the slot's place; positive is late. None for a [`Standing::Between`].
    pub drift: Option<Span>,
    /// The same as a share of the beat.
    pub share: Option<f64>,
    /// Below this nobody hears it, or nobody can measure it here.
    pub floor: Span,
}

impl NoteDrift {
    /// The drift, when it is large enough to be heard and to be trusted, of a note whose timing
    /// counts.
    pub fn audible(&self) -> Option<Span> {
        self.drift
            .filter(|d| self.standing == Standing::Plain && d.abs().0 > self.floor.0)
    }
}

/// A robust summary of several drifts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// Notes it rests on.
    pub n: usize,
    /// Median.
    pub centre: Span,
    /// Robust spread: 1.4826 times the median distance from the median (an SD, were the
    /// drifts normally distributed).
    pub spread: Span,
    /// Lower end of the 95 % interval of the centre; none for fewer than six notes.
    pub low: Option<Span>,
    /// Upper end of it.
    pub high: Option<Span>,
}

/// Long against short part of the beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Swing {
    /// Off-beats it rests on.
    pub n: usize,
    /// Long part over short part: 1 is straight, 2 triplets.
    pub ratio: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
}
