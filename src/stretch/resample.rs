//! Pitch by resampling: the stretched stream read faster or slower.
//!
//! The time map is computed for speed ÷ ratio and the result read at `ratio` frames a frame, by a
//! windowed-sinc interpolator (Smith, "Digital Audio Resampling", CCRMA; from memory). Around the
//! phase machinery rather than inside it: moving peaks within a spectrum would move an attack's
//! noise too, and phases between partials would no longer be those of the recording.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::core::Core;
use crate::dsp::dot;
use std::f64::consts::PI;

/// Zero crossings of the sinc on either side.
const CROSSINGS: usize = 16;
/// Table steps a crossing; linear interpolation between them errs below −100 dB.
const STEPS: usize = 512;
/// Shape of the Kaiser window: side lobes near −90 dB (Kaiser 1974, from memory).
const BETA: f64 = 9.0;
/// Highest ratio: an octave.
const MOST_RATIO: usize = 2;
/// Stretched frames fetched at once.
const FETCH: usize = 32;

/// Reads a [`Core`] at a ratio.
pub(super) struct Resampler {
    kernel: Vec<f32>,
    /// Stretched frames, per channel.
    history: Vec<Vec<f32>>,
    /// Frames in it.
    filled: usize,
    /// Next output frame's place in it.
    at: f64,
    ratio: f64,
    /// Weights of the frames around the next output frame, and how many they are.
    weights: Vec<f32>,
    taps: usize,
}

/// Modified Bessel function of the first kind, order 0.
fn bessel(x: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..40 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

const REACH: usize = CROSSINGS * MOST_RATIO + 1;
const LENGTH: usize = 4 * REACH + 4 * FETCH;

impl Resampler {
    #[allow(
        clippy::disallowed_macros,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(channels: usize) -> Self {
        let kernel = (0..=CROSSINGS * STEPS + 1)
            .map(|i| {
                let x = i as f64 / STEPS as f64;
                let edge = (1.0 - (x / CROSSINGS as f64).powi(2)).max(0.0);
                let window = bessel(BETA * edge.sqrt()) / bessel(BETA);
                let sinc = if i == 0 {
                    1.0
                } else {
                    (PI * x).sin() / (PI * x)
                };
                (sinc * window) as f32
            })
            .collect();
        let mut resampler = Self {
            kernel,
            history: vec![vec![0.0; LENGTH]; channels],
            filled: 0,
            at: 0.0,
            ratio: 1.0,
            weights: vec![0.0; 2 * REACH],
            taps: 0,
        };
        resampler.restart();
        resampler
    }

    /// Forgets what was read; the next output frame is the stream's next.
    pub(super) fn restart(&mut self) {
        self.history.iter_mut().for_each(|h| h.fill(0.0));
        self.filled = REACH;
        self.at = REACH as f64;
    }

    /// Stretched frames that the first output frame takes beside its own.
    pub(super) fn first(&self) -> usize {
        if self.ratio == 1.0 { 0 } else { REACH }
    }

    pub(super) fn set_ratio(&mut self, ratio: f64) {
        self.ratio = ratio;
    }

    /// Stretched frames fetched and not yet played.
    pub(super) fn ahead(&self) -> f64 {
        self.filled as f64 - self.at
    }

    /// The next `frames` output frames; `put(channel, frame, sample)` takes each.
    pub(super) fn read(
        &mut self,
        core: &mut Core,
        frames: usize,
        mut put: impl FnMut(usize, usize, f32),
    ) {
        let mut frame = 0;
        while frame < frames {
            let left = frames - frame;
            let exact = self.ratio == 1.0 && self.at.fract() == 0.0;
            let reach = if exact { 1 } else { REACH };
            while self.at as usize + reach > self.filled {
                // No more than is played where nothing needs it, so that a seek loses nothing.
                self.fetch(core, if exact { FETCH.min(left) } else { FETCH });
            }
            let at = self.at as usize;
            let n = if exact { left.min(self.filled - at) } else { 1 };
            let first = if exact { at } else { self.weigh() };
            for (channel, history) in self.history.iter().enumerate() {
                if exact {
                    let run = &history[at..at + n];
                    (frame..).zip(run).for_each(|(i, s)| put(channel, i, *s));
                } else {
                    put(
                        channel,
                        frame,
                        dot(&history[first..], &self.weights[..self.taps]),
                    );
                }
            }
            frame += n;
            self.at += n as f64 * self.ratio;
        }
    }

    fn fetch(&mut self, core: &mut Core, frames: usize) {
        if self.filled + frames > LENGTH {
            let drop = (self.at as usize).saturating_sub(REACH);
            for h in &mut self.history {
                h.copy_within(drop..self.filled, 0);
            }
            self.filled -= drop;
            self.at -= drop as f64;
        }
        core.emit(&mut self.history, self.filled, frames);
        self.filled += frames;
    }

    /// Weighs the frames of the history around the next output frame; the first of them.
    fn weigh(&mut self) -> usize {
        let cut = (1.0 / self.ratio).min(1.0);
        let reach = CROSSINGS as f64 / cut;
        let first = (self.at - reach).ceil().max(0.0) as usize;
        let last = ((self.at + reach).floor() as usize).min(self.filled - 1);
        let scale = cut * STEPS as f64;
        self.taps = last + 1 - first;
        for (i, weight) in (first..).zip(&mut self.weights[..self.taps]) {
            let x = (i as f64 - self.at).abs() * scale;
            let k = (x as usize).min(CROSSINGS * STEPS);
            let f = (x - k as f64) as f32;
            *weight = (self.kernel[k] + f * (self.kernel[k + 1] - self.kernel[k])) * cut as f32;
        }
        first
    }
}
