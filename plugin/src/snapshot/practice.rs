//! The settings of practice: loop, ladder, click, count-in.

use std::sync::Arc;
use thumbline::analysis::beat::Edit;
pub use thumbline::deck::ClickRate;
use thumbline::music::tuning::Tuning;
use thumbline::unit::{Seconds, Span};

/// A stretch of the recording with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionView {
    /// What the player calls it.
    pub name: String,
    /// Start.
    pub from: Seconds,
    /// End, after `from`.
    pub to: Seconds,
    /// Do its ends lie on beats, and move with them when the beat is corrected?
    pub on_beats: bool,
}

/// What loop ends hold on to while they are dragged.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Snap {
    /// Whole bars.
    #[default]
    Bar,
    /// Beats.
    Beat,
    /// Slots: the places between the beats too.
    #[serde(alias = "onset")]
    Slot,
    /// Nothing.
    Free,
}

impl Snap {
    /// All of them, from the coarsest to the finest.
    pub const ALL: [Self; 4] = [Self::Bar, Self::Beat, Self::Slot, Self::Free];
}

/// An end of the loop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Where it starts.
    Start,
    /// Where it ends.
    Finish,
}

/// A loop that speeds up step by step.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Ladder {
    /// Is it in force?
    pub on: bool,
    /// Speed of the first rounds, 0.25 to 1.5.
    pub start: f64,
    /// What each step adds, 0.01 to 0.5.
    pub step: f64,
    /// Rounds on each step, at least 1.
    pub rounds: u32,
    /// Highest speed, up to 1.5.
    pub top: f64,
    /// Step only when the last round's drift stayed inside this many milliseconds; none steps
    /// always.
    pub within_ms: Option<f64>,
}

impl Default for Ladder {
    fn default() -> Self {
        Self {
            on: false,
            start: 0.6,
            step: 0.05,
            rounds: 4,
            top: 1.0,
            within_ms: None,
        }
    }
}

/// What is heard of the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hear {
    /// Thumb against fingers: −1 the thumb alone, 0 both as recorded, 1 the fingers alone.
    Balance(f64),
    /// The recording left and this take right, bar for bar together.
    Beside(usize),
    /// This take alone, at the recording's tempo.
    Alone(usize),
    /// A bar of the recording, a bar of this take, in turn.
    InTurn(usize),
}

impl Hear {
    /// The take that is heard, by its place in the list.
    pub fn take(self) -> Option<usize> {
        match self {
            Self::Balance(_) => None,
            Self::Beside(take) | Self::Alone(take) | Self::InTurn(take) => Some(take),
        }
    }
}

impl Default for Hear {
    fn default() -> Self {
        Self::Balance(0.0)
    }
}

/// The settings of practice.
#[derive(Debug, Clone, Default)]
pub struct PracticeView {
    /// What is heard of the recording.
    pub hear: Hear,
    /// Is that being made?
    pub mixing: bool,
    /// Is the loop on?
    pub loop_on: bool,
    /// The loop's ends; none = the whole recording.
    pub region: Option<RegionView>,
    /// Kept regions, in the order of the recording.
    pub regions: Arc<[RegionView]>,
    /// Which of `regions` is looped now.
    pub current_region: Option<usize>,
    /// What loop ends hold on to.
    pub snap: Snap,
    /// Bars counted before the start, 0 to 2.
    pub count_in_bars: u8,
    /// Silent beats between rounds, 0 to 16.
    pub rest_beats: u8,
    /// The ladder.
    pub ladder: Ladder,
    /// Is each round of a take answered by a tone?
    pub round_tone: bool,
    /// How often the click sounds.
    pub click_rate: ClickRate,
    /// Round-trip latency taken off own takes.
    pub latency: Span,
    /// A MIDI control being learnt, by the control's name.
    pub learning: Option<crate::control::Control>,
    /// Number of corrections that can be taken back.
    pub undoable: usize,
    /// Number of corrections that can be done again.
    pub redoable: usize,
    /// Tuning and capo, where the player told them.
    pub tuning: Option<Tuning>,
    /// The player's choice among the readings of the beat.
    pub reading: Option<Edit>,
    /// Slots the player named: index of the note in the analysis, and the slot's instant.
    pub pins: Arc<[(usize, Seconds)]>,
}
