//! Steadiness of the thumb and the course of the tempo.

use super::stats;
use crate::music::grid::Grid;
use crate::unit::{Bpm, Span};
use serde::{Deserialize, Serialize};

/// How evenly the thumb keeps the beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Steadiness {
    /// Intervals between thumb notes on neighbouring beats.
    pub n: usize,
    /// Spread of the intervals after the tempo's own course is taken off (robust SD).
    pub scatter: Span,
    /// Lower end of its 95 % interval.
    pub low: Span,
    /// Upper end of it.
    pub high: Span,
    /// The scatter as a share of the beat.
    pub share: f64,
    /// Where the scatter comes from, when the model that tells it apart applies.
    pub sources: Option<Sources>,
}

/// Scatter split into the inner clock and the hand (Wing & Kristofferson 1973).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sources {
    /// SD of the inner clock's intervals.
    pub clock: Span,
    /// SD of the hand's delay.
    pub hand: Span,
}

/// Why the split into clock and hand is refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Too short a sequence.
    #[error("{0} intervals are too few: the split into clock and hand needs {LEAST_INTERVALS}")]
    TooFew(usize),
    /// The intervals do not behave as the model says.
    #[error("neighbouring intervals correlate by {0:.2}; the model allows −0.5 to 0")]
    OutsideModel(f64),
}

/// Intervals that the split needs (reference values of Wing & Kristofferson's use: at least
/// about a hundred detrended intervals played without a click).
pub const LEAST_INTERVALS: usize = 100;

/// Variance and lag-one covariance of intervals, both divided by their number: γ0, γ1 of
/// Wing & Kristofferson 1973 (in squares of the unit given).
pub fn covariances(intervals: &[f64]) -> (f64, f64) {
    let n = intervals.len().max(1) as f64;
    let mean = intervals.iter().sum::<f64>() / n;
    let zero = intervals.iter().map(|i| (i - mean).powi(2)).sum::<f64>() / n;
    let one = intervals
        .windows(2)
        .map(|p| (p[0] - mean) * (p[1] - mean))
        .sum::<f64>()
        / n;
    (zero, one)
}

/// Splits the scatter of detrended intervals (seconds, one unbroken sequence played without a
/// click) into clock and hand: γ0 = σ_clock² + 2 σ_hand², γ1 = −σ_hand² (Wing & Kristofferson
/// 1973, Perception & Psychophysics 14:5–12; as given by Kampen & Snijders 2002).
pub fn split(intervals: &[f64]) -> Result<Sources, Refusal> {
    if intervals.len() < LEAST_INTERVALS {
        return Err(Refusal::TooFew(intervals.len()));
    }
    let (zero, one) = covariances(intervals);
    let rho = if zero > 0.0 { one / zero } else { 0.0 };
    if !(-0.5..=0.0).contains(&rho) {
        return Err(Refusal::OutsideModel(rho));
    }
    Ok(Sources {
        clock: Span((zero + 2.0 * one).max(0.0).sqrt()),
        hand: Span((-one).max(0.0).sqrt()),
    })
}

/// Steadiness from thumb notes on beats: (beat index, instant in seconds), one a beat, in order.
/// None below eight intervals. `free` tells whether it was played without a click.
pub(super) fn thumb(on_beats: &[(usize, f64)], grid: &Grid, free: bool) -> Option<Steadiness> {
    let beats = grid.beats();
    let mut away = Vec::new();
    let mut lengths = Vec::new();
    let mut longest: Vec<(f64, f64)> = Vec::new();
    let mut unbroken: Vec<(f64, f64)> = Vec::new();
    for pair in on_beats.windows(2) {
        let [(i, a), (j, b)] = [pair[0], pair[1]];
        if j != i + 1 || j >= beats.len() {
            unbroken.clear();
            continue;
        }
        let own = (beats[j].time - beats[i].time).0;
        away.push(b - a - own);
        lengths.push(own);
        unbroken.push((a, b - a));
        if unbroken.len() > longest.len() {
            longest.clone_from(&unbroken);
        }
    }
    if away.len() < 8 {
        return None;
    }
    let n = away.len();
    let centre = stats::median(&mut away)?;
    let scatter = stats::spread(&away, centre);
    // Relative standard error of a robust SD of normal values: 1.17 / √n (from memory).
    let relative = 1.96 * 1.17 / (n as f64).sqrt();
    let sources = stats::line(&longest)
        .filter(|_| free)
        .and_then(|(slope, base, _)| {
            let detrended: Vec<f64> = longest.iter().map(|p| p.1 - base - slope * p.0).collect();
            split(&detrended).ok()
        });
    Some(Steadiness {
        n,
        scatter: Span(scatter),
        low: Span(scatter * (1.0 - relative).max(0.0)),
        high: Span(scatter * (1.0 + relative)),
        share: scatter / stats::median(&mut lengths)?,
        sources,
    })
}

/// The course of the tempo over a whole recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// Tempo at the start of the fitted course.
    pub from: Bpm,
    /// Tempo at its end.
    pub to: Bpm,
    /// Change from start to end in percent; positive is faster.
    pub change: f64,
    /// Lower end of the change's 95 % interval, percent.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
}

/// A straight course through the logarithm of the bars' tempi; none for fewer than six bars.
pub(super) fn trend(grid: &Grid) -> Option<Trend> {
    let points: Vec<(f64, f64)> = grid
        .bars()
        .iter()
        .filter(|b| b.end > b.start)
        .map(|b| {
            (
                b.start.0,
                (60.0 * b.beats as f64 / (b.end - b.start).0).ln(),
            )
        })
        .collect();
    if points.len() < 6 {
        return None;
    }
    let (slope, base, error) = stats::line(&points)?;
    let rest: Vec<f64> = points.iter().map(|p| p.1 - base - slope * p.0).collect();
    let (zero, one) = covariances(&rest);
    // Neighbouring bars are alike: fewer of them are independent (Bartlett 1946, from memory).
    let rho = if zero > 0.0 {
        (one / zero).clamp(0.0, 0.9)
    } else {
        0.0
    };
    let error = error * ((1.0 + rho) / (1.0 - rho)).sqrt();
    let (first, last) = (points[0].0, points[points.len() - 1].0);
    let percent = |slope: f64| 100.0 * ((slope * (last - first)).exp() - 1.0);
    Some(Trend {
        from: Bpm((base + slope * first).exp()),
        to: Bpm((base + slope * last).exp()),
        change: percent(slope),
        low: percent(slope - 1.96 * error),
        high: percent(slope + 1.96 * error),
    })
}
