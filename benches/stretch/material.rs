//! Sounds whose slowed version is known, and the two engines.

use ssstretch::Stretch;
use std::f64::consts::TAU;
use std::sync::Arc;
use thumbline::recording::Recording;
use thumbline::stretch::{OnsetTable, PitchShift, Speed, SpeedMap, render};

/// A mono sound.
pub struct Material {
    pub samples: Vec<f32>,
    /// Its plucks or clicks, seconds.
    pub onsets: Vec<f64>,
    rate: u32,
    frequencies: Vec<f64>,
}

/// Numbers that look like chance, −1 to 1.
fn chance(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 33) as f64 / f64::from(1u32 << 30) - 1.0
}

impl Material {
    /// Plucked strings of `length` seconds as recorded, slowed by construction: onsets and decays
    /// ÷ `speed`, pitches, attacks and pick noise as they are.
    pub fn phrase(rate: u32, speed: f64, length: f64) -> Self {
        let r = f64::from(rate);
        let mut samples = vec![0.0f64; (length / speed * r).round() as usize];
        let mut onsets = Vec::new();
        let mut state = 7;
        for i in 0..(length / 0.25) as usize {
            let at = 0.12 + 0.25 * i as f64;
            let midi = [40.0, 64.0, 47.0, 59.0, 45.0, 67.0, 52.0, 62.0][i % 8];
            let f0 = 440.0 * f64::exp2((midi - 69.0) / 12.0);
            let start = ((at / speed * r).round() as usize).min(samples.len());
            onsets.push(at);
            for n in 1..=24 {
                let n = f64::from(n);
                let f = n * f0 * (1.0 + 6e-5 * n * n).sqrt();
                if f > 9_000.0 {
                    break;
                }
                let fall = (0.5 + 0.9 * (f / 900.0).powf(1.2)) * speed;
                let loud = 0.16 * (n * TAU * 0.075).sin().abs() / n.powf(0.9);
                let w = TAU * f / r;
                for (k, s) in samples[start..].iter_mut().enumerate() {
                    let t = k as f64 / r;
                    let level = loud * (-t * fall).exp();
                    if level < 1e-5 {
                        break;
                    }
                    *s += level * (t / 0.001).min(1.0) * (w * k as f64).cos();
                }
            }
            let mut last = 0.0;
            for (k, s) in samples[start..].iter_mut().take(1300).enumerate() {
                let x = chance(&mut state);
                *s += 0.12 * (x - last) * (-(k as f64) / r / 0.0028).exp();
                last = x;
            }
        }
        Self {
            samples: samples.into_iter().map(|s| s as f32).collect(),
            onsets,
            rate,
            frequencies: Vec::new(),
        }
    }

    /// Single samples at uneven distances.
    pub fn clicks(rate: u32) -> Self {
        let onsets = vec![0.2, 0.45, 0.7, 0.82, 0.94, 1.2, 1.5, 1.8, 2.1];
        let mut samples = vec![0.0; (2.6 * f64::from(rate)) as usize];
        for at in &onsets {
            samples[(at * f64::from(rate)).round() as usize] = 0.8;
        }
        Self {
            samples,
            onsets,
            rate,
            frequencies: Vec::new(),
        }
    }

    /// A low E with eight harmonics.
    pub fn tone(rate: u32) -> Self {
        let frequencies: Vec<f64> = (1..=8).map(|n| 82.41 * f64::from(n)).collect();
        let samples = (0..3 * rate)
            .map(|i| {
                let t = f64::from(i) / f64::from(rate);
                let parts = frequencies
                    .iter()
                    .zip(1..)
                    .map(|(f, n)| (TAU * f * t).cos() / f64::from(n));
                (0.2 * parts.sum::<f64>()) as f32
            })
            .collect();
        Self {
            samples,
            onsets: Vec::new(),
            rate,
            frequencies,
        }
    }

