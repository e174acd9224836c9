//! Noise: bands of the spectrum that are neither tonal nor to be frozen.
//!
//! Turned with locked phases, noise is drawn out into tones: neighbouring frames agree where they
//! should not. A band whose spectrum is as flat as that of noise, by its ratio of geometric to
//! arithmetic mean (Johnston, IEEE J. Selected Areas in Communications 1988, from memory), gets
//! phases by chance instead, drawn anew for every bin and frame, and the mean level of its
//! neighbourhood: neighbouring frames of slowed noise have nearly the same spectrum, whose chance
//! peaks would stand still and sound as tones (the idea of noise morphing, Moliner, Fierro, Wright,
//! Hämäläinen and Välimäki 2024, from memory). Frames then add like noise, by power, and are made
//! as much stronger as they lose by it. Frames near an onset are left alone: there, noise is part
//! of an attack and must stay in its place.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::step::Geometry;
use realfft::num_complex::Complex32;
use std::f64::consts::TAU;
use std::ops::Range;

/// Bins a band: wide enough that the flatness of noise is read to within a decibel.
const BAND: usize = 128;
/// Bins of a neighbourhood, 170 Hz at 44.1 kHz; a band holds a whole number of them.
const NEAR: usize = 16;
/// Most that a bin is raised to its neighbourhood's level, as a factor.
const MOST_RAISE: f32 = 10.0;
/// White noise seen through a Hann window has a flatness of −2.5 dB (e to the minus Euler's
/// constant), within a decibel for a band; partials lower it far below. As log2 of a ratio of powers:
/// −5.5 dB.
const FLAT: f32 = -1.83;
/// Bins of the lowest band that are not looked at: below 27 Hz at 44.1 kHz there is no music.
const LOWEST: usize = 5;
/// Least length of a frame's window against the longest for noise to be loosened.
const LEAST_PART: f64 = 0.75;
/// Phases to draw from.
const PHASES: usize = 256;

/// Which bands of one frame are noise.
pub(super) struct Noise {
    flags: Vec<bool>,
    any: bool,
    /// Factor a bin, set for noisy bands alone.
    level: Vec<f32>,
    /// Unit phasors all around, in an order without pattern.
    phasors: Vec<Complex32>,
    overlap: f64,
    at: i64,
}

impl Noise {
    #[allow(
        clippy::disallowed_macros,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(geometry: &Geometry) -> Self {
        let phasors = (0..PHASES)
            .map(|i| {
                let (sin, cos) = (TAU * i as f64 / PHASES as f64).sin_cos();
                Complex32::new(cos as f32, sin as f32)
            })
            .collect();
        Self {
            flags: vec![false; geometry.half / BAND + 1],
            any: false,
            level: vec![1.0; geometry.half + 1],
            phasors,
            overlap: 2.0 * geometry.half as f64 / geometry.hop as f64,
            at: 0,
        }
    }

    /// Nothing is noise.
    pub(super) fn clear(&mut self) {
        self.any = false;
    }

    /// Reads the bands of `power`, the spectrum of a frame at frame `at` of the recording whose
    /// window is `part` of the longest.
    pub(super) fn read(&mut self, power: &[f32], at: i64, part: f64) {
        self.any = part >= LEAST_PART;
        if !self.any {
            return;
        }
        self.at = at;
        // The power of `overlap` Hann windows, spread over a frame, against their sum in phase.
        let gain = (self.overlap / part).sqrt() as f32;
        let bands = power.chunks_exact(BAND).zip(self.level.chunks_mut(BAND));
        for (i, (flag, (band, level))) in self.flags.iter_mut().zip(bands).enumerate() {
            *flag = flatness(band, i == 0) > FLAT;
            if *flag {
                even_out(band, level, gain, i == 0);
            }
        }
    }

    /// Gives the noisy bands of `bins` phases by chance, the same for every channel.
    pub(super) fn loosen(&self, bins: &mut [Complex32]) {
        if !self.any {
            return;
        }
        for (i, _) in self.flags.iter().enumerate().filter(|(_, flag)| **flag) {
            let Range { start, end } = i * BAND..((i + 1) * BAND).min(bins.len() - 1);
            let mut state = mix(self.at as u64 ^ (i as u64) << 40);
            let start = start.max(1);
            for (bin, level) in bins[start..end].iter_mut().zip(&self.level[start..end]) {
                // A linear congruential step (Knuth's constants, from memory); its top bits.
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                *bin *= self.phasors[(state >> 56) as usize] * level;
            }
        }
    }
}

/// What a bin's power counts. In the `lowest` band, which spans more than four octaves, the power
/// of an octave counts rather than that of a hertz: noise there is seldom white.
fn weight(k: usize, lowest: bool) -> f32 {
    if lowest { k as f32 } else { 1.0 }
}

/// log2 of the ratio of geometric to arithmetic mean of `band`.
fn flatness(band: &[f32], lowest: bool) -> f32 {
    let skip = if lowest { LOWEST } else { 0 };
    let counted = |(k, p): (usize, &f32)| (p * weight(k, lowest)).max(1e-30);
    let powers = || band.iter().enumerate().skip(skip).map(counted);
    let n = (band.len() - skip) as f32;
    // The exponent and mantissa of a float, read as a number, are its log2 to within 0.09.
    let logs: f32 = powers().map(|p| (p.to_bits() >> 8) as f32).sum();
    let geometric = logs / n / 32_768.0 - 127.0;
    geometric - (powers().sum::<f32>() / n).log2()
}

/// Sets each bin's factor `level` so that it comes to `gain` times its neighbourhood's level.
fn even_out(band: &[f32], level: &mut [f32], gain: f32, lowest: bool) {
    for from in (0..band.len()).step_by(NEAR) {
        let to = (from + NEAR).min(band.len());
        let first = if lowest { from.max(LOWEST) } else { from };
        level[from..first].fill(gain);
        let sum: f32 = (first..to).map(|k| band[k] * weight(k, lowest)).sum();
        let mean = sum / (to - first) as f32;
        for k in first..to {
            let own = (band[k] * weight(k, lowest)).max(1e-30);
            level[k] = gain * (mean / own).sqrt().min(MOST_RAISE);
        }
    }
}

/// Scatters a number (the finish of splitmix64, Steele, Lea and Flood 2014, from memory).
fn mix(seed: u64) -> u64 {
    let mut z = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}
