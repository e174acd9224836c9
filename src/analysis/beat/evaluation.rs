//! How right a grid is, against beats that are known.
//!
//! Owns the figures and the kinds of failure that the chores print and fit by. Nothing here is used
//! while listening.

use crate::dsp::middle::upper_median;
use crate::music::grid::{Beat, Grid};
use crate::music::meter::Meter;
use crate::music::note::Note;
use crate::unit::Seconds;

/// A beat is hit within this, seconds (`mir_eval`'s convention; Raffel et al. 2014).
const HIT: f64 = 0.07;
/// A beat follows rightly within this share of its length (Davies, Degara & Plumbley 2009).
const FOLLOWS: f64 = 0.175;
/// A tempo, or a multiple of it, within this share.
const TEMPO: f64 = 0.08;
/// From these on beats, and bar lines, are right.
const BEATS: f64 = 0.85;
const BARS: f64 = 0.7;

/// Notes as they were heard, with the beats that were played to.
#[derive(Debug, Clone)]
pub struct Piece {
    /// Where it comes from.
    pub name: String,
    /// In order of time.
    pub notes: Vec<Note>,
    /// Where the recording ends.
    pub end: Seconds,
    /// Instants of the beats, increasing, seconds.
    pub beats: Vec<f64>,
    /// Those that start a bar.
    pub downbeats: Vec<f64>,
}

/// How a grid fails, by the first that is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Beats and bar lines are right.
    Right,
    /// Half, double, a third or three times the tempo.
    Octave,
    /// The right tempo, between the beats.
    Phase,
    /// The beat is lost on the way, or none is heard.
    Lost,
    /// Right beats in bars of another length.
    Meter,
    /// Right beats in bars of the right length that start elsewhere.
    BarOne,
}

impl Verdict {
    /// All of them, the right one first.
    pub const ALL: [Self; 6] = [
        Self::Right,
        Self::Octave,
        Self::Phase,
        Self::Lost,
        Self::Meter,
        Self::BarOne,
    ];
}

/// F of instants, each hit at most once. Both lists increase; no instants at all are none hit.
pub fn f_measure(known: &[f64], told: &[f64]) -> f64 {
    let (mut i, mut k, mut hits) = (0, 0, 0);
    while i < known.len() && k < told.len() {
        let away = told[k] - known[i];
        if away.abs() <= HIT {
            hits += 1;
            i += 1;
            k += 1;
        } else if away < 0.0 {
            k += 1;
        } else {
            i += 1;
        }
    }
    2.0 * f64::from(hits) / (known.len() + told.len()).max(1) as f64
}

/// Share of the known beats that are told with the beat before them, at the right level.
pub fn continuity(known: &[f64], told: &[f64]) -> f64 {
    let nearest = |at: f64| {
        let k = told.partition_point(|t| *t < at);
        let near = [k.checked_sub(1), Some(k)].into_iter().flatten();
        near.filter(|&k| k < told.len())
            .min_by(|&a, &b| (told[a] - at).abs().total_cmp(&(told[b] - at).abs()))
    };
    let right = |k: usize| {
        let gap = known[k] - known[k - 1];
        let (Some(before), Some(here)) = (nearest(known[k - 1]), nearest(known[k])) else {
            return false;
        };
        let near = |told: f64, known: f64| (told - known).abs() < FOLLOWS * gap;
        here == before + 1
            && near(told[here], known[k])
            && near(told[before], known[k - 1])
            && near(told[here] - told[before], gap)
    };
    let n = known.len().saturating_sub(1);
    (1..known.len()).filter(|&k| right(k)).count() as f64 / n.max(1) as f64
}

impl Piece {
    /// F of the beats and of the bar lines of a grid.
    pub fn figures(&self, grid: &Grid) -> (f64, f64) {
        let (beats, bars) = instants(grid.beats());
        (
            f_measure(&self.beats, &self.within(beats)),
            f_measure(&self.downbeats, &self.within(bars)),
        )
    }

