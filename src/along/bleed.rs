//! What the loudspeaker puts into the microphone, taken out again.
//!
//! The deck knows what it plays. The way from there to the input is a filter, and what the player plays
//! has no fixed phase against it, so averaging the cross-spectrum of output and input over many frames
//! leaves that filter alone (the Wiener solution; Bendat & Piersol, "Random Data", from memory). It is
//! subtracted in time. Nothing is taken out until a clear path shows.

use super::answer::RATE;
use crate::dsp::dot;
use crate::dsp::window::hann;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Samples of a frame, and between frames.
const FRAME: usize = 4096;
const STEP: usize = 1024;
/// Length of the path that is taken out: 93 ms of delay and room.
const TAPS: usize = 2048;
/// Seconds after which an old frame weighs a third.
const MEMORY: f64 = 20.0;
/// A path is clear when its strongest tap stands this far above the rms of the taps where none can be.
const CLEAR: f32 = 6.0;
/// A path that passes more than this share of the amplitude is a wire, not a loudspeaker across the room:
/// somebody feeds the recording itself in, and it is heard as it comes. Chosen by hand.
const WIRE: f32 = 0.35;

/// Takes the bleed out of a stream at [`RATE`].
pub struct Bleed {
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    window: Vec<f32>,
    /// The newest samples of both, at least a frame once that many came.
    heard: Vec<f32>,
    played: Vec<f32>,
    since: usize,
    cross: Vec<Complex<f64>>,
    power: Vec<f64>,
    /// Reversed taps, so that a dot product with the past is the filter; empty while no path is clear.
    path: Vec<f32>,
    delay: Option<usize>,
    level: Option<f64>,
    /// Loudest mean square of the input and of what is taken out, over a step.
    loudest: (f64, f64),
}

impl Default for Bleed {
    fn default() -> Self {
        Self::new()
    }
}

impl Bleed {
    /// No path is known.
    pub fn new() -> Self {
        let mut planner = RealFftPlanner::new();
        Self {
            forward: planner.plan_fft_forward(FRAME),
            back: planner.plan_fft_inverse(FRAME),
            window: hann(FRAME),
            heard: vec![0.0; FRAME],
            played: vec![0.0; FRAME],
            since: 0,
            cross: vec![Complex::default(); FRAME / 2 + 1],
            power: vec![0.0; FRAME / 2 + 1],
            path: Vec::new(),
            delay: None,
            level: None,
            loudest: (0.0, 0.0),
        }
    }

    /// The next samples of input and output, equally many: the input without the bleed.
    pub fn push(&mut self, heard: &[f32], played: &[f32]) -> Vec<f32> {
        let mut out = Vec::with_capacity(heard.len());
        let mut rest = (heard, played);
        while !rest.0.is_empty() {
            let n = rest.0.len().min(STEP - self.since);
            let (now, later) = rest.0.split_at(n);
            let (known, unknown) = rest.1.split_at(n.min(rest.1.len()));
            rest = (later, unknown);
            self.heard.drain(..n);
            self.heard.extend_from_slice(now);
            self.played.drain(..n);
            self.played.extend_from_slice(known);
            self.played.resize(FRAME, 0.0);
            self.clean(n, &mut out);
            self.since += n;
            if self.since == STEP {
                self.since = 0;
                self.learn();
            }
        }
        out
    }

    /// How far the bleed lies below the loudest playing, dB; none while no path is clear.
    pub fn level(&self) -> Option<f64> {
        self.level
    }

    /// Delay of the path's strongest tap; none while no path is clear.
    pub fn delay(&self) -> Option<crate::unit::Span> {
        let samples = self.delay?;
        Some(crate::unit::Span(samples as f64 / f64::from(RATE)))
    }

    /// Appends the last `n` samples of the input less their bleed.
    fn clean(&mut self, n: usize, out: &mut Vec<f32>) {
        let (mut input, mut bled) = (0.0, 0.0);
        for at in FRAME - n..FRAME {
            let bleed = if self.path.is_empty() {
                0.0
            } else {
                let past = &self.played[at + 1 - TAPS..=at];
                dot(past, &self.path)
            };
            input += f64::from(self.heard[at]).powi(2);
            bled += f64::from(bleed).powi(2);
            out.push(self.heard[at] - bleed);
        }
        if n > STEP / 2 {
            let fade = 0.999;
            self.loudest.0 = (input / n as f64).max(self.loudest.0 * fade);
            self.loudest.1 = (bled / n as f64).max(self.loudest.1 * fade);
        }
    }

    /// Adds the newest frame to the averages and reads the path from them.
    fn learn(&mut self) {
        let transform = |signal: &[f32]| {
            let mut frame: Vec<f32> = signal
                .iter()
                .zip(&self.window)
                .map(|(x, w)| x * w)
                .collect();
            let mut bins = self.forward.make_output_vec();
            // Sizes agree by construction.
            let done = self.forward.process(&mut frame, &mut bins);
            debug_assert!(done.is_ok());
            bins
        };
        let (x, y) = (transform(&self.played), transform(&self.heard));
        let keep = (-(STEP as f64) / f64::from(RATE) / MEMORY).exp();
        for (k, (x, y)) in x.iter().zip(&y).enumerate() {
            let product = y * x.conj();
            let product = Complex::new(f64::from(product.re), f64::from(product.im));
            self.cross[k] = self.cross[k] * keep + product;
            self.power[k] = self.power[k] * keep + f64::from(x.norm_sqr());
        }
        let mean = self.power.iter().sum::<f64>() / self.power.len() as f64;
        if mean < 1e-9 {
            return;
        }
        let mut ratio: Vec<Complex<f32>> = self
            .cross
            .iter()
            .zip(&self.power)
            .map(|(c, p)| {
                let h = c / (p + 0.02 * mean);
                Complex::new(h.re as f32, h.im as f32)
            })
            .collect();
        ratio[0].im = 0.0;
        ratio[FRAME / 2].im = 0.0;
        let mut taps = self.back.make_output_vec();
        let done = self.back.process(&mut ratio, &mut taps);
        debug_assert!(done.is_ok());
        for tap in &mut taps {
            *tap /= FRAME as f32;
        }
        self.read(&taps);
    }

    /// The path in `taps` (circular), where it stands clear of the taps of negative delay, which hold
    /// only chance.
    fn read(&mut self, taps: &[f32]) {
        let none = &taps[TAPS + TAPS / 4..FRAME - TAPS / 8];
        let noise = (none.iter().map(|t| t * t).sum::<f32>() / none.len() as f32).sqrt();
        let (delay, peak) = taps[..TAPS]
            .iter()
            .enumerate()
            .map(|(i, t)| (i, t.abs()))
            .fold((0, 0.0f32), |a, b| if b.1 > a.1 { b } else { a });
        if peak < CLEAR * noise || peak < 1e-5 {
            self.path.clear();
            (self.delay, self.level) = (None, None);
            return;
        }
        // Taps no larger than chance are drawn towards 0 (the positive part of James & Stein's rule).
        self.path = taps[..TAPS]
            .iter()
            .rev()
            .map(|t| t * (1.0 - (2.0 * noise / t.abs().max(1e-12)).powi(2)).max(0.0))
            .collect();
        if self.path.iter().map(|t| t * t).sum::<f32>().sqrt() > WIRE {
            self.path.clear();
            (self.delay, self.level) = (None, None);
            return;
        }
        self.delay = Some(delay);
        let (input, bled) = self.loudest;
        self.level = (input > 0.0 && bled > 0.0).then(|| 10.0 * (bled / input).log10());
    }
}
