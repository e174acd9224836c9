//! Spectra of real frames.

use super::window::hann;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Hann-windowed magnitude spectra of frames of one length.
///
/// A sine of amplitude 1 in the middle of a bin has magnitude 1 there.
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    frame: Vec<f32>,
    bins: Vec<realfft::num_complex::Complex<f32>>,
    scratch: Vec<realfft::num_complex::Complex<f32>>,
}

impl Spectrum {
    /// Spectra of `len` samples zero-padded to `size` points (`size` ≥ `len`, even).
    pub fn new(len: usize, size: usize) -> Self {
        let fft = RealFftPlanner::new().plan_fft_forward(size.max(len));
        let mut window = hann(len);
        let gain = 2.0 / window.iter().sum::<f32>();
        for weight in &mut window {
            *weight *= gain;
        }
        Self {
            frame: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            window,
            fft,
        }
    }

    /// Samples a frame covers.
    pub fn len(&self) -> usize {
        self.window.len()
    }

    /// Never: a frame has samples.
    pub fn is_empty(&self) -> bool {
        self.window.is_empty()
    }

    /// Bins of a spectrum, half the size plus one.
    pub fn bins(&self) -> usize {
        self.bins.len()
    }

    /// Magnitudes of the frame of `signal` that starts at `start` (samples outside the signal
    /// are 0), written over `out` ([`Spectrum::bins`] values).
    pub fn magnitudes(&mut self, signal: &[f32], start: isize, out: &mut [f32]) {
        self.transform(signal, start);
        out.iter_mut()
            .zip(&self.bins)
            .for_each(|(m, bin)| *m = bin.norm());
    }

    /// The same as [`Spectrum::magnitudes`], squared.
    pub fn powers(&mut self, signal: &[f32], start: isize, out: &mut [f32]) {
        self.transform(signal, start);
        out.iter_mut()
            .zip(&self.bins)
            .for_each(|(m, bin)| *m = bin.norm_sqr());
    }

    fn transform(&mut self, signal: &[f32], start: isize) {
        let len = self.window.len();
        self.frame.iter_mut().for_each(|s| *s = 0.0);
        let from = start.clamp(0, signal.len() as isize);
        let to = (start + len as isize).clamp(from, signal.len() as isize);
        let skip = (from - start) as usize;
        let inside = &signal[from as usize..to as usize];
        for ((slot, sample), weight) in self.frame[skip.min(len)..]
            .iter_mut()
            .zip(inside)
            .zip(&self.window[skip.min(len)..])
        {
            *slot = sample * weight;
        }
        // Sizes agree by construction: the plan made these buffers.
        let done =
            self.fft
                .process_with_scratch(&mut self.frame, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
    }
}
