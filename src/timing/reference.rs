//! Other things to measure against than the player's own smoothed tempo.

use super::figures::Reference;
use super::stats;
use crate::music::grid::Grid;
use crate::unit::Seconds;

/// The grid that `reference` means: the same beats, bars and slots, elsewhere in time. `thumbs`
/// are thumb notes on beats, (beat index, seconds).
pub(super) fn grid(own: &Grid, reference: Reference, thumbs: &[(usize, f64)]) -> Grid {
    let mut times: Vec<f64> = own.beats().iter().map(|b| b.time.0).collect();
    match reference {
        Reference::OwnTempo | Reference::Recording => return own.clone(),
        Reference::Strict(bpm) => {
            let beat = bpm
                .map(|b| b.beat().0)
                .filter(|b| b.is_finite() && *b > 0.0);
            for run in own.runs() {
                strict(&mut times[run], beat);
            }
        }
        Reference::Thumb => {
            for run in own.runs() {
                let inside: Vec<(usize, f64)> = thumbs
                    .iter()
                    .filter(|t| run.contains(&t.0))
                    .map(|t| (t.0, t.1 - times[t.0]))
                    .collect();
                follow(&mut times, run, &inside);
            }
        }
    }
    own.moved(&times.into_iter().map(Seconds).collect::<Vec<_>>())
}

/// Replaces beats by even ones of length `beat`, or of the best even length, in the middle of
/// where they were.
fn strict(times: &mut [f64], beat: Option<f64>) {
    let points: Vec<(f64, f64)> = times
        .iter()
        .enumerate()
        .map(|(k, &t)| (k as f64, t))
        .collect();
    let Some(beat) = beat.or_else(|| stats::line(&points).map(|l| l.0)) else {
        return;
    };
    let mut starts: Vec<f64> = points.iter().map(|(k, t)| t - k * beat).collect();
    if let Some(start) = stats::median(&mut starts) {
        for (k, time) in times.iter_mut().enumerate() {
            *time = start + k as f64 * beat;
        }
    }
}

/// Moves the beats of a run onto the thumb: by its own distance where it plays, in proportion
/// between.
fn follow(times: &mut [f64], run: std::ops::Range<usize>, away: &[(usize, f64)]) {
    for k in run {
        let after = away.partition_point(|a| a.0 < k);
        let shift = match (after.checked_sub(1).map(|i| away[i]), away.get(after)) {
            (_, Some(&(at, by))) if at == k => by,
            (Some((a, x)), Some(&(b, y))) => x + (y - x) * (k - a) as f64 / (b - a) as f64,
            (Some((_, x)), None) => x,
            (None, Some(&(_, y))) => y,
            (None, None) => 0.0,
        };
        times[k] += shift;
    }
}
