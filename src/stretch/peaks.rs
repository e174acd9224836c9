//! Peaks of a spectrum, the bins each one leads, and the turn of each.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::phase::{angle, turn, wrap};
use realfft::num_complex::Complex32;
use std::f64::consts::TAU;

/// A peak and its region of bins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peak {
    /// Its bin.
    pub bin: u32,
    /// One past the last bin of its region; the region begins where the one before ends.
    pub end: u32,
    /// Turn in the output against the recording, radians.
    pub theta: f64,
    /// Frequency in radians a frame, from the last two frames.
    pub omega: f64,
    /// The same, smoothed over some frames with a clear view.
    pub steady: f64,
    /// How far the frequency strays from the smoothed one, in bins, smoothed too.
    pub stray: f64,
}

impl Peak {
    /// Whether it is a partial of a string that rings evenly, so that its frequency goes on.
    pub(super) fn is_even(&self) -> bool {
        self.stray < EVEN
    }
}

/// From one frame to the next: FFT size and what moved, in frames.
pub(super) struct Turn {
    pub size: usize,
    /// Distance of the centres in the output.
    pub du: f64,
    /// Distance of the centres in the recording.
    pub dt: f64,
    /// Change of the window's centroid.
    pub dc: f64,
    /// The frame before was its leg's first.
    pub first: bool,
    /// Both windows see far to either side.
    pub clear: bool,
}

/// A peak's frequency lies at most this many bins from its own.
const MOST_OFF: f64 = 2.0;
/// Share of the newest frequency in the smoothed one.
const SMOOTHING: f64 = 0.4;
/// A partial that strays less than this (bins) is of a string that rings evenly: over the 46 ms
/// that a window next to an onset is not clear, that comes to 0.16 radians at half speed.
const EVEN: f64 = 0.1;

/// Next to an onset and through it, a partial's phase may be read this far (radians) from where its
/// even frequency takes it.
pub(super) const MOST_SLIP: f64 = 1.2;

/// Peaks of one frame, ascending.
#[derive(Default)]
pub(super) struct Peaks {
    peaks: Vec<Peak>,
}

impl Peaks {
    #[allow(
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(bins: usize) -> Self {
        Self {
            peaks: Vec::with_capacity(bins / 2 + 2),
        }
    }

    /// Forgets them.
    pub(super) fn clear(&mut self) {
        self.peaks.clear();
    }

    /// Finds the local maxima over two bins on either side; regions meet at the lowest bin
    /// between two peaks.
    #[expect(clippy::needless_bitwise_bool, reason = "one branch a bin, not five")]
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn find(&mut self, power: &[f32]) {
        self.peaks.clear();
        // The lowest bin since the last peak.
        let (mut low, mut lowest) = (f32::INFINITY, 0);
        let mut look = |k: usize, near: [f32; 5]| {
            let [a, b, p, c, d] = near;
            if (p > a) & (p > b) & (p >= c) & (p >= d) & (p > 0.0) {
                if let Some(before) = self.peaks.last_mut() {
                    before.end = lowest as u32;
                }
                self.peaks.push(Peak {
                    bin: k as u32,
                    end: power.len() as u32,
                    theta: 0.0,
                    omega: 0.0,
                    steady: 0.0,
                    stray: 1.0,
                });
                low = f32::INFINITY;
            }
            lowest = if p < low { k } else { lowest };
            low = p.min(low);
        };
        let n = power.len();
        let edge = |k: usize| {
            [0, 1, 2, 3, 4].map(|i| power.get((k + i).wrapping_sub(2)).copied().unwrap_or(-1.0))
        };
        let inside = n.saturating_sub(2).max(2);
        (0..n.min(2)).for_each(|k| look(k, edge(k)));
        for (i, w) in power.windows(5).enumerate() {
            look(i + 2, [w[0], w[1], w[2], w[3], w[4]]);
        }
        (inside..n).for_each(|k| look(k, edge(k)));
    }

    /// The peaks.
    pub(super) fn all(&self) -> &[Peak] {
        &self.peaks
    }

    /// Takes the peaks of `other`, ascending, for its own.
    pub(super) fn swap(&mut self, other: &mut Vec<Peak>) {
        std::mem::swap(&mut self.peaks, other);
    }

    /// The peaks, to be turned.
    pub(super) fn all_mut(&mut self) -> &mut [Peak] {
        &mut self.peaks
    }

    /// Every peak as recorded: no turn, the frequency of its bin.
    pub(super) fn untouched(&mut self, size: usize) {
        for peak in &mut self.peaks {
            peak.omega = TAU / size as f64 * f64::from(peak.bin);
            peak.steady = peak.omega;
            peak.theta = 0.0;
            peak.stray = 1.0;
        }
    }

    /// Sets every peak's frequency and turn from the frame before. Where the view is not clear,
    /// next to an onset, phases as read are mixed with those of neighbours; a partial that has been
    /// even goes on at its smoothed frequency there.
    pub(super) fn advance(
        &mut self,
        step: &Turn,
        now: &[Vec<Complex32>],
        before: &[Vec<Complex32>],
        old: &Peaks,
    ) {
        let per_bin = TAU / step.size as f64;
        let distance = step.dt + step.dc;
        if old.peaks.is_empty() || distance < 0.5 {
            return;
        }
        let mut i = 0;
        for peak in &mut self.peaks {
            let k = peak.bin as usize;
            let centre = per_bin * f64::from(peak.bin);
            let z: Complex32 = now
                .iter()
                .zip(before)
                .map(|(x, y)| x[k] * y[k].conj())
                .sum();
            let off = wrap(f64::from(angle(z)) - centre * step.dt) / distance;
            while i + 1 < old.peaks.len() && old.peaks[i].end <= peak.bin {
                i += 1;
            }
            let from = &old.peaks[i];
            peak.omega = centre + off.clamp(-MOST_OFF * per_bin, MOST_OFF * per_bin);
            peak.steady = peak.omega;
            let off = (peak.omega - from.steady) / per_bin;
            let slip = off * per_bin * distance;
            if !step.clear && from.is_even() && slip.abs() <= MOST_SLIP {
                peak.omega = from.steady;
                peak.steady = from.steady;
                peak.stray = from.stray;
            } else if !step.first && off.abs() <= 1.0 {
                // The first frame of a leg knows only its bin.
                peak.steady = from.steady + SMOOTHING * off * per_bin;
                peak.stray = from.stray + SMOOTHING * (off.abs() - from.stray);
            }
            peak.theta = wrap(from.theta + peak.omega * (step.du - step.dt));
        }
    }

    /// `out` = `bins`, each region turned by its peak's θ.
    pub(super) fn rotate(&self, bins: &[Complex32], out: &mut [Complex32]) {
        let mut from = 0;
        for peak in &self.peaks {
            let to = peak.end as usize;
            let w = turn(peak.theta as f32);
            for (o, x) in out[from..to].iter_mut().zip(&bins[from..to]) {
                *o = x * w;
            }
            from = to;
        }
        out[from..].copy_from_slice(&bins[from..]);
    }
}
