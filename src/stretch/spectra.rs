//! The spectra of one vocoder frame and what is read from them.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::peaks::Peaks;
use super::window::centroid;
use realfft::num_complex::Complex32;

/// Spectra of one frame, a channel each, and where it lies.
pub(super) struct Spectra {
    pub bins: Vec<Vec<Complex32>>,
    pub u: i64,
    pub t: i64,
    /// Halves of the analysis window.
    pub halves: (usize, usize),
    pub peaks: Peaks,
    /// First of its leg.
    pub first: bool,
}

impl Spectra {
    #[allow(
        clippy::disallowed_macros,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(channels: usize, bins: usize) -> Self {
        Self {
            bins: vec![vec![Complex32::new(0.0, 0.0); bins]; channels],
            u: 0,
            t: 0,
            halves: (0, 0),
            peaks: Peaks::new(bins),
            first: true,
        }
    }

    /// Power at bin `k`, all channels together.
    pub(super) fn power(&self, k: usize) -> f64 {
        f64::from(self.bins.iter().map(|b| b[k].norm_sqr()).sum::<f32>())
    }

    /// Amplitude of what bin `k` shows, all channels together.
    pub(super) fn level(&self, k: usize) -> f64 {
        self.power(k).sqrt() / (0.5 * (self.halves.0 + self.halves.1) as f64)
    }

    /// Whether the window reaches half of the longest half, `half`, to either side.
    pub(super) fn is_clear(&self, half: usize) -> bool {
        2 * self.halves.0.min(self.halves.1) >= half
    }

    /// Centroid of the window, frames after its centre.
    pub(super) fn centroid(&self) -> f64 {
        centroid(self.halves.0, self.halves.1)
    }
}
