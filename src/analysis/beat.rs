//! Notes → the beat grid.
//!
//! Owns how beats, bars, meter and slots are found and how a player's edits bend them. What a
//! grid *is* belongs to `music/grid`; what a note's distance from it means, to `timing`.
//!
//! The way: notes become events of thumb and fingers ([`events`]); four tempo levels are each
//! decoded over the whole recording ([`lattice`]); each reading gets its bars ([`bars`]), its
//! slots ([`slots`]) and the smooth tempo curve against which notes are measured ([`smooth`]);
//! the most probable one, with the thumb deciding between half and double, is the grid
//! ([`reading`]). Edits steer the same decoding again ([`solve`]).

mod bars;
mod cut;
pub mod edits;
mod events;
mod lattice;
mod measure;
mod reading;
mod settle;
mod slots;
mod smooth;
mod solve;

pub use edits::{Conflict, Edit, GridEdits};
pub use settle::settle_on;

use crate::music::grid::Grid;
use crate::music::note::Note;
use crate::unit::{Seconds, Span};
use events::Event;
use lattice::Lattice;
use reading::Reading;
use serde::{Deserialize, Serialize};

/// Another reading of the same notes, and the edit that gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// What it is, in a few plain words.
    pub label: String,
    /// Append this to the list of edits to get it.
    pub edit: Edit,
    /// How probable it is against the grid that was chosen, 0 to 1.
    pub odds: f32,
}

/// A grid and what is to be known about it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Tracked {
    /// Beats and bars; empty where no pulse was found.
    pub grid: Grid,
    /// Other readings, most probable first.
    pub alternatives: Vec<Alternative>,
    /// Edits that gave way to later ones.
    pub conflicts: Vec<Conflict>,
    /// Time constant of the grid: notes this far from a beat still place it with 1/e of the
    /// weight of those on it; none for the even beats of a click.
    pub time_constant: Option<Span>,
    /// Was the recording taken for one that is cut to whole bars of a click?
    pub cut_to_click: bool,
    /// Plain sentences about what makes the grid doubtful.
    pub warnings: Vec<String>,
}

/// The grid of `notes` (in any order) in a recording that ends at `end`, bent by a player's
/// `edits`. To solve again after every edit, keep a [`Tracker`].
pub fn track(notes: &[Note], end: Seconds, edits: &GridEdits) -> Tracked {
    Tracker::new(notes, end).solve(edits)
}

/// Own beats of the tempo levels, seconds: each is tracked over an octave around it.
const LEVELS: [f64; 4] = [0.34, 0.50, 0.75, 1.10];
/// Fewer events than this have no pulse.
const FEWEST: usize = 6;

/// The evidence of one recording's notes, ready to be solved under changing edits.
#[derive(Debug)]
pub struct Tracker {
    notes: Vec<Note>,
    events: Vec<Event>,
    end: f64,
    lattices: Vec<Lattice>,
    /// Readings without edits, best first.
    readings: Vec<Reading>,
}

impl Tracker {
    /// Weighs the notes of a recording that ends at `end`.
    pub fn new(notes: &[Note], end: Seconds) -> Self {
        let events = events::collect(notes);
        let last = events.last().map_or(0.0, |e| e.time);
        let mut tracker = Self {
            notes: notes.to_vec(),
            events,
            end: if end.0.is_finite() {
                end.0.max(last)
            } else {
                last
            },
            lattices: Vec::new(),
            readings: Vec::new(),
        };
        if tracker.events.len() >= FEWEST {
            tracker.lattices = LEVELS
                .iter()
                .map(|&beat| Lattice::new(&tracker.events, beat))
                .collect();
            tracker.readings = tracker.read();
        }
        tracker
    }
}
