//! The instant at which a pluck begins, on the waveform.
//!
//! The error of a linear predictor ([`crate::dsp::predict`]) rises at the pluck's first motion,
//! on low strings and high ones alike, whatever rings underneath. Owns that error, its contrast
//! of after against before, and the choice of the instant.

use crate::analysis::mono::{RATE, samples};
use crate::dsp::predict::Predictor;
use crate::stop;

/// Sound a predictor is fitted to, seconds.
const FIT: f64 = 0.060;
/// Samples predicted with one predictor, 15 ms.
const BLOCK: usize = 331;
/// Energy after is held against energy before over this long each, seconds.
const WIDTH: f64 = 0.003;
/// How far before and after a coarse time the rise is looked for, seconds.
const BEFORE: f64 = 0.016;
const AFTER: f64 = 0.012;
/// A rise counts from the first instant that reaches this share of the largest contrast: an
/// attack often knocks twice, and the first knock is the onset. Tuned on rendered pieces.
const FIRST: f32 = 0.7;
/// The floor under both energies, as a share of the largest error nearby.
const FLOOR: f32 = 0.04;
/// Least contrast of an onset found here alone, dB, and least distance between two, seconds.
const LEAST: f32 = 3.0;
const APART: f64 = 0.006;

/// The first significant rise near `coarse` (seconds) as (time in seconds, contrast in dB).
pub fn refine(predictor: &mut Predictor, mono: &[f32], coarse: f64) -> (f64, f32) {
    let centre = samples(coarse);
    rise(
        predictor,
        mono,
        centre - samples(BEFORE),
        centre + samples(AFTER),
    )
}

/// The same within `reach` seconds of `aim`.
pub fn refine_within(predictor: &mut Predictor, mono: &[f32], aim: f64, reach: f64) -> (f64, f32) {
    let (centre, reach) = (samples(aim), samples(reach + WIDTH));
    rise(predictor, mono, centre - reach, centre + reach)
}

/// The first significant rise between two samples.
fn rise(predictor: &mut Predictor, mono: &[f32], from: isize, to: isize) -> (f64, f32) {
    let from = from.clamp(0, mono.len() as isize) as usize;
    let to = to.clamp(0, mono.len() as isize) as usize;
    let width = samples(WIDTH) as usize;
    if to < from + 2 * width + 1 {
        return (from as f64 / f64::from(RATE), 0.0);
    }
    predictor.fit(&mono[from.saturating_sub(samples(FIT) as usize)..from]);
    let error: Vec<f32> = (from..to).map(|n| predictor.error(mono, n)).collect();
    let envelope = smooth(&error);
    let top = envelope.iter().fold(0.0f32, |m, v| m.max(*v));
    let floor = f64::from(FLOOR * top.max(1e-6)).powi(2);
    let sums = energy_sums(&envelope);
    let contrast: Vec<f32> = (width..envelope.len() - width)
        .map(|i| contrast_at(&sums, i - width, i, i + width, floor))
        .collect();
    let most = contrast.iter().fold(0.0f32, |m, v| m.max(*v));
    let near = contrast.iter().position(|v| *v >= FIRST * most);
    let near = near.unwrap_or(0);
    let best = highest(&contrast, near, (near + width).min(contrast.len()));
    ((from + width + best) as f64 / f64::from(RATE), most)
}

/// Every instant of `mono` that surprises its past, as (time in seconds, contrast in dB).
pub fn surprises(predictor: &mut Predictor, mono: &[f32]) -> Vec<(f64, f32)> {
    let error = errors(predictor, mono);
    let contrast = contrasts(&error);
    let reach = samples(APART) as usize;
    let mut found = Vec::new();
    for from in (0..contrast.len()).step_by(reach) {
        let top = highest(&contrast, from, (from + reach).min(contrast.len()));
        let around = &contrast[top.saturating_sub(reach)..(top + reach).min(contrast.len())];
        if contrast[top] > LEAST && around.iter().all(|v| *v <= contrast[top]) {
            found.push((top as f64 / f64::from(RATE), contrast[top]));
        }
    }
    found
}

/// The prediction error of `mono`, each block against a predictor fitted to the sound before it.
fn errors(predictor: &mut Predictor, mono: &[f32]) -> Vec<f32> {
    let mut error = Vec::with_capacity(mono.len());
    for start in (0..mono.len()).step_by(BLOCK) {
        stop::check();
        predictor.fit(&mono[start.saturating_sub(samples(FIT) as usize)..start]);
        error.extend((start..(start + BLOCK).min(mono.len())).map(|n| predictor.error(mono, n)));
    }
    error
}

/// Contrast of a whole recording's error; the floor follows the largest error within 30 ms.
fn contrasts(error: &[f32]) -> Vec<f32> {
    let width = samples(WIDTH) as usize;
    let chunk = samples(0.01) as usize;
    let tops: Vec<f32> = error
        .chunks(chunk)
        .map(|c| c.iter().fold(1e-6f32, |m, v| m.max(v.abs())))
        .collect();
    let floors: Vec<f64> = (0..tops.len())
        .map(|i| {
            let around = &tops[i.saturating_sub(3)..(i + 4).min(tops.len())];
            f64::from(0.75 * FLOOR * around.iter().fold(0.0f32, |m, v| m.max(*v))).powi(2)
        })
        .collect();
    let sums = energy_sums(error);
    (0..error.len())
        .map(|i| {
            let to = (i + width).min(error.len());
            contrast_at(&sums, i.saturating_sub(width), i, to, floors[i / chunk])
        })
        .collect()
}

/// Energy from `at` to `to` against `from` to `at`, dB, with `floor` under every sample.
fn contrast_at(sums: &[f64], from: usize, at: usize, to: usize, floor: f64) -> f32 {
    let floor = floor * samples(WIDTH) as f64;
    let before = sums[at] - sums[from] + floor;
    let after = sums[to] - sums[at] + floor;
    10.0 * (after.max(1e-12) / before.max(1e-12)).log10() as f32
}

fn energy_sums(values: &[f32]) -> Vec<f64> {
    let mut sum = 0.0;
    std::iter::once(0.0)
        .chain(values.iter().map(|v| {
            sum += f64::from(*v) * f64::from(*v);
            sum
        }))
        .collect()
}

/// Root mean square over half a millisecond around each sample.
fn smooth(error: &[f32]) -> Vec<f32> {
    let half = samples(0.000_25) as usize;
    let sums = energy_sums(error);
    (0..error.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(error.len()));
            ((sums[to] - sums[from]).max(0.0) / (to - from) as f64).sqrt() as f32
        })
        .collect()
}

/// Index of the first highest value between `from` and `to`.
fn highest(values: &[f32], from: usize, to: usize) -> usize {
    (from..to).fold(
        from,
        |best, i| if values[i] > values[best] { i } else { best },
    )
}
