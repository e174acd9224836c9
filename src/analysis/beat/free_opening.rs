//! Openings without a pulse.
//!
//! Owns the question whether a grid's first beats are a pulse or only what a decoder makes of free
//! playing. Where the playing before some beat is believed much less than what follows and the
//! tempo wanders from beat to beat as well, it is free: nothing in it is early or late.

use super::priors::{DOUBTFUL, FOLLOWS, LESS, OPENING, WANDERS};
use crate::music::grid::Beat;

/// An event stands on a half of a beat within this share of the beat; by chance four in ten do. An
/// opening of this many events or more strays where fewer than that fit, if nearly all fit after it.
/// Chosen by hand on one generated opening.
const ON: f64 = 0.1;
const EVENTS: f64 = 8.0;
const STRAYS: f64 = 0.65;
const FITS: f64 = 0.9;

/// How many of the first `beats` (of one run) are no pulse: believed less than what follows.
pub(super) fn free(beats: &[Beat]) -> usize {
    let n = beats.len();
    if n < OPENING + FOLLOWS {
        return 0;
    }
    let mut sums = vec![0.0];
    for beat in beats {
        sums.push(sums[sums.len() - 1] + f64::from(beat.confidence));
    }
    let means = |k: usize| (sums[k] / k as f64, (sums[n] - sums[k]) / (n - k) as f64);
    let split = rise(OPENING..=n - FOLLOWS, |k| {
        let (before, after) = means(k);
        ((k * (n - k)) as f64, before, after)
    });
    let Some(k) = split else {
        return 0;
    };
    let (before, after) = means(k);
    if before < DOUBTFUL && before < LESS * after && wander(&beats[..k]) > WANDERS {
        k
    } else {
        0
    }
}

/// How many of the first `beats` (of one run) are no pulse because what is played there (instants of
/// `events`, in order of time) stands anywhere between them, while what follows stands on beats and halves.
pub(super) fn unfit(beats: &[Beat], events: &[f64]) -> usize {
    let n = beats.len();
    if n < OPENING + FOLLOWS {
        return 0;
    }
    // Events and those that stand on a half of a beat, summed up to each beat.
    let mut sums = vec![(0.0f64, 0.0f64); n];
    for pair in 1..n {
        let (from, to) = (beats[pair - 1].time.0, beats[pair].time.0);
        let inside = events.iter().filter(|e| (from..to).contains(*e));
        let halves = inside.map(|e| 2.0 * (e - from) / (to - from).max(1e-3));
        let (mut all, mut fit) = sums[pair - 1];
        for half in halves {
            all += 1.0;
            fit += f64::from(u8::from((half - half.round()).abs() <= 2.0 * ON));
        }
        sums[pair] = (all, fit);
    }
    let end = sums[n - 1];
    let shares = |k: usize| {
        let (all, fit) = sums[k];
        let (rest, rest_fit) = (end.0 - all, end.1 - fit);
        (all, fit / all.max(1.0), rest, rest_fit / rest.max(1.0))
    };
    let split = rise(OPENING..n - FOLLOWS, |k| {
        let (all, before, rest, after) = shares(k);
        (all * rest, before, after)
    });
    let fits = |k: &usize| {
        let (all, before, _, after) = shares(*k);
        all >= EVENTS && before < STRAYS && after > FITS
    };
    // The pulse begins where two beats running are played, if that is soon.
    let played = |k: usize| {
        let near = ON * (beats[k + 1].time - beats[k].time).0;
        events.iter().any(|e| (e - beats[k].time.0).abs() < near)
    };
    split.filter(fits).map_or(0, |k| {
        let mut soon = k..(k + OPENING + 2).min(n - 2);
        soon.find(|&k| played(k) && played(k + 1)).unwrap_or(k)
    })
}

/// Where a rise explains most of the variance: of the places, by `sides` (product of the weights of both
/// sides, the mean of each), the last of the best.
fn rise(
    places: impl Iterator<Item = usize>,
    sides: impl Fn(usize) -> (f64, f64, f64),
) -> Option<usize> {
    let gain = |k: &usize| {
        let (weight, before, after) = sides(*k);
        weight * (after - before).max(0.0).powi(2)
    };
    places.max_by(|a, b| gain(a).total_cmp(&gain(b)))
}

/// Root mean square change of the beat's logarithm from one to the next.
fn wander(beats: &[Beat]) -> f64 {
    let gaps: Vec<f64> = beats
        .windows(2)
        .map(|p| (p[1].time - p[0].time).0.max(1e-3).ln())
        .collect();
    let changes: Vec<f64> = gaps.windows(2).map(|p| (p[1] - p[0]).powi(2)).collect();
    (changes.iter().sum::<f64>() / changes.len().max(1) as f64).sqrt()
}
