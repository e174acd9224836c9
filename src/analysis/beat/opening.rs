//! Openings without a pulse.
//!
//! Owns the question whether a grid's first beats are a pulse or only what a decoder makes of free
//! playing. Where the playing before some beat is believed much less than what follows and the
//! tempo wanders from beat to beat as well, it is free: nothing in it is early or late.

use crate::music::grid::Beat;

/// Fewest beats of an opening, and of what follows it.
const OPENING: usize = 4;
const FOLLOWS: usize = 12;
/// Most that the opening's beats may be believed (mean confidence), and as a share of those that
/// follow. This and the next: tuned on rendered pieces (corpus seeds 11 to 13, 101 to 104 and the
/// default).
const DOUBTFUL: f64 = 0.65;
const LESS: f64 = 0.75;
/// Least change of the beat from one to the next (root mean square of its logarithm).
const WANDERS: f64 = 0.012;

/// How many of the first `beats` (of one run) are no pulse.
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
    // Where the split explains most of the confidences' variance.
    let split = (OPENING..=n - FOLLOWS)
        .map(|k| {
            let (before, after) = means(k);
            let gain = (k * (n - k)) as f64 * (after - before).max(0.0).powi(2);
            (gain, k)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, k)) = split else {
        return 0;
    };
    let (before, after) = means(k);
    if before < DOUBTFUL && before < LESS * after && wander(&beats[..k]) > WANDERS {
        k
    } else {
        0
    }
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
