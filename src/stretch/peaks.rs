//! Peaks of a spectrum, the bins each one leads, and the turn of each.

use super::plan::Start;
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
    /// Frequency in radians a frame.
    pub omega: f64,
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
}

/// Peaks of one frame, ascending.
pub(super) struct Peaks {
    peaks: Vec<Peak>,
}

fn wrap(phase: f64) -> f64 {
    phase - TAU * (phase / TAU).round()
}

impl Peaks {
    pub(super) fn new(bins: usize) -> Self {
        Self {
            peaks: Vec::with_capacity(bins / 2 + 2),
        }
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
                });
                last = k;
                k += 2;
            } else {
                k += 1;
            }
        }
    }

    /// Sets every peak's frequency and turn from the frame before.
    pub(super) fn advance(
        &mut self,
        start: Start,
        turn: &Turn,
        now: &[Vec<Complex32>],
        before: &[Vec<Complex32>],
        old: &Peaks,
    ) {
        let per_bin = TAU / turn.size as f64;
        let distance = turn.dt + turn.dc;
        let mut i = 0;
        for peak in &mut self.peaks {
            let k = peak.bin as usize;
            let centre = per_bin * f64::from(peak.bin);
            peak.omega = centre;
            if start != Start::Continue || old.peaks.is_empty() {
                continue;
            }
            let z: Complex32 = now
                .iter()
                .zip(before)
                .map(|(x, y)| x[k] * y[k].conj())
                .sum();
            let moved = f64::from(z.arg()) - centre * turn.dt;
            if distance > 0.5 {
                let off = wrap(moved) / distance;
                peak.omega += off.clamp(-2.0 * per_bin, 2.0 * per_bin);
            }
            while i + 1 < old.peaks.len() && old.peaks[i].end <= peak.bin {
                i += 1;
            }
            peak.theta = wrap(old.peaks[i].theta + peak.omega * (turn.du - turn.dt));
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
