//! Notes → the beat grid.
//!
//! Owns how beats, bars, meter and slots are found and how a player's edits bend them. What a
//! grid *is* belongs to `music/grid`; what a note's distance from it means, to `timing`.
//!
//! The way: notes become events of thumb and fingers ([`events`]); five tempo levels are each
//! decoded over the whole recording ([`lattice`]); the most probable level, with the thumb
//! deciding between half and double, gets its bars ([`bars`]), its slots ([`slots`]) and the
//! smooth tempo curve against which notes are measured ([`smooth`]).

mod bars;
pub mod edits;
mod events;
mod lattice;
mod measure;
mod settle;
mod slots;
mod smooth;

pub use edits::{Conflict, Edit, GridEdits};
pub use settle::settle_on;

use crate::music::grid::{Beat, FreeTime, Grid};
use crate::music::meter::Meter;
use crate::music::note::Note;
use crate::unit::{Bpm, Seconds, Span};
use events::Event;
use lattice::{Lattice, Path, Steering};
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
    /// weight of those on it.
    pub time_constant: Option<Span>,
    /// Plain sentences about what makes the grid doubtful.
    pub warnings: Vec<String>,
}

/// The grid of `notes` (in any order) in a recording that ends at `end`, bent by a player's
/// `edits`. To solve again after every edit, keep a [`Tracker`].
pub fn track(notes: &[Note], end: Seconds, edits: &GridEdits) -> Tracked {
    Tracker::new(notes, end).solve(edits)
}

/// Own beats of the five tempo levels, seconds: each is tracked over an octave around it.
const LEVELS: [f64; 5] = [0.30, 0.42, 0.60, 0.85, 1.20];
/// Fewer events than this have no pulse.
const FEWEST: usize = 6;
/// A run shorter than this is no pulse.
const SHORTEST_RUN: usize = 5;

/// The evidence of one recording's notes, ready to be solved under changing edits.
pub struct Tracker {
    notes: Vec<Note>,
    events: Vec<Event>,
    end: f64,
    lattices: Vec<Lattice>,
    /// Level and path of every reading, best first, without edits.
    readings: Vec<Reading>,
}

/// One reading of the notes: a level's path with its bars.
#[derive(Debug, Clone)]
struct Reading {
    level: usize,
    path: Path,
    score: f64,
    beat: f64,
}

impl Tracker {
    /// Weighs the notes of a recording that ends at `end`.
    pub fn new(notes: &[Note], end: Seconds) -> Self {
        let events = events::collect(notes);
        let mut tracker = Self {
            notes: notes.to_vec(),
            events,
            end: end.0,
            lattices: Vec::new(),
            readings: Vec::new(),
        };
        if tracker.events.len() >= FEWEST {
            tracker.lattices = LEVELS
                .iter()
                .map(|&beat| Lattice::new(&tracker.events, beat))
                .collect();
            tracker.readings = tracker.read(&Steering::default());
        }
        tracker
    }

    /// Readings of all levels, best first.
    fn read(&self, steering: &Steering) -> Vec<Reading> {
        let mut readings: Vec<Reading> = self
            .lattices
            .iter()
            .enumerate()
            .filter_map(|(level, lattice)| {
                let mut path = lattice.decode(steering);
                path.runs.retain(|run| run.len() >= SHORTEST_RUN);
                let longest = path.runs.iter().max_by_key(|run| run.len())?;
                let beat = smooth::median_gap(longest);
                let score = path.score + tempo_prior(beat);
                Some(Reading {
                    level,
                    path,
                    score,
                    beat,
                })
            })
            .collect();
        readings.sort_by(|a, b| b.score.total_cmp(&a.score));
        readings
    }

    /// The grid under these edits.
    pub fn solve(&self, edits: &GridEdits) -> Tracked {
        let (_held, conflicts) = edits.settle();
        let Some(best) = self.readings.first() else {
            return Tracked {
                conflicts,
                ..Tracked::default()
            };
        };
        let mut tracked = self.build(best, &[]);
        tracked.conflicts = conflicts;
        tracked
    }

    fn build(&self, reading: &Reading, _held: &[Edit]) -> Tracked {
        let mut beats = Vec::new();
        let mut reach: f64 = 0.0;
        let fits: Vec<_> = reading
            .path
            .runs
            .iter()
            .map(|run| measure::Run::fit(run, &self.events, &[]))
            .collect();
        let pulses: Vec<_> = fits
            .iter()
            .map(|fit| bars::pulses(&fit.curve.beats, &self.events, &self.notes))
            .collect();
        let mut best: Option<(f64, Meter, Vec<usize>)> = None;
        for meter in Meter::HEARD {
            let choices: Vec<_> = pulses
                .iter()
                .zip(&fits)
                .map(|(p, f)| bars::choices(p, &[meter], f.slots.triple)[0])
                .collect();
            let score = choices.iter().map(|c| c.score).sum();
            if best.as_ref().is_none_or(|b| score > b.0) {
                best = Some((score, meter, choices.iter().map(|c| c.phase).collect()));
            }
        }
        let (_, meter, phases) = best.unwrap_or((0.0, Meter::COMMON, vec![0; fits.len()]));
        let bar = usize::from(meter.beats().max(1));
        let mut number = 1;
        for (fit, &phase) in fits.iter().zip(&phases) {
            reach = reach.max(fit.curve.reach);
            let first = number - i32::from(phase > 0);
            for (k, &time) in fit.curve.beats.iter().enumerate() {
                let count = (k + bar - phase) as i32;
                let at = first + count.div_euclid(bar as i32) - i32::from(phase == 0);
                number = at + 1;
                beats.push(Beat {
                    time: Seconds(time),
                    bar: at,
                    place: count.rem_euclid(bar as i32) as u8 + 1,
                    parts: fit.slots.parts[k],
                    confidence: 1.0,
                });
            }
        }
        Tracked {
            grid: Grid::from_parts(meter, beats, self.free(&fits)),
            time_constant: (reach > 0.0).then_some(Span(reach)),
            ..Tracked::default()
        }
    }

    fn free(&self, fits: &[measure::Run]) -> Vec<FreeTime> {
        let mut free = Vec::new();
        let mut from: Option<f64> = None;
        for fit in fits {
            let (Some(&first), Some(&last)) = (fit.curve.beats.first(), fit.curve.beats.last())
            else {
                continue;
            };
            if let Some(from) = from {
                free.push(FreeTime {
                    from: Seconds(from),
                    to: Seconds(first),
                });
            }
            from = Some(last);
        }
        let _ = self.end;
        free
    }
}

/// Prior log-probability of a tempo: centred on 100 beats a minute, half an octave wide, from
/// the spread of tempi that listeners tap (Parncutt 1994, Music Perception 11, from memory).
fn tempo_prior(beat: f64) -> f64 {
    let octaves = (60.0 / beat / 100.0).log2();
    -0.5 * (octaves / 0.5).powi(2)
}

/// Tempo of a beat.
#[allow(dead_code)]
fn tempo(beat: f64) -> Bpm {
    Bpm(60.0 / beat)
}
