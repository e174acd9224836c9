//! Phase continuation: partials of strings that ring on keep their turn through an attack or a seam.
//!
//! An attack begins with every phase as recorded, so that its partials stand to each other as
//! they did. A string that was ringing before has been turned by then, and would jump. Where the
//! frame after the attack shows a partial that the frame before it showed too, at a fitting level
//! and with a phase that runs on through the attack, that peak keeps its turn θ. The attack
//! itself is copied with θ = 0, so within it the continued partials, c·exp(iωt), are put right by
//! adding Re((exp(iθ) − 1)·c·exp(iωt)): the *bridge*. c is read on both sides, and goes from one
//! to the other in a straight line.
//!
//! At a seam there is nothing between the two sides. Where they are one sound (a note or a chord
//! held through it), every peak found on both keeps its phase; where they are not, the new one
//! begins as recorded, since its partials would stand to each other as they never did.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::overlap_add::OverlapAdd;
use super::peaks::{MOST_SLIP, Peaks};
use super::phase::{narrow, wide, wrap};
use super::spectra::Spectra;
use super::step::{Copy, Geometry};
use super::window::transform;
use realfft::num_complex::{Complex32, Complex64};
use std::f64::consts::TAU;

/// A continued partial may lie this many bins from where it was.
const NEAR_BINS: u32 = 2;
/// It may grow by this factor of amplitude (4 dB), and fall to this (−15 dB), tuned on the modal
/// phrases.
pub(super) const MOST_GROWTH: f64 = 1.6;
const LEAST_REST: f64 = 0.18;
/// Partials weaker than this against the strongest (−70 dB) are left alone.
const WEAKEST: f64 = 3e-4;
/// A partial's amplitude is read from a bin at which the window sees at least this much of it: at
/// half a bin's distance a Hann window sees 0.85, at two bins' nothing.
const LEAST_SEEN: f64 = 0.5;
/// Most partials bridged at one attack.
const MOST: usize = 96;
/// Level at which a partial goes on through a seam: within this factor (12 dB) either way.
const SEAM_RATIO: f64 = 4.0;
/// Two sides of a seam are one sound when partials with this share of either's power go on.
const SEAM_SHARE: f64 = 0.97;

/// One partial in an attack zone.
#[derive(Debug, Clone, Copy)]
struct Partial {
    omega: f64,
    theta: f64,
    old_bin: u32,
    new_bin: u32,
}

/// The partials that go on through the attack at hand, and their bridge.
pub(super) struct Continuation {
    partials: Vec<Partial>,
    /// Complex amplitude a partial and channel where the zone begins, and its change a frame.
    amplitudes: Vec<(Complex32, Complex32)>,
    channels: usize,
    sum: Vec<Vec<f32>>,
    /// exp(iωs) of the partial at hand: real and imaginary parts.
    wave: (Vec<f32>, Vec<f32>),
    /// 0, 1, 2 …
    ramp: Vec<f32>,
}

/// Frames whose turns are worked out beside each other.
const LANES: usize = 8;

impl Continuation {
    #[allow(
        clippy::disallowed_macros,
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(geometry: &Geometry, channels: usize) -> Self {
        let longest = 2 * (geometry.zone + geometry.lead) + geometry.fade;
        Self {
            partials: Vec::with_capacity(MOST),
            amplitudes: Vec::with_capacity(MOST * channels),
            channels,
            sum: vec![vec![0.0; longest]; channels],
            wave: (vec![0.0; longest], vec![0.0; longest]),
            ramp: (0..longest).map(|i| i as f32).collect(),
        }
    }

    pub(super) fn clear(&mut self) {
        self.partials.clear();
        self.amplitudes.clear();
    }

