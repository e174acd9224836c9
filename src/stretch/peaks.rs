//! Peaks of a spectrum, the bins each one leads, and the turn of each.

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
    /// The same, smoothed over some frames.
    pub steady: f64,
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
}

/// A peak's frequency lies at most this many bins from its own.
const MOST_OFF: f64 = 2.0;
/// Share of the newest frequency in the smoothed one.
const SMOOTHING: f64 = 0.4;

/// Peaks of one frame, ascending.
#[derive(Default)]
pub(super) struct Peaks {
    peaks: Vec<Peak>,
}

pub(super) fn wrap(phase: f64) -> f64 {
    phase - TAU * (phase / TAU).round()
}

impl Peaks {
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
    pub(super) fn find(&mut self, power: &[f32]) {
        self.peaks.clear();
        let n = power.len();
        let mut last = 0usize;
        let mut k = 0;
        while k < n {
            let p = power[k];
            let is_peak = p > 0.0
                && (k < 1 || p > power[k - 1])
                && (k + 1 >= n || p >= power[k + 1])
                && (k < 2 || p > power[k - 2])
                && (k + 2 >= n || p >= power[k + 2]);
            if is_peak {
                if let Some(before) = self.peaks.last_mut() {
                    let mut lowest = last;
                    for j in last..k {
                        if power[j] < power[lowest] {
                            lowest = j;
                        }
                    }
                    before.end = lowest as u32;
                }
                self.peaks.push(Peak {
                    bin: k as u32,
                    end: n as u32,
                    theta: 0.0,
                    omega: 0.0,
                    steady: 0.0,
                });
                last = k;
                k += 2;
            } else {
                k += 1;
            }
        }
    }

    /// The peaks.
    pub(super) fn all(&self) -> &[Peak] {
        &self.peaks
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
        }
    }

    /// Sets every peak's frequency and turn from the frame before.
    pub(super) fn advance(
        &mut self,
        turn: &Turn,
        now: &[Vec<Complex32>],
        before: &[Vec<Complex32>],
        old: &Peaks,
    ) {
        let per_bin = TAU / turn.size as f64;
        let distance = turn.dt + turn.dc;
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
            let off = wrap(f64::from(z.arg()) - centre * turn.dt) / distance;
            peak.omega = centre + off.clamp(-MOST_OFF * per_bin, MOST_OFF * per_bin);
            while i + 1 < old.peaks.len() && old.peaks[i].end <= peak.bin {
                i += 1;
            }
            let from = &old.peaks[i];
            peak.theta = wrap(from.theta + peak.omega * (turn.du - turn.dt));
            // The first frame of a leg knows only its bin.
            peak.steady = if turn.first || (from.steady - peak.omega).abs() > per_bin {
                peak.omega
            } else {
                from.steady + SMOOTHING * (peak.omega - from.steady)
            };
        }
    }

    /// `out` = `bins`, each region turned by its peak's θ.
    pub(super) fn rotate(&self, bins: &[Complex32], out: &mut [Complex32]) {
        let mut from = 0;
        for peak in &self.peaks {
            let to = peak.end as usize;
            let (sin, cos) = (peak.theta as f32).sin_cos();
            let w = Complex32::new(cos, sin);
            for (o, x) in out[from..to].iter_mut().zip(&bins[from..to]) {
                *o = x * w;
            }
            from = to;
        }
        out[from..].copy_from_slice(&bins[from..]);
    }
}
