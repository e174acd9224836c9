//! The values that measuring speaks in: slots of the bar, references, robust figures, swing.

use crate::unit::{Bpm, Span};
use serde::{Deserialize, Serialize};

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
    /// The player on a recording: each note where the recording has it. Only a comparison measures
    /// so ([`compare`](crate::compare)); a grid alone reads as
    /// [`Reference::OwnTempo`].
    Recording,
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

/// How off-beats stand in their beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Feel {
    /// Half way.
    Straight,
    /// Late, by this long part over the short one.
    Swung(f64),
    /// Before half way, by this short part over the long one.
    Hurried(f64),
    /// Somewhere between straight and swung.
    Between,
}

/// Off-beats nearer to even than this, as long over short, are straight: one off-beat that is
/// always late pulls the median of all of them this far, and must not make the others early.
pub(super) const STRAIGHT: f64 = 1.12;

impl Swing {
    /// What may be said of the off-beats.
    pub fn feel(&self) -> Feel {
        if self.low > 1.0 && self.ratio > STRAIGHT {
            Feel::Swung(self.ratio)
        } else if self.high < 1.0 && self.ratio < 1.0 / STRAIGHT {
            Feel::Hurried(1.0 / self.ratio)
        } else if self.low < 1.0 / STRAIGHT || self.high > STRAIGHT {
            Feel::Between
        } else {
            Feel::Straight
        }
    }
}
