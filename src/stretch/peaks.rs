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
    /// exp(iθ), once [`Peaks::settle`] has worked it out.
    pub turn: Complex32,
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
    /// Working space: 1 at each bin that is a peak.
    marks: Vec<u8>,
}

impl Peaks {
    #[allow(
        clippy::disallowed_macros,
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(bins: usize) -> Self {
        Self {
            peaks: Vec::with_capacity(bins / 2 + 2),
            marks: vec![0; bins],
        }
    }

    /// Forgets them.
    pub(super) fn clear(&mut self) {
        self.peaks.clear();
    }

    /// Finds the local maxima over two bins on either side; regions meet at the lowest bin
    /// between two peaks.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn find(&mut self, power: &[f32]) {
        self.peaks.clear();
        self.mark(power);
        let n = power.len();
        let (all, rest) = self.marks[..n].as_chunks::<8>();
        let mut from = 0;
        let mut meet = |peaks: &mut Vec<Peak>, k: usize| {
            if let Some(before) = peaks.last_mut() {
                before.end = (from + lowest(&power[from..k])) as u32;
            }
            from = k;
            peaks.push(Peak {
                bin: k as u32,
                end: n as u32,
                theta: 0.0,
                turn: Complex32::new(1.0, 0.0),
                omega: 0.0,
                steady: 0.0,
                stray: 1.0,
            });
        };
        for (i, marks) in all.iter().enumerate() {
            // Most bins are none; eight are passed over at once.
            let mut left = u64::from_le_bytes(*marks);
            while left != 0 {
                meet(&mut self.peaks, 8 * i + left.trailing_zeros() as usize / 8);
                left &= left - 1;
            }
        }
        for (k, _) in (n - rest.len()..).zip(rest).filter(|(_, m)| **m != 0) {
            meet(&mut self.peaks, k);
        }
    }

    /// Marks the local maxima over two bins on either side.
    #[expect(
        clippy::needless_bitwise_bool,
        reason = "no branch, so that bins go side by side"
    )]
    fn mark(&mut self, power: &[f32]) {
        let is_peak = |[a, b, p, c, d]: [f32; 5]| {
            u8::from((p > a) & (p > b) & (p >= c) & (p >= d) & (p > 0.0))
        };
        let n = power.len();
        let edge = |k: usize| {
            [0, 1, 2, 3, 4].map(|i| power.get((k + i).wrapping_sub(2)).copied().unwrap_or(-1.0))
        };
        let inside = n.saturating_sub(2).max(2).min(n);
        for k in (0..n.min(2)).chain(inside..n) {
            self.marks[k] = is_peak(edge(k));
        }
        for (mark, w) in self.marks.iter_mut().skip(2).zip(power.windows(5)) {
            *mark = is_peak([w[0], w[1], w[2], w[3], w[4]]);
        }
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
        // Divisions take longer than all the rest.
        let (per_frame, bins) = (distance.recip(), per_bin.recip());
        let mut i = 0;
        for peak in &mut self.peaks {
            let k = peak.bin as usize;
            let centre = per_bin * f64::from(peak.bin);
            let z: Complex32 = now
                .iter()
                .zip(before)
                .map(|(x, y)| x[k] * y[k].conj())
                .sum();
            let off = wrap(f64::from(angle(z)) - centre * step.dt) * per_frame;
            while i + 1 < old.peaks.len() && old.peaks[i].end <= peak.bin {
                i += 1;
            }
            let from = &old.peaks[i];
            peak.omega = centre + off.clamp(-MOST_OFF * per_bin, MOST_OFF * per_bin);
            peak.steady = peak.omega;
            let off = (peak.omega - from.steady) * bins;
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

    /// Works out the turn of each, for all channels.
    pub(super) fn settle(&mut self) {
        for peak in &mut self.peaks {
            peak.turn = turn(peak.theta as f32);
        }
    }

    /// `out` = `bins`, each region turned by its peak's θ, as it was when they were settled.
    pub(super) fn rotate(&self, bins: &[Complex32], out: &mut [Complex32]) {
        let mut from = 0;
        for peak in &self.peaks {
            let to = peak.end as usize;
            for (o, x) in out[from..to].iter_mut().zip(&bins[from..to]) {
                *o = x * peak.turn;
            }
            from = to;
        }
        out[from..].copy_from_slice(&bins[from..]);
    }
}

/// The first lowest of `power`.
fn lowest(power: &[f32]) -> usize {
    let (mut low, mut lowest) = (f32::INFINITY, 0);
    for (i, &p) in power.iter().enumerate() {
        lowest = if p < low { i } else { lowest };
        low = p.min(low);
    }
    lowest
}
