//! Recordings cut to whole bars of a click: loops, backing tracks, exports of a sequencer.
//!
//! Owns the reading "the file begins on a beat and is so many even beats long". It has few
//! choices (a tempo for each number of beats, the first beat at 0), so it is only believed when
//! the notes agree all along; then the click is known to the sample, and how far ahead of it or
//! behind it the player is can be measured as well.

use super::events::Event;
use super::lattice::{self, FEELS};
use crate::parallel;

/// How far ahead of or behind the click a player is in the middle of it all (s, SD).
const AWAY: f64 = 0.020;
/// How far that changes over four beats (s, SD).
const WANDER: f64 = 0.010;
/// Tried distances (s).
const SHIFTS: [f64; 7] = [-0.045, -0.030, -0.015, 0.0, 0.015, 0.030, 0.045];
/// A recording that rings on for longer than this (s) was not cut at a bar: a bar of four at 80
/// beats a minute.
const TAIL: f64 = 3.0;
/// Beats over which one distance holds.
const HOLD: usize = 4;

/// What beats that may move gain over even ones, nats a second of music: half a nat for each
/// free quantity (Akaike 1974, from memory), a hundred beats a minute.
const FREEDOM: f64 = 0.8;
/// Cost of taking a recording for one cut to the click: few are.
const RARE: f64 = 3.0;

/// Is the best cut to be believed when the best free beats reach `free` (nats)?
pub(crate) fn believable(cuts: &[Cut], free: f64, end: f64) -> bool {
    cuts.first()
        .is_some_and(|cut| cut.score + FREEDOM * end - RARE > free)
}

/// An even grid from the first sample to the last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cut {
    /// Beats in the file.
    pub beats: usize,
    /// Length of a beat, seconds.
    pub beat: f64,
    /// Log-probability against chance, the choice among all cuts paid for.
    pub score: f64,
}

/// The best cuts of a recording of `end` seconds, best first: whole bars of two to six beats.
pub(crate) fn cuts(events: &[Event], end: f64) -> Vec<Cut> {
    let last = events.last().map_or(0.0, |e| e.time);
    if !(4.0..=1200.0).contains(&end) || end - last > TAIL {
        return Vec::new();
    }
    let (least, most) = ((end / 1.5).ceil() as usize, (end / 0.25).floor() as usize);
    let counts: Vec<usize> = (least..=most)
        .filter(|n| n % 4 == 0 || n % 6 == 0)
        .collect();
    let choices = (counts.len().max(1) * FEELS.len()) as f64;
    let mut cuts = parallel::map(&counts, |&beats| {
        let beat = end / beats as f64;
        Cut {
            beats,
            beat,
            score: wandering(events, beat, beats) - choices.ln(),
        }
    });
    cuts.sort_by(|a, b| b.score.total_cmp(&a.score));
    cuts
}

/// Log-probability of the best feel on even beats, the player's distance from them wandering.
fn wandering(events: &[Event], beat: f64, beats: usize) -> f64 {
    let by_shift: Vec<_> = SHIFTS
        .iter()
        .map(|&shift| lattice::even(events, beat, beats, shift))
        .collect();
    (0..FEELS.len())
        .map(|feel| {
            let mut score = SHIFTS.map(|s| -0.5 * (s / AWAY).powi(2));
            for from in (0..beats).step_by(HOLD) {
                let to = (from + HOLD).min(beats);
                let before = score;
                for (i, score) in score.iter_mut().enumerate() {
                    let arrived = before
                        .iter()
                        .zip(SHIFTS)
                        .map(|(b, s)| b - 0.5 * ((s - SHIFTS[i]) / WANDER).powi(2))
                        .fold(f64::MIN, f64::max);
                    let here: f64 = by_shift[i][from..to].iter().map(|b| b[feel]).sum();
                    *score = arrived + here;
                }
            }
            score.into_iter().fold(f64::MIN, f64::max)
        })
        .fold(f64::MIN, f64::max)
}