    /// Share of the beats that follow each other rightly.
    pub fn continuity(&self, grid: &Grid) -> f64 {
        continuity(&self.beats, &instants(grid.beats()).0)
    }

    /// Those instants that lie among the known beats.
    fn within(&self, mut instants: Vec<f64>) -> Vec<f64> {
        if let (Some(first), Some(last)) = (self.beats.first(), self.beats.last()) {
            instants.retain(|t| (first - 0.2..=last + 0.2).contains(t));
        }
        instants
    }

    /// Beats of a bar; four where only one bar line is known.
    pub fn bar(&self) -> usize {
        let of = |pair: &[f64]| {
            let inside = |b: &&f64| (pair[0] - HIT..pair[1] - HIT).contains(*b);
            self.beats.iter().filter(inside).count()
        };
        let mut bars: Vec<usize> = self.downbeats.windows(2).map(of).collect();
        bars.sort_unstable();
        bars.get(bars.len() / 2).copied().unwrap_or(4)
    }

    /// Is a meter's bar as long as the piece's?
    pub fn has_bar_of(&self, meter: Meter) -> bool {
        usize::from(meter.beats()) == self.bar()
    }

    /// How a grid fails.
    pub fn verdict(&self, grid: &Grid) -> Verdict {
        let (beats, bars) = self.figures(grid);
        if beats >= BEATS {
            return if bars >= BARS && self.has_bar_of(grid.meter) {
                Verdict::Right
            } else if self.has_bar_of(grid.meter) {
                Verdict::BarOne
            } else {
                Verdict::Meter
            };
        }
        let known = middle_gap(&self.beats);
        let told = middle_gap(&instants(grid.beats()).0);
        let times = told / known;
        let is = |factor: f64| (times / factor - 1.0).abs() < TEMPO;
        if [0.5, 2.0, 1.0 / 3.0, 3.0, 1.5, 2.0 / 3.0]
            .into_iter()
            .any(is)
        {
            Verdict::Octave
        } else if is(1.0) && beats < 0.3 {
            Verdict::Phase
        } else {
            Verdict::Lost
        }
    }

    /// Of every beat: is its bar right, its beats and both its bar lines?
    pub fn right_bars(&self, beats: &[Beat]) -> Vec<bool> {
        let near = |times: &[f64], at: f64| times.iter().any(|t| (t - at).abs() < HIT);
        let mut right = Vec::with_capacity(beats.len());
        for (k, bar) in beats.chunk_by(|a, b| a.bar == b.bar).enumerate() {
            let from = right.len();
            let next = beats.get(from + bar.len());
            let line = |beat: &Beat| near(&self.downbeats, beat.time.0);
            let on_beats = bar.iter().all(|b| near(&self.beats, b.time.0));
            let begins = (k == 0 && bar[0].place > 1) || line(&bar[0]);
            let known = self
                .beats
                .iter()
                .filter(|b| (bar[0].time.0 + HIT..bar[bar.len() - 1].time.0 + HIT).contains(b));
            let all = known.count() + 1 == bar.len();
            let ok = on_beats && begins && all && next.is_none_or(line);
            right.resize(from + bar.len(), ok);
        }
        right
    }
}

/// Instants of the beats, and of those that start a bar.
fn instants(beats: &[Beat]) -> (Vec<f64>, Vec<f64>) {
    let of = |beats: &mut dyn Iterator<Item = &Beat>| beats.map(|b| b.time.0).collect();
    (
        of(&mut beats.iter()),
        of(&mut beats.iter().filter(|b| b.place == 1)),
    )
}

/// Median distance from one instant to the next; not a number where there are none.
fn middle_gap(times: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = times.windows(2).map(|p| p[1] - p[0]).collect();
    upper_median(&mut gaps).unwrap_or(f64::NAN)
}
