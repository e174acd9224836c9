//! Sound at any rate as it arrives → sound at [`RATE`], without delay but the filter's
//! reach (under 2 ms).

use super::answer::RATE;
use crate::dsp::resample::Resampler;

/// Converts a stream.
pub(super) struct Stream {
    resampler: Resampler,
    /// Input that later output still needs.
    waiting: Vec<f32>,
    /// Input frames before `waiting`.
    gone: usize,
    /// Output samples made.
    made: usize,
}

impl Stream {
    /// From `rate` frames a second.
    pub fn new(rate: u32) -> Self {
        Self {
            resampler: Resampler::new(rate, RATE),
            waiting: Vec::new(),
            gone: 0,
            made: 0,
        }
    }

    /// Takes the next frames and gives the samples that they complete.
    pub fn push(&mut self, frames: &[f32]) -> Vec<f32> {
        let finite = |x: &f32| if x.is_finite() { *x } else { 0.0 };
        self.waiting.extend(frames.iter().map(finite));
        let all = (self.gone + self.waiting.len()) as isize;
        let mut last = self.resampler.output_len(all as usize);
        while last > self.made && self.resampler.input_range(self.made, last).1 > all {
            last -= 1;
        }
        let out = self
            .resampler
            .convert(&self.waiting, self.gone as isize, self.made, last);
        self.made = last;
        let needed = self.resampler.input_range(last, last + 1).0.max(0) as usize;
        let done = needed.saturating_sub(self.gone).min(self.waiting.len());
        self.waiting.drain(..done);
        self.gone += done;
        out
    }
}
