//! Robust summaries with intervals.

use super::figures::Figure;
pub use crate::dsp::middle::{median, spread, weighted_median};
use crate::unit::Span;

/// Fewer values than this have no 95 % interval of their median: with five, even smallest to
/// largest covers only 94 %.
const FEWEST: usize = 6;

/// Distribution-free 95 % interval of the median of sorted values, from the binomial
/// distribution in its normal approximation (Conover 1999, Practical Nonparametric Statistics,
/// from memory).
pub fn median_interval(sorted: &[f64]) -> Option<(f64, f64)> {
    let n = sorted.len();
    if n < FEWEST {
        return None;
    }
    let half = 0.98 * (n as f64).sqrt();
    let low = (n as f64 / 2.0 - half).floor().max(0.0) as usize;
    let high = ((n as f64 / 2.0 + half).ceil() as usize).min(n - 1);
    Some((sorted[low], sorted[high]))
}

/// The figure of some drifts in seconds; none when there are none.
pub fn figure(drifts: &[f64]) -> Option<Figure> {
    let mut sorted = drifts.to_vec();
    let centre = median(&mut sorted)?;
    let interval = median_interval(&sorted);
    Some(Figure {
        n: sorted.len(),
        centre: Span(centre),
        spread: Span(spread(&sorted, centre)),
        low: interval.map(|i| Span(i.0)),
        high: interval.map(|i| Span(i.1)),
    })
}

/// Slope and intercept of a least-squares line, and the slope's standard error; none for fewer
/// than three points or when all lie at one place.
pub fn line(points: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let n = points.len() as f64;
    if points.len() < 3 {
        return None;
    }
    let mx = points.iter().map(|p| p.0).sum::<f64>() / n;
    let my = points.iter().map(|p| p.1).sum::<f64>() / n;
    let sxx: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
    if sxx <= 0.0 {
        return None;
    }
    let sxy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let slope = sxy / sxx;
    let rest: f64 = points
        .iter()
        .map(|p| (p.1 - my - slope * (p.0 - mx)).powi(2))
        .sum();
    Some((slope, my - slope * mx, (rest / (n - 2.0) / sxx).sqrt()))
}
