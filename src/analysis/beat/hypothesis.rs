//! A reading of the notes: its beats, its meter and how probable it is.

use super::constraints::{AGREES, nearest};
use super::hsmm::Path;
use super::measuring_grid::Run;
use super::meter::Choice;
use crate::music::meter::Meter;

/// Where a reading's beats come from: decoded on a lattice with a feel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Source {
    pub level: usize,
    pub feel: usize,
}

/// One reading of the notes.
#[derive(Debug, Clone)]
pub(super) struct Hypothesis {
    pub source: Source,
    pub path: Path,
    /// Median beat, seconds.
    pub beat: f64,
    pub measured: Measured,
    /// Log-probability against chance, nats.
    pub score: f64,
}

impl Hypothesis {
    /// Has another reading the same beats, for the most part?
    pub(super) fn same_beats(&self, other: &Self) -> bool {
        let beats: Vec<f64> = self.path.runs.concat();
        let others: Vec<f64> = other.path.runs.concat();
        let near = |at: &&f64| {
            nearest(&beats, **at).is_some_and(|k| (beats[k] - **at).abs() < AGREES * other.beat)
        };
        (other.beat / self.beat).ln().abs() < 0.06
            && others.iter().filter(near).count() * 2 > others.len()
    }

    /// Is there a beat wherever the player says that one is?
    pub(super) fn agrees(&self, told: &[f64]) -> bool {
        let beats: Vec<f64> = self.path.runs.concat();
        told.iter().all(|&at| {
            nearest(&beats, at).is_some_and(|k| (beats[k] - at).abs() < AGREES * self.beat)
        })
    }
}

/// Runs of beats with their slots, meter and first downbeats.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub runs: Vec<Run>,
    pub meter: Meter,
    /// Index of the first downbeat of each run.
    pub phases: Vec<usize>,
    /// Best choice of each meter and phase of the longest run, best first.
    pub others: Vec<Choice>,
    pub score: f64,
}
