//! The evidence of a recording, or of ten minutes of a longer one.

use super::beat_net::{self, Belief};
use super::edits::Edit;
use super::events::{self, Event};
use super::hsmm::Lattice;
use super::hypothesis::Hypothesis;
use super::priors::{LEVELS, Priors};
use crate::music::note::Note;
use crate::parallel;
use crate::unit::Seconds;
use std::ops::Range;

/// Fewer events than this have no pulse.
const FEWEST: usize = 6;

/// A recording, or ten minutes of a longer one.
#[derive(Debug)]
pub(super) struct Part {
    pub priors: Priors,
    pub notes: Vec<Note>,
    pub events: Vec<Event>,
    /// What the network believes.
    pub belief: Belief,
    /// Stretch of the recording that this part answers for, seconds.
    pub from: f64,
    pub end: f64,
    /// One a tempo level; none where they are made again for every use.
    pub lattices: Vec<Lattice>,
    /// Readings without edits, best first.
    pub hypotheses: Vec<Hypothesis>,
}

impl Part {
    /// Weighs `notes`, in order of time, of a stretch (s); `whole` when that is the recording.
    pub(super) fn new(notes: &[Note], stretch: Range<f64>, whole: bool, priors: Priors) -> Self {
        Self::believed(notes, beat_net::believe(notes), stretch, whole, priors)
    }

    /// The same where it is known what the network believes.
    pub(super) fn believed(
        notes: &[Note],
        belief: Belief,
        stretch: Range<f64>,
        whole: bool,
        priors: Priors,
    ) -> Self {
        let mut part = Self {
            priors,
            notes: notes.to_vec(),
            events: events::collect(notes),
            belief,
            from: stretch.start,
            end: stretch.end,
            lattices: Vec::new(),
            hypotheses: Vec::new(),
        };
        if part.events.len() >= FEWEST {
            part.lattices = parallel::map(&LEVELS, |&beat| {
                Lattice::new(&part.events, &part.belief, beat, priors)
            });
            part.hypotheses = part.read();
            if !whole {
                part.lattices = Vec::new();
            }
        }
        part
    }

    /// The edits that concern this part.
    pub(super) fn own(&self, held: &[Edit]) -> Vec<Edit> {
        let here = |from: Seconds, to: Seconds| from.0 < self.end && to.0 >= self.from;
        held.iter()
            .filter(|edit| match **edit {
                Edit::Subdivision { from, to, .. }
                | Edit::FreeTime { from, to }
                | Edit::Pulse { from, to } => here(from, to),
                _ => edit.beat().is_none_or(|at| here(at, at)),
            })
            .copied()
            .collect()
    }
}