    /// Finds the peaks of `new` that go on from `old` through `zone`, and lets them keep their
    /// turn.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn through_attack(
        &mut self,
        new: &mut Spectra,
        old: &Spectra,
        zone: &Copy,
        size: usize,
    ) {
        let per_bin = TAU / size as f64;
        let strongest = |s: &Spectra| {
            let levels = s.peaks.all().iter().map(|p| s.level(p.bin as usize));
            levels.fold(0.0, f64::max)
        };
        let least = WEAKEST * strongest(new).max(strongest(old));
        let (c_old, c_new) = (old.centroid(), new.centroid());
        let span = (new.t - old.t) as f64 + c_new - c_old;
        let mut peaks = std::mem::take(&mut new.peaks);
        for peak in peaks.all_mut() {
            if self.partials.len() == MOST {
                break;
            }
            let k = peak.bin as usize;
            let after = new.level(k);
            if after < least * LEAST_REST {
                continue;
            }
            let i = old
                .peaks
                .all()
                .partition_point(|p| p.bin + NEAR_BINS < peak.bin);
            let near = old.peaks.all()[i..]
                .iter()
                .take_while(|p| p.bin <= peak.bin + NEAR_BINS);
            let Some(from) = near.min_by_key(|p| p.bin.abs_diff(peak.bin)) else {
                continue;
            };
            let j = from.bin as usize;
            let before = old.level(j);
            if before < least || after > MOST_GROWTH * before || after < LEAST_REST * before {
                continue;
            }
            let z: Complex32 = new
                .bins
                .iter()
                .zip(&old.bins)
                .map(|(n, o)| n[k] * o[j].conj())
                .sum();
            let moved = f64::from(z.arg()) + per_bin * (k as f64 * c_new - j as f64 * c_old);
            let slip = wrap(moved - from.steady * span);
            if slip.abs() > MOST_SLIP {
                continue;
            }
            peak.theta = from.theta;
            peak.stray = from.stray;
            peak.omega = if from.is_even() {
                from.steady
            } else {
                from.steady + slip / span
            };
            peak.steady = peak.omega;
            self.partials.push(Partial {
                omega: peak.omega,
                theta: peak.theta,
                old_bin: from.bin,
                new_bin: peak.bin,
            });
        }
        new.peaks = peaks;
        self.measure(new, old, zone, per_bin);
    }

    /// Complex amplitudes of the continued partials at both ends of the zone.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    fn measure(&mut self, new: &Spectra, old: &Spectra, zone: &Copy, per_bin: f64) {
        let length = (zone.len + zone.fall).max(1) as f64;
        for p in &self.partials {
            let turned = Complex64::cis(p.theta) - 1.0;
            // What turns a bin of a spectrum into the amplitude at the zone's first frame.
            let reads = |s: &Spectra, bin: u32| {
                let offset = p.omega - per_bin * f64::from(bin);
                let w = seen(transform(s.halves.0, s.halves.1, offset), s);
                2.0 / w * Complex64::cis(p.omega * (zone.from - s.t) as f64) * turned
            };
            let (first, last) = (reads(old, p.old_bin), reads(new, p.new_bin));
            for channel in 0..self.channels {
                let at = |s: &Spectra, bin: u32| wide(s.bins[channel][bin as usize]);
                let first = at(old, p.old_bin) * first;
                let last = at(new, p.new_bin) * last;
                let step = (last - first) / length;
                self.amplitudes.push((narrow(first), narrow(step)));
            }
        }
    }

    /// Adds part `part` of `parts` of the bridge; the last one puts it into `ring`.
    pub(super) fn bridge(&mut self, part: usize, parts: usize, zone: &Copy, ring: &mut OverlapAdd) {
        let length = (zone.len + zone.fall).min(self.sum[0].len());
        if part == 0 {
            self.sum.iter_mut().for_each(|s| s[..length].fill(0.0));
        }
        let n = self.partials.len();
        for i in n * part / parts..n * (part + 1) / parts {
            let p = self.partials[i];
            if wrap(p.theta).abs() < 1e-3 {
                continue;
            }
            let (re, im) = (&mut self.wave.0[..length], &mut self.wave.1[..length]);
            turning(p.omega, re, im);
            for (channel, sum) in self.sum.iter_mut().enumerate() {
                let (first, step) = self.amplitudes[i * self.channels + channel];
                let turns = re.iter().zip(&*im).zip(&self.ramp);
                for (s, ((re, im), at)) in sum[..length].iter_mut().zip(turns) {
                    *s += (first.re + step.re * at) * re - (first.im + step.im * at) * im;
                }
            }
        }
        if part + 1 == parts && n > 0 {
            for (channel, sum) in self.sum.iter_mut().enumerate() {
                for (i, s) in sum[..length].iter_mut().enumerate() {
                    *s *= zone.weight(i);
                }
                ring.add_plain(channel, zone.at, &sum[..length]);
            }
        }
    }
}

