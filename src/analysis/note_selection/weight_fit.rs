//! Fits the weights of the note decision on performances whose notes are known.
//!
//! Three regressions, each on what the one before leaves: how exactly a candidate marks an onset, which
//! candidate of a group a pitch begins at, whether it begins at all. Logistic, the second one over the
//! choices of a group (conditional logit); full batches, Adam (Kingma & Ba 2015, from memory), a
//! little weight decay. `benches/fit.rs` reads the recordings. Nothing here is used while listening.

use super::weighing::Weights;
use super::{beginning, fold, groups, logistic, marks, placing, settle, weigh};
use crate::analysis::features::Features;
use crate::analysis::pitch::LOWEST;
use crate::analysis::pluck_net::PITCHES;

/// A performance: what is heard at its candidates, and its notes (second, MIDI number).
pub struct KnownPerformance {
    /// In order of time.
    pub heard: Vec<Features>,
    /// In order of time.
    pub notes: Vec<(f64, i32)>,
}

/// A candidate is exact within this, seconds.
const EXACT: f64 = 0.003;
/// A note belongs to a candidate within this, seconds.
const NEAR: f64 = 0.025;

/// Weights for these performances.
pub fn weights(performances: &[KnownPerformance]) -> Weights {
    let mut weights = super::WEIGHTS.clone();
    let (mut rows, mut yes) = (Vec::new(), Vec::new());
    for p in performances {
        for (mark, h) in marks(&p.heard, &weights).iter().zip(&p.heard) {
            let near = |n: &(f64, i32)| (n.0 - h.candidate.time).abs() < EXACT;
            rows.push(mark.features);
            yes.push(p.notes.iter().any(near));
        }
    }
    weights.exact = regression(&rows, &yes);
    let mut choices: Vec<(Vec<[f32; 7]>, usize)> = Vec::new();
    for p in performances {
        let marks = marks(&p.heard, &weights);
        for pitch in 0..PITCHES {
            for group in groups(&p.heard, pitch) {
                choices.extend(choice(p, &marks, pitch, &group));
            }
        }
    }
    weights.place = choosing(&choices);
    let (mut rows, mut yes) = (Vec::new(), Vec::new());
    for p in performances {
        let marks = marks(&p.heard, &weights);
        let folded: Vec<Vec<f32>> = p.heard.iter().map(|h| fold(&h.newness.pitches)).collect();
        for pitch in 0..PITCHES {
            for group in groups(&p.heard, pitch) {
                for i in settle(&p.heard, &marks, pitch, group, &weights) {
                    rows.push(beginning(&p.heard, &marks, &folded, pitch, i).0);
                    yes.push(nearest(p, pitch, p.heard[i].candidate.time) < NEAR);
                }
            }
        }
    }
    weights.note = regression(&rows, &yes);
    weights
}

/// Distance to the nearest note of `pitch`, seconds.
fn nearest(p: &KnownPerformance, pitch: usize, time: f64) -> f64 {
    let same = p.notes.iter().filter(|n| n.1 == LOWEST + pitch as i32);
    same.map(|n| (n.0 - time).abs())
        .fold(f64::INFINITY, f64::min)
}

/// The candidates of a group and which of them lies nearest to a note of the pitch.
fn choice(
    p: &KnownPerformance,
    marks: &[super::Mark],
    pitch: usize,
    group: &[usize],
) -> Option<(Vec<[f32; 7]>, usize)> {
    let first = *group.first()?;
    let away = |i: usize| nearest(p, pitch, p.heard[i].candidate.time);
    let best = (0..group.len()).min_by(|a, b| away(group[*a]).total_cmp(&away(group[*b])))?;
    (group.len() > 1 && away(group[best]) < NEAR).then(|| {
        let features = |i: &usize| placing(&p.heard, marks, pitch, *i, *i == first);
        (group.iter().map(features).collect(), best)
    })
}

/// Weights and bias that tell the rows that are a yes.
fn regression<const N: usize>(rows: &[[f32; N]], yes: &[bool]) -> ([f32; N], f32) {
    let count = rows.len().max(1) as f32;
    let mut found = ([0.0; N], 0.0);
    descend(
        |at: &[f32]| {
            found.0.copy_from_slice(&at[..N]);
            found.1 = at[N];
            let mut slope = vec![0.0; N + 1];
            for (row, yes) in rows.iter().zip(yes) {
                let off = logistic(weigh(row, &found.0) + found.1) - if *yes { 1.0 } else { 0.0 };
                for (s, x) in slope.iter_mut().zip(row.iter().chain(&[1.0])) {
                    *s += off * x / count;
                }
            }
            slope
        },
        N + 1,
    );
    found
}

/// Weights that make the right one of each group's choices the likeliest.
fn choosing<const N: usize>(choices: &[(Vec<[f32; N]>, usize)]) -> [f32; N] {
    let count = choices.len().max(1) as f32;
    let mut found = [0.0; N];
    descend(
        |at: &[f32]| {
            found.copy_from_slice(at);
            let mut slope = vec![0.0; N];
            for (rows, right) in choices {
                let scores: Vec<f32> = rows.iter().map(|r| weigh(r, &found)).collect();
                let top = scores.iter().fold(f32::NEG_INFINITY, |m, s| m.max(*s));
                let all: f32 = scores.iter().map(|s| (s - top).exp()).sum();
                for (k, (row, score)) in rows.iter().zip(&scores).enumerate() {
                    let off = (score - top).exp() / all - if k == *right { 1.0 } else { 0.0 };
                    for (s, x) in slope.iter_mut().zip(row) {
                        *s += off * x / count;
                    }
                }
            }
            slope
        },
        N,
    );
    found
}

/// Follows a slope down for a fixed number of steps.
fn descend(mut slope_at: impl FnMut(&[f32]) -> Vec<f32>, length: usize) {
    const STEPS: i32 = 1500;
    const DECAY: f32 = 1e-5;
    let mut at = vec![0.0f32; length];
    let (mut mean, mut square) = (at.clone(), at.clone());
    for step in 1..=STEPS {
        let rate = if step < STEPS / 2 { 0.05 } else { 0.01 };
        let slope = slope_at(&at);
        for k in 0..length {
            let s = slope[k] + DECAY * at[k];
            mean[k] = 0.9 * mean[k] + 0.1 * s;
            square[k] = 0.999 * square[k] + 0.001 * s * s;
            let m = mean[k] / (1.0 - 0.9f32.powi(step));
            let v = square[k] / (1.0 - 0.999f32.powi(step));
            at[k] -= rate * m / (v.sqrt() + 1e-8);
        }
    }
    slope_at(&at);
}
