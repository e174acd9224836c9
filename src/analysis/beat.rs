//! Notes → the beat grid.
//!
//! Owns how beats, bars, meter and slots are found and how a player's edits bend them. What a
//! grid *is* belongs to `music/grid`; what a note's distance from it means, to `timing`.
//!
//! The way, one owner a stage: notes become events of thumb and fingers ([`events`]) and frames of
//! which a small network says where beats, downbeats and meters are ([`beat_net`]); both weigh the
//! beats of four tempo levels, each decoded over the whole recording ([`hsmm`]); meter and bar
//! one ([`meter`]), slots ([`subdivisions`]) and the smooth tempo curve against which notes are measured
//! ([`measuring_grid`], [`tempo_curve`]) make a reading of each; the most probable one is the grid
//! ([`readings`]). Edits steer the same decoding again ([`solve`]). What weighs what is in one
//! table ([`priors`]).

mod beat_net;
mod confidence;
mod constraints;
mod edits;
#[doc(hidden)]
pub mod evaluation;
mod even_tempo;
mod events;
mod free_opening;
pub(crate) mod hand_gap;
mod hsmm;
mod hypothesis;
mod measuring_grid;
mod meter;
mod part;
#[doc(hidden)]
pub mod prior_fit;
mod priors;
mod readings;
mod solve;
mod subdivisions;
mod tempo_curve;
mod tracked;

pub use edits::{Conflict, Edit, GridEdits};
pub use measuring_grid::fit_to_notes;
pub use priors::Priors;
pub use tracked::{Alternative, Tracked};

use crate::music::grid::{self, Beat, Grid};
use crate::music::meter::Meter;
use crate::music::note::Note;
use crate::unit::Seconds;
use part::Part;

/// The grid of `notes` (in any order) in a recording that ends at `end`, bent by a player's
/// `edits`. To solve again after every edit, keep a [`Tracker`].
pub fn track(notes: &[Note], end: Seconds, edits: &GridEdits) -> Tracked {
    Tracker::new(notes, end).solve(edits)
}

/// Longer recordings (s) are tracked in parts, so that memory stays bounded.
const PART: f64 = 600.0;
/// A part ends at the longest silence in its last stretch of this length (s).
const SEARCH: f64 = 120.0;

/// The evidence of one recording's notes, ready to be solved under changing edits.
///
/// Memory: about 10 MB a minute of recording for the evidence of all tempo levels, 100 MB at the
/// most: of a longer recording the evidence is weighed again when an edit asks for it.
#[derive(Debug)]
pub struct Tracker {
    parts: Vec<Part>,
}

impl Tracker {
    /// Weighs the notes of a recording that ends at `end`.
    pub fn new(notes: &[Note], end: Seconds) -> Self {
        Self::weighed(notes, end, Priors::SHIPPED)
    }

    /// The same with other priors, to fit them.
    pub fn weighed(notes: &[Note], end: Seconds, priors: Priors) -> Self {
        let mut notes: Vec<Note> = notes
            .iter()
            .filter(|n| n.time.0.is_finite())
            .cloned()
            .collect();
        notes.sort_by(|a, b| a.time.total_cmp(&b.time));
        let last = notes.last().map_or(0.0, |n| n.time.0);
        let end = if end.0.is_finite() {
            end.0.max(last)
        } else {
            last
        };
        let mut parts = Vec::new();
        let mut from = 0.0;
        let mut rest: &[Note] = &notes;
        while end - from > PART {
            let (at, cut) = silence(rest, from + PART - SEARCH, from + PART);
            parts.push(Part::new(&rest[..at], from..cut, false, priors));
            rest = &rest[at..];
            from = cut;
        }
        let whole = parts.is_empty();
        parts.push(Part::new(rest, from..end, whole, priors));
        Self { parts }
    }

    /// The grid under these edits.
    pub fn solve(&self, edits: &GridEdits) -> Tracked {
        let (held, conflicts) = edits.resolved();
        let mut solved: Vec<Tracked> = self.parts.iter().map(|p| p.solve(&p.own(&held))).collect();
        let main = solved.iter().max_by_key(|t| t.grid.beats().len());
        let meter = main.map_or(Meter::COMMON, |t| t.grid.meter);
        for (tracked, part) in solved.iter_mut().zip(&self.parts) {
            if tracked.grid.meter != meter && !tracked.grid.is_empty() {
                let mut held = part.own(&held);
                held.push(Edit::Meter { meter });
                *tracked = part.solve(&held);
            }
        }
        let mut whole = join(solved, meter, &held);
        whole.grid.off_beat = held.iter().rev().find_map(|edit| match edit {
            Edit::Swing { ratio } => ratio.map(grid::off_beat),
            _ => None,
        });
        whole.conflicts = conflicts;
        whole
    }
}

/// The middle of the longest silence between notes in a stretch: index of the first note after
/// it, and its instant.
fn silence(notes: &[Note], from: f64, to: f64) -> (usize, f64) {
    let first = notes.partition_point(|n| n.time.0 < from);
    let last = notes.partition_point(|n| n.time.0 < to);
    let mut best = (last, to, 0.0);
    for k in first.max(1)..last {
        let gap = (notes[k].time - notes[k - 1].time).0;
        if gap > best.2 {
            best = (k, notes[k].time.0 - gap / 2.0, gap);
        }
    }
    (best.0, best.1)
}

/// One grid from those of the parts: bars numbered on.
fn join(parts: Vec<Tracked>, meter: Meter, held: &[Edit]) -> Tracked {
    if parts.len() == 1 {
        return parts.into_iter().next().unwrap_or_default();
    }
    let mut whole = Tracked::default();
    let (mut beats, mut free) = (Vec::<Beat>::new(), Vec::new());
    for part in parts {
        let shift = match (beats.last(), part.grid.beats().first()) {
            (Some(last), Some(first)) => last.bar + 1 - first.bar,
            _ => 0,
        };
        beats.extend(part.grid.beats().iter().map(|b| Beat {
            bar: b.bar + shift,
            ..*b
        }));
        free.extend_from_slice(part.grid.free_time());
        let longer =
            part.time_constant.map_or(0.0, |t| t.0) > whole.time_constant.map_or(0.0, |t| t.0);
        if longer {
            whole.time_constant = part.time_constant;
        }
        for warning in part.warnings {
            if !whole.warnings.contains(&warning) {
                whole.warnings.push(warning);
            }
        }
    }
    let one = held.iter().rev().find_map(|e| match e {
        Edit::BarOne { at } => Some(*at),
        _ => None,
    });
    let nearest = one.and_then(|at| {
        beats
            .iter()
            .min_by(|a, b| (a.time - at).abs().0.total_cmp(&(b.time - at).abs().0))
            .map(|b| 1 - b.bar)
    });
    if let Some(shift) = nearest {
        for beat in &mut beats {
            beat.bar += shift;
        }
    }
    whole.grid = Grid::from_parts(meter, beats, free);
    whole
}
