//! Rate conversion to a lower or equal rate, any stretch of the output at any time.
//!
//! A windowed sinc without delay: output sample `n` lies exactly at `n / to` seconds. What it
//! does not do: raise the band above the input's own (it interpolates), or stream statefully.

use super::window::kaiser;

/// Zero crossings on either side of the sinc; with β = 8 the stop band lies below −80 dB.
const CROSSINGS: f64 = 16.0;
const BETA: f64 = 8.0;
/// Table steps between two zero crossings, read with linear interpolation.
const STEPS: usize = 256;

/// Converts from one rate to another by windowed-sinc interpolation (Smith & Gossett 1984, from
/// memory).
pub struct Resampler {
    /// Input samples an output sample.
    ratio: f64,
    /// Cut-off as a share of the input's Nyquist frequency.
    cutoff: f64,
    table: Vec<f32>,
}

impl Resampler {
    /// From `from` to `to` frames a second, both above 0.
    pub fn new(from: u32, to: u32) -> Self {
        let ratio = f64::from(from) / f64::from(to);
        // 4 % below the lower Nyquist frequency leaves room for the transition.
        let cutoff = 0.96 * (1.0 / ratio).min(1.0);
        let table = (0..=(CROSSINGS as usize * STEPS + 1))
            .map(|i| {
                let x = i as f64 / STEPS as f64;
                let sinc = if x == 0.0 {
                    1.0
                } else {
                    (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x)
                };
                (sinc * kaiser(x / CROSSINGS, BETA)) as f32
            })
            .collect();
        Self {
            ratio,
            cutoff,
            table,
        }
    }

    /// How many output samples `frames` input samples make.
    pub fn output_len(&self, frames: usize) -> usize {
        (frames as f64 / self.ratio).ceil() as usize
    }

    /// Input samples needed for output samples `first` to `last` (exclusive): a range that may
    /// begin below 0 or end beyond the input.
    pub fn input_range(&self, first: usize, last: usize) -> (isize, isize) {
        let reach = (CROSSINGS / self.cutoff).ceil();
        (
            (first as f64 * self.ratio - reach).floor() as isize,
            (last as f64 * self.ratio + reach).ceil() as isize + 1,
        )
    }

    /// Output samples `first` to `last` (exclusive) from `input`, whose first sample is sample
    /// `offset` of the whole; samples outside it count as 0.
    pub fn convert(&self, input: &[f32], offset: isize, first: usize, last: usize) -> Vec<f32> {
        if self.ratio == 1.0 {
            return (first..last)
                .map(|n| sample(input, n as isize - offset))
                .collect();
        }
        let reach = CROSSINGS / self.cutoff;
        (first..last)
            .map(|n| {
                let centre = n as f64 * self.ratio;
                let from = (centre - reach).ceil() as isize;
                let to = (centre + reach).floor() as isize;
                let from_in = (from - offset).clamp(0, input.len() as isize);
                let to_in = (to + 1 - offset).clamp(from_in, input.len() as isize);
                let step = self.cutoff * STEPS as f64;
                let mut sum = 0.0f32;
                for (k, x) in input[from_in as usize..to_in as usize].iter().enumerate() {
                    let at = ((from_in + offset) as f64 + k as f64 - centre).abs() * step;
                    let i = at as usize;
                    let f = (at - i as f64) as f32;
                    let (a, b) = (self.table[i], self.table[i + 1]);
                    sum += x * (a + f * (b - a));
                }
                sum * self.cutoff as f32
            })
            .collect()
    }
}

fn sample(input: &[f32], index: isize) -> f32 {
    usize::try_from(index)
        .ok()
        .and_then(|i| input.get(i))
        .copied()
        .unwrap_or(0.0)
}
