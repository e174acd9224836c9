//! Spectral flux: how much louder each band of the spectrum has become.
//!
//! Two views of one signal, after Böck & Widmer 2013 ("Maximum filter vibrato suppression for
//! onset detection", from memory): a long window that tells partials apart, so that a soft note
//! under a ringing chord shows, and a short one that shows the knock of fast plucks.

use crate::analysis::mono::RATE;
use crate::dsp::spectrum::Spectrum;
use crate::stop;

/// Samples between frames: 220.5 frames a second.
pub const HOP: usize = 100;

/// A peak of the combined flux.
#[derive(Debug, Clone, Copy)]
pub struct Peak {
    /// Seconds.
    pub time: f64,
    /// Height above its surroundings.
    pub height: f32,
}

/// What one view is made of.
struct View {
    /// Window length in samples.
    window: usize,
    /// Lowest and highest frequency, Hz.
    range: (f64, f64),
    /// Bands an octave.
    per_octave: f64,
    /// Frames between the compared spectra.
    lag: usize,
    /// Frames by which the flux peak trails the onset.
    delay: usize,
}

// Tuned on rendered pieces.
const LONG: View = View {
    window: 1024,
    range: (60.0, 9_500.0),
    per_octave: 24.0,
    lag: 3,
    delay: 0,
};
const SHORT: View = View {
    window: 256,
    range: (180.0, 9_500.0),
    per_octave: 6.0,
    lag: 2,
    delay: 0,
};

/// Flux of a signal, one value a frame.
pub struct Fluxes {
    /// Combined flux, one value every [`HOP`] samples; about 1 at a clear pluck.
    pub combined: Vec<f32>,
}

impl Fluxes {
    /// Flux of `mono`, sampled at [`RATE`].
    pub fn of(mono: &[f32]) -> Self {
        let long = flux(mono, &LONG);
        let short = flux(mono, &SHORT);
        let (l, s) = (typical_peak(&long), typical_peak(&short));
        let combined = long
            .iter()
            .zip(&short)
            .map(|(a, b)| 0.6 * a / l + 0.4 * b / s)
            .collect();
        Self { combined }
    }

    /// Local maxima that stand out of their surroundings at all.
    pub fn peaks(&self) -> Vec<Peak> {
        let flux = &self.combined;
        let mean = moving_mean(flux, 22);
        (0..flux.len())
            .filter_map(|i| {
                let from = i.saturating_sub(3);
                let to = (i + 4).min(flux.len());
                let height = flux[i] - mean[i];
                let top = flux[from..i].iter().all(|v| *v < flux[i])
                    && flux[i + 1..to].iter().all(|v| *v <= flux[i]);
                (top && height > 0.04).then(|| Peak {
                    time: (i * HOP) as f64 / f64::from(RATE),
                    height,
                })
            })
            .collect()
    }
}

/// Sum over bands of the rise of log magnitude against the strongest neighbour `lag` frames ago.
fn flux(mono: &[f32], view: &View) -> Vec<f32> {
    let mut spectrum = Spectrum::new(view.window, view.window);
    let bands = bands(view, spectrum.bins());
    let frames = mono.len() / HOP + 1;
    let mut bins = vec![0.0; spectrum.bins()];
    let scale = 1000.0 / level(mono);
    let mut past: Vec<Vec<f32>> = Vec::with_capacity(view.lag);
    let mut flux = Vec::with_capacity(frames);
    for frame in 0..frames {
        stop::check();
        let start = (frame * HOP) as isize - (view.window / 2) as isize;
        spectrum.magnitudes(mono, start, &mut bins);
        let now: Vec<f32> = bands
            .iter()
            .map(|band| {
                let sum: f32 = band.iter().map(|(bin, weight)| bins[*bin] * weight).sum();
                (1.0 + scale * sum).ln()
            })
            .collect();
        if past.len() < view.lag {
            flux.push(0.0);
            past.push(now);
            continue;
        }
        let before = &past[frame % view.lag];
        let rise = now
            .iter()
            .enumerate()
            .map(|(b, v)| {
                let from = b.saturating_sub(1);
                let to = (b + 2).min(before.len());
                let most = before[from..to].iter().fold(0.0f32, |m, x| m.max(*x));
                (v - most).max(0.0)
            })
            .sum::<f32>()
            / bands.len() as f32;
        flux.push(rise);
        past[frame % view.lag] = now;
    }
    flux.drain(..view.delay.min(flux.len()));
    flux.resize(frames, 0.0);
    flux
}

/// Triangular bands, evenly spaced in log frequency, none narrower than a bin.
fn bands(view: &View, bins: usize) -> Vec<Vec<(usize, f32)>> {
    let hz = f64::from(RATE) / view.window as f64;
    let count = ((view.range.1 / view.range.0).log2() * view.per_octave) as i32;
    let mut centres: Vec<usize> = (0..=count)
        .map(|i| (view.range.0 * (f64::from(i) / view.per_octave).exp2() / hz).round() as usize)
        .filter(|bin| *bin >= 1 && bin + 1 < bins)
        .collect();
    centres.dedup();
    centres
        .windows(3)
        .map(|c| {
            let mut band: Vec<(usize, f32)> = (c[0] + 1..c[2])
                .map(|bin| {
                    let weight = if bin <= c[1] {
                        (bin - c[0]) as f32 / (c[1] - c[0]) as f32
                    } else {
                        (c[2] - bin) as f32 / (c[2] - c[1]) as f32
                    };
                    (bin, weight)
                })
                .collect();
            let sum: f32 = band.iter().map(|(_, w)| w).sum();
            for (_, w) in &mut band {
                *w /= sum;
            }
            band
        })
        .collect()
}

/// A recording's level: root mean square of its loudest tenth of 50 ms stretches; never 0.
fn level(mono: &[f32]) -> f32 {
    let mut energies: Vec<f32> = mono
        .chunks(RATE as usize / 20)
        .map(|c| c.iter().map(|x| x * x).sum::<f32>() / c.len() as f32)
        .collect();
    energies.sort_by(f32::total_cmp);
    let loud = energies.len() - energies.len().div_ceil(10);
    let top = &energies[loud.min(energies.len().saturating_sub(1))..];
    let mean = top.iter().sum::<f32>() / top.len().max(1) as f32;
    mean.sqrt().max(1e-5)
}

/// The height a clear peak has in this flux: mean of the highest values, one a quarter second.
fn typical_peak(flux: &[f32]) -> f32 {
    let mut tops: Vec<f32> = flux
        .chunks(RATE as usize / HOP / 4)
        .map(|c| c.iter().fold(0.0f32, |m, x| m.max(*x)))
        .collect();
    tops.sort_by(f32::total_cmp);
    tops.get(tops.len() * 3 / 4)
        .copied()
        .unwrap_or(1.0)
        .max(0.02)
}

fn moving_mean(values: &[f32], reach: usize) -> Vec<f32> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0f64;
    sums.push(0.0);
    for v in values {
        sum += f64::from(*v);
        sums.push(sum);
    }
    (0..values.len())
        .map(|i| {
            let from = i.saturating_sub(reach);
            let to = (i + reach + 1).min(values.len());
            ((sums[to] - sums[from]) / (to - from) as f64) as f32
        })
        .collect()
}
