//! What measuring finds: the drift of every note, and its figures by slot, bar and section.

use super::figures::{Figure, Reference, Slot, Standing, Swing};
use super::steady::{Steadiness, Trend};
use super::swing;
use crate::music::note::Role;
use crate::unit::{Beats, Bpm, Seconds, Span};
use serde::{Deserialize, Serialize};

/// One note against the grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteDrift {
    /// Bar it is in (see [`Beat::bar`](crate::music::grid::Beat::bar)).
    pub bar: i32,
    /// Slot it is meant for.
    pub slot: Slot,
    /// Place of that slot, in beats of the grid.
    pub at: Beats,
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

/// Drifts gathered at one slot of the bar, one hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SlotFigure {
    /// The slot.
    pub slot: Slot,
    /// Thumb or fingers.
    pub role: Role,
    /// Its drifts.
    pub figure: Figure,
    /// Median drift as a share of the beat.
    pub share: f64,
    /// Below this a single drift here is not heard.
    pub floor: Span,
    /// What the measuring itself may be wrong by: the interval must clear 0 by it.
    #[serde(default)]
    pub doubt: Span,
}

/// Drifts gathered in one bar, one hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BarFigure {
    /// Number of the bar.
    pub bar: i32,
    /// Thumb or fingers.
    pub role: Role,
    /// Its drifts.
    pub figure: Figure,
}

/// Eight bars, or what is left of them before free time or the end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Section {
    /// First bar.
    pub first: i32,
    /// Last bar.
    pub last: i32,
    /// Where it begins.
    pub from: Seconds,
    /// Where it ends.
    pub to: Seconds,
    /// The thumb's drifts.
    pub thumb: Option<Figure>,
    /// The fingers' drifts.
    pub fingers: Option<Figure>,
    /// Fingers against thumb.
    pub lateness: Option<Figure>,
    /// Long against short eighth.
    pub swing: Option<Swing>,
    /// Median tempo.
    pub tempo: Bpm,
}

/// A chord rolled from thumb to fingers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Roll {
    /// Indices of its notes, first to last.
    pub notes: Vec<usize>,
    /// From its first note to its last.
    pub spread: Span,
}

/// Everything that notes say against a grid. What cannot be told is absent.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Drift {
    /// What it was measured against.
    pub reference: Reference,
    /// How much later the whole take came than what it is measured against, taken off before all
    /// else was told; none where there is no such lateness, or no common clock to tell it by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late: Option<Figure>,
    /// One for each note given, in the same order; none in free time, where the beat is unsure and
    /// outside the grid.
    pub notes: Vec<Option<NoteDrift>>,
    /// By slot of the bar and hand, in order of the bar.
    pub slots: Vec<SlotFigure>,
    /// By bar and hand.
    pub bars: Vec<BarFigure>,
    /// By eight bars.
    pub sections: Vec<Section>,
    /// Rolled chords.
    pub rolls: Vec<Roll>,
    /// The thumb's drifts.
    pub thumb: Option<Figure>,
    /// The fingers' drifts.
    pub fingers: Option<Figure>,
    /// Fingers against thumb, net of the slots; positive is behind.
    pub lateness: Option<Figure>,
    /// Long against short eighth, where beats divide in two.
    pub swing: Option<Swing>,
    /// Where the player has set the off-beat, share of the beat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_off_beat: Option<f64>,
    /// How evenly the thumb keeps the beat.
    pub steadiness: Option<Steadiness>,
    /// The course of the tempo.
    pub trend: Option<Trend>,
}

impl Drift {
    /// Where the off-beat of beats of two parts is held to be, share of the beat: where the player
    /// has set it, else where the playing swings it, else half way.
    pub fn off_beat(&self) -> f64 {
        off(self.set_off_beat, self.swing)
    }

    /// The slots at which the drift repeats.
    pub fn slants(&self) -> impl Iterator<Item = &SlotFigure> {
        self.slots.iter().filter(|s| s.slant().is_some())
    }
}

/// The off-beat's share of the beat: as it was set, else as it is played.
pub(super) fn off(set: Option<f64>, played: Option<Swing>) -> f64 {
    set.filter(|share| (0.5..=0.75).contains(share))
        .unwrap_or_else(|| swing::place(played))
}