/// Fills `re` and `im`, of one length, with exp(iωs) for s = 0, 1, 2 …
fn turning(omega: f64, re: &mut [f32], im: &mut [f32]) {
    let narrow = |z: Complex64| (z.re as f32, z.im as f32);
    let (mut x, mut y) = ([0.0f32; LANES], [0.0f32; LANES]);
    for ((x, y), s) in x.iter_mut().zip(&mut y).zip(0u8..) {
        (*x, *y) = narrow(Complex64::cis(omega * f64::from(s)));
    }
    let (c, s) = narrow(Complex64::cis(omega * LANES as f64));
    for (re, im) in re.chunks_mut(LANES).zip(im.chunks_mut(LANES)) {
        let n = re.len();
        re.copy_from_slice(&x[..n]);
        im.copy_from_slice(&y[..n]);
        for (x, y) in x.iter_mut().zip(&mut y) {
            (*x, *y) = (*x * c - *y * s, *x * s + *y * c);
        }
    }
}

/// `w`, the transform of the window of `s` beside its middle, but no less than [`LEAST_SEEN`] of the
/// middle's: a bin where the window hardly sees the partial shows others' leaks.
fn seen(w: Complex64, s: &Spectra) -> Complex64 {
    let middle = 0.5 * (s.halves.0 + s.halves.1) as f64;
    w * (LEAST_SEEN * middle / w.norm().max(1e-9)).max(1.0)
}

/// Lets the peaks of `new`, the first frame after a seam, go on in phase from those of `old`, the
/// last frame before it, at the same place of the output, if the two are one sound.
pub(super) fn through_seam(new: &mut Spectra, old: &Spectra, size: usize) {
    let per_bin = TAU / size as f64;
    let sum = |s: &Spectra, peaks: &Peaks| -> f64 {
        peaks.all().iter().map(|p| s.power(p.bin as usize)).sum()
    };
    // Power that goes on, of the new side's and of the old one's.
    let mut same = (0.0, 0.0);
    let mut peaks = std::mem::take(&mut new.peaks);
    for peak in peaks.all_mut() {
        let i = old.peaks.all().partition_point(|p| p.bin + 1 < peak.bin);
        let near = old.peaks.all()[i..]
            .iter()
            .take_while(|p| p.bin <= peak.bin + 1);
        let Some(from) = near.min_by_key(|p| p.bin.abs_diff(peak.bin)) else {
            continue;
        };
        let at = |s: &Spectra, bin: u32| {
            let w = transform(
                s.halves.0,
                s.halves.1,
                from.steady - per_bin * f64::from(bin),
            );
            (bin as usize, w)
        };
        let ((k, w_new), (j, w_old)) = (at(new, peak.bin), at(old, from.bin));
        let ratio =
            (new.power(k) / w_new.norm_sqr()) / (old.power(j) / w_old.norm_sqr()).max(1e-30);
        if !(SEAM_RATIO.powi(-2)..=SEAM_RATIO.powi(2)).contains(&ratio) {
            continue;
        }
        let z: Complex32 = old
            .bins
            .iter()
            .zip(&new.bins)
            .map(|(o, n)| o[j] * n[k].conj())
            .sum();
        peak.theta = wrap(from.theta + f64::from(z.arg()) - w_old.arg() + w_new.arg());
        peak.omega = from.steady;
        peak.steady = from.steady;
        same.0 += new.power(k);
        same.1 += old.power(j);
    }
    let whole = (sum(new, &peaks), sum(old, &old.peaks));
    if same.0 < SEAM_SHARE * whole.0 || same.1 < SEAM_SHARE * whole.1 {
        peaks.untouched(size);
    }
    new.peaks = peaks;
}
