//! What is compared, and how its notes answer each other.

use crate::music::grid::Grid;
use crate::music::note::{Note, Role};
use crate::timing::{NoteDrift, Slot};
use crate::unit::{Seconds, Span};

/// The player one learns from: what was heard in the recording, and how it lies on its grid.
#[derive(Debug, Clone, Copy)]
pub struct Model<'a> {
    /// Notes in order of time.
    pub notes: &'a [Note],
    /// The recording's measuring grid.
    pub grid: &'a Grid,
    /// Drift of each note, as `timing::measure` gives it; as many as notes.
    pub drifts: &'a [Option<NoteDrift>],
}

/// One note of the recording and the take's answer to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Index of the note in the recording.
    pub recording: usize,
    /// Index of the note in the take.
    pub take: usize,
    /// Round of the take it was played in, from 0.
    pub round: usize,
    /// Where in the bar the recording's player meant it.
    pub slot: Slot,
    /// Bar of the recording.
    pub bar: i32,
    /// Thumb or fingers, by the recording.
    pub role: Role,
    /// The recording's drift from its own grid, settled on its notes.
    pub recording_drift: Span,
    /// The take's drift from the same grid laid under the take.
    pub take_drift: Span,
    /// The take's drift from its own thumb: the drift less that of the thumb's note nearest in the
    /// bar (within a beat); none where the thumb is silent, and for the thumb itself.
    pub from_thumb: Option<Span>,
    /// Another pitch was played than on the recording.
    pub wrong_pitch: bool,
}

impl Pair {
    /// How much later the take's player plays it than the recording's, both against their grids.
    pub fn difference(&self) -> Span {
        self.take_drift - self.recording_drift
    }
}

/// One beat of the passage on both sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedBeat {
    /// Where it falls in the recording.
    pub recording: Seconds,
    /// Where it falls in the take.
    pub take: Seconds,
    /// Place in the bar, 1 is the downbeat.
    pub place: u8,
}

/// One time through the passage.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// The passage in the recording.
    pub recording: (Seconds, Seconds),
    /// Where it lies in the take.
    pub take: (Seconds, Seconds),
    /// Tempo of the take as a share of the recording's: 0.8 is slower.
    pub tempo_ratio: f64,
    /// The passage's beats in both; empty where the recording has no grid.
    pub beats: Vec<SharedBeat>,
    /// Answers beside the pairs, of which no drift can be told: rolls, graces, and all where the
    /// beat is unsure.
    pub unmeasured: usize,
    /// Notes of the recording that the take left out: indices.
    pub missed: Vec<usize>,
    /// Notes of the take that the recording does not have: indices.
    pub extra: Vec<usize>,
    /// Pairs of neighbours played in the other order: indices in the recording.
    pub swapped: Vec<(usize, usize)>,
}

/// Half of the 95 % interval of the distance of two onsets, each found within 1.5 ms (SD) and laid
/// on a grid within 2.5 ms (SD).
const MEASURING: Span = Span::from_ms(8.1);

/// Below this a difference of one note is not heard, or not measured.
pub(super) fn floor(pair: &Pair, model: Model<'_>) -> Span {
    let heard = model.drifts.get(pair.recording).and_then(Option::as_ref);
    Span(heard.map_or(0.0, |d| d.floor.0).max(MEASURING.0))
}
