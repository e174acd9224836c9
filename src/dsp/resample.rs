//! Rate conversion to a lower or equal rate, any stretch of the output at any time.
//!
//! A windowed sinc without delay: output sample `n` lies exactly at `n / to` seconds. What it
//! does not do: raise the band above the input's own (it interpolates), or stream statefully.

use super::dot;
use super::window::kaiser;
use std::f64::consts::PI;

/// Zero crossings on either side of the sinc; with β = 8 the stop band lies below −80 dB.
const CROSSINGS: f64 = 16.0;
const BETA: f64 = 8.0;

/// Converts from one rate to another by windowed-sinc interpolation (Smith & Gossett 1984, from
/// memory), one set of taps for each place an output sample can take between two input samples.
pub struct Resampler {
    /// Output sample `n` lies `n · from / to` input samples in, both divided by what they share.
    from: usize,
    to: usize,
    /// Taps on either side of an output sample.
    reach: usize,
    /// `to` sets of `2 · reach` taps.
    phases: Vec<Vec<f32>>,
}

impl Resampler {
    /// From `from` to `to` frames a second, both above 0.
    pub fn new(from: u32, to: u32) -> Self {
        let shared = common_divisor(from, to);
        let (from, to) = ((from / shared) as usize, (to / shared) as usize);
        // 4 % below the lower Nyquist frequency leaves room for the transition.
        let cutoff = 0.96 * (to as f64 / from as f64).min(1.0);
        let reach = (CROSSINGS / cutoff).ceil() as usize + 1;
        let phases = if from == to {
            Vec::new()
        } else {
            (0..to)
                .map(|phase| {
                    let behind = phase as f64 / to as f64;
                    (0..2 * reach)
                        .map(|k| {
                            let x = (k as f64 - (reach as f64 - 1.0) - behind) * cutoff;
                            let sinc = if x == 0.0 {
                                1.0
                            } else {
                                (PI * x).sin() / (PI * x)
                            };
                            (sinc * kaiser(x / CROSSINGS, BETA) * cutoff) as f32
                        })
                        .collect()
                })
                .collect()
        };
        Self {
            from,
            to,
            reach,
            phases,
        }
    }

    /// How many output samples `frames` input samples make.
    pub fn output_len(&self, frames: usize) -> usize {
        (frames * self.to).div_ceil(self.from)
    }

    /// Input samples needed for output samples `first` to `last` (exclusive): a range that may
    /// begin below 0 or end beyond the input.
    pub fn input_range(&self, first: usize, last: usize) -> (isize, isize) {
        let at = |n: usize| (n * self.from / self.to) as isize;
        (
            at(first) + 1 - self.reach as isize,
            at(last) + 1 + self.reach as isize,
        )
    }

    /// Output samples `first` to `last` (exclusive) from `input`, whose first sample is sample
    /// `offset` of the whole; samples outside it count as 0.
    pub fn convert(&self, input: &[f32], offset: isize, first: usize, last: usize) -> Vec<f32> {
        (first..last)
            .map(|n| {
                let at = (n * self.from / self.to) as isize - offset;
                let Some(taps) = self.phases.get(n * self.from % self.to) else {
                    return sample(input, at);
                };
                let start = at + 1 - self.reach as isize;
                let from = start.clamp(0, input.len() as isize);
                let to = (start + taps.len() as isize).clamp(from, input.len() as isize);
                let skipped = (from - start).clamp(0, taps.len() as isize) as usize;
                dot(&taps[skipped..], &input[from as usize..to as usize])
            })
            .collect()
    }
}

fn common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 {
        a.max(1)
    } else {
        common_divisor(b, a % b)
    }
}

fn sample(input: &[f32], index: isize) -> f32 {
    usize::try_from(index)
        .ok()
        .and_then(|i| input.get(i))
        .copied()
        .unwrap_or(0.0)
}
