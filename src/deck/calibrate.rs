//! Round-trip latency: clicks are played, found again in the input, and the distance measured.

use super::click::sound;
use super::pulse::Accent;
use crate::unit::Span;

/// Clicks that are played.
pub const CLICKS: usize = 5;

/// Seconds before the first click.
pub const LEAD: f64 = 0.1;

/// Seconds between clicks; the longest latency that can be measured is a little less.
pub const GAP: f64 = 0.4;

/// Seconds that are recorded.
pub const LENGTH: f64 = LEAD + GAP * CLICKS as f64 + 0.2;

/// A correlation peak must stand this far above the correlation's own rms to be a click; noise
/// reaches about 4.5 in 20,000 lags.
const CLEAR: f64 = 7.0;

/// Output frame of click `i`.
pub fn frame_of(i: usize, rate: u32) -> usize {
    ((LEAD + GAP * i as f64) * f64::from(rate)).round() as usize
}

/// What is played at each of those frames.
pub fn click(rate: u32) -> Vec<f32> {
    sound(Accent::Bar, f64::from(rate))
}

/// The latency between the clicks and their echo in `input` (mono, from the calibration's first
/// frame), by cross-correlation with the click summed over all clicks, refined between samples by
/// a parabola.
///
/// None where no clear echo is found: the input is silent, too noisy or not connected.
pub fn latency(input: &[f32], rate: u32) -> Option<Span> {
    let click = click(rate);
    let lags = ((GAP - 0.05) * f64::from(rate)) as usize;
    let correlation: Vec<f64> = (0..lags)
        .map(|lag| {
            (0..CLICKS)
                .map(|i| correlate(input, frame_of(i, rate) + lag, &click))
                .sum()
        })
        .collect();
    let (best, peak) = correlation
        .iter()
        .enumerate()
        .map(|(i, c)| (i, c.abs()))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    // The echo itself is left out of the noise it is held against.
    let skirt = click.len();
    let rest: Vec<f64> = correlation
        .iter()
        .enumerate()
        .filter(|(i, _)| i.abs_diff(best) > skirt)
        .map(|(_, c)| c * c)
        .collect();
    let rms = (rest.iter().sum::<f64>() / rest.len().max(1) as f64).sqrt();
    if peak < CLEAR * rms || peak < 1e-4 {
        return None;
    }
    let at = |i: usize| correlation.get(i).map_or(0.0, |c| c.abs());
    let (a, b, c) = (at(best.wrapping_sub(1)), at(best), at(best + 1));
    let bend = a - 2.0 * b + c;
    let shift = if bend.abs() > 1e-12 {
        (0.5 * (a - c) / bend).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    Some(Span((best as f64 + shift) / f64::from(rate)))
}

fn correlate(input: &[f32], from: usize, click: &[f32]) -> f64 {
    input.get(from..).map_or(0.0, |rest| {
        rest.iter().zip(click).map(|(a, b)| f64::from(a * b)).sum()
    })
}