    /// Mean distance (ms) of the clicks in `out` from where they belong, and the mean of their
    /// height (dB).
    pub fn placed(&self, out: &[f32], speed: f64) -> (f64, f64) {
        let (mut off, mut height) = (0.0, 0.0);
        for at in &self.onsets {
            let place = (at / speed * f64::from(self.rate)).round() as usize;
            let from = place.saturating_sub(2_000);
            let near = &out[from.min(out.len())..(place + 2_000).min(out.len())];
            let best = near
                .iter()
                .enumerate()
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            if let Some((i, peak)) = best {
                off += (from + i).abs_diff(place) as f64 / f64::from(self.rate) * 1e3;
                height += 20.0 * (f64::from(peak.abs()) / 0.8).max(1e-6).log10();
            }
        }
        let n = self.onsets.len() as f64;
        (off / n, height / n)
    }

    /// What is left of the middle of `out` after this tone's partials, dB against it.
    pub fn residual(&self, out: &[f32]) -> f64 {
        let middle = out.len() / 2;
        let half = self.rate as usize / 4;
        let part = &out[middle - half..middle + half];
        let mut rest: Vec<f64> = part.iter().map(|&s| f64::from(s)).collect();
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let all = dot(&rest, &rest);
        let mut basis: Vec<Vec<f64>> = Vec::new();
        for f in &self.frequencies {
            for quarter in [0.0, 0.25] {
                let wave = |i: usize| (TAU * (f * i as f64 / f64::from(self.rate) + quarter)).cos();
                let mut column: Vec<f64> = (0..rest.len()).map(wave).collect();
                for b in basis.iter().chain(basis.iter()) {
                    let p = dot(&column, b);
                    column.iter_mut().zip(b).for_each(|(c, b)| *c -= p * b);
                }
                let norm = dot(&column, &column).sqrt();
                for c in &mut column {
                    *c /= norm;
                }
                let p = dot(&rest, &column);
                rest.iter_mut().zip(&column).for_each(|(r, c)| *r -= p * c);
                basis.push(column);
            }
        }
        10.0 * (dot(&rest, &rest) / all).max(1e-15).log10()
    }
}

/// This project's engine.
pub fn ours(recording: &Arc<Recording>, onsets: &Arc<OnsetTable>, speed: f64) -> Vec<Vec<f32>> {
    let map = SpeedMap::constant(Speed::nearest(speed));
    render(recording, onsets, &map, PitchShift::UNCHANGED, |_| true).expect("nobody stops it")
}

/// The open engine, its latency taken off.
pub fn other(channels: &[Vec<f32>], rate: u32, speed: f64) -> Vec<Vec<f32>> {
    let mut engine = Stretch::new();
    engine.preset_default(channels.len() as i32, rate as f32);
    let (before, after) = (
        engine.input_latency() as usize,
        engine.output_latency() as usize,
    );
    let frames = channels[0].len() + before + (after as f64 * speed) as usize + 1;
    let input: Vec<Vec<f32>> = channels
        .iter()
        .map(|c| {
            c.iter()
                .copied()
                .chain(std::iter::repeat(0.0))
                .take(frames)
                .collect()
        })
        .collect();
    let block = 1024usize;
    let mut out = vec![Vec::new(); channels.len()];
    let mut done = 0;
    let mut made = 0;
    while done < frames {
        let n = block.min(frames - done);
        let next = ((done + n) as f64 / speed).round() as usize;
        let part: Vec<Vec<f32>> = input.iter().map(|c| c[done..done + n].to_vec()).collect();
        let mut got = vec![vec![0.0f32; next - made]; channels.len()];
        engine.process_vec(&part, n as i32, &mut got, (next - made) as i32);
        out.iter_mut()
            .zip(&got)
            .for_each(|(o, g)| o.extend_from_slice(g));
        done += n;
        made = next;
    }
    let skip = after + (before as f64 / speed).round() as usize;
    let length = (channels[0].len() as f64 / speed).round() as usize;
    out.into_iter()
        .map(|c| {
            c.into_iter()
                .skip(skip)
                .chain(std::iter::repeat(0.0))
                .take(length)
                .collect()
        })
        .collect()
}
