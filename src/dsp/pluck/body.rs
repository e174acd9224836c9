//! The guitar's body and where the microphone stands: a bank of resonances beside the direct way.

use std::f64::consts::TAU;

/// Resonances as (Hz, quality, gain). Air near 100 Hz, top near 190 Hz and back near 230 Hz are
/// textbook values for steel-string guitars (from memory); the higher ones are tuned by ear.
const MODES: [(f64, f64, f64); 12] = [
    (101.0, 16.0, 0.85),
    (192.0, 20.0, 0.95),
    (233.0, 26.0, 0.40),
    (318.0, 24.0, 0.28),
    (396.0, 26.0, 0.34),
    (545.0, 24.0, 0.30),
    (692.0, 22.0, 0.26),
    (930.0, 18.0, 0.30),
    (1280.0, 12.0, 0.26),
    (1850.0, 9.0, 0.22),
    (2600.0, 6.0, 0.20),
    (3900.0, 4.0, 0.14),
];

/// Share of the sound that does not pass a resonance.
const DIRECT: f32 = 0.7;

/// Above this, radiation gains [`BRIGHT`] on the direct way (both set so that the demo's long-term
/// spectrum lies near the one of a microphone before a steel-string guitar).
const BRIGHT_HZ: f64 = 2800.0;
const BRIGHT: f32 = 2.2;

/// A band-pass of unit gain at its centre (Bristow-Johnson's cookbook form).
#[derive(Clone, Copy)]
struct Resonance {
    b0: f32,
    a1: f32,
    a2: f32,
    past_in: [f32; 2],
    past_out: [f32; 2],
}

impl Resonance {
    fn new(hz: f64, quality: f64, rate: f64) -> Self {
        let angle = TAU * hz / rate;
        let alpha = angle.sin() / (2.0 * quality);
        Self {
            b0: (alpha / (1.0 + alpha)) as f32,
            a1: (-2.0 * angle.cos() / (1.0 + alpha)) as f32,
            a2: ((1.0 - alpha) / (1.0 + alpha)) as f32,
            past_in: [0.0; 2],
            past_out: [0.0; 2],
        }
    }

    fn next(&mut self, x: f32) -> f32 {
        let y = self.b0 * (x - self.past_in[1])
            - self.a1 * self.past_out[0]
            - self.a2 * self.past_out[1];
        self.past_in = [x, self.past_in[0]];
        self.past_out = [y, self.past_out[0]];
        y
    }
}

/// One microphone's view of the body.
pub(super) struct Body {
    modes: Vec<(Resonance, f32)>,
    /// Keeps out what no guitar radiates, below about 60 Hz.
    keep: f32,
    /// Above [`BRIGHT_HZ`] the top radiates better.
    bright: f32,
}

impl Body {
    /// The body heard from microphone `side` (0 or 1): the second stands elsewhere, so that the
    /// higher resonances reach it with other gains and signs.
    pub(super) fn new(rate: u32, side: usize) -> Self {
        let rate = f64::from(rate);
        let modes = MODES
            .iter()
            .enumerate()
            .filter(|(_, (hz, ..))| *hz < 0.45 * rate)
            .map(|(i, &(hz, quality, gain))| {
                let seen = match (side, i) {
                    (1, 4..) if i % 3 == 0 => -0.7,
                    (1, 2..) => 0.8,
                    _ => 1.0,
                };
                (Resonance::new(hz, quality, rate), (gain * seen) as f32)
            })
            .collect();
        Self {
            modes,
            keep: (-TAU * 60.0 / rate).exp() as f32,
            bright: (-TAU * BRIGHT_HZ / rate).exp() as f32,
        }
    }

    /// Turns the strings' force in `channel` into sound, with `knock` exciting the body alone.
    pub(super) fn speak(&mut self, channel: &mut [f32], knock: &[f32]) {
        let (mut last, mut high, mut edge) = (0.0f32, 0.0f32, 0.0f32);
        for (sample, &knock) in channel.iter_mut().zip(knock) {
            let x = *sample + knock;
            let before = high;
            high = self.keep * (high + x - last);
            edge = self.bright * (edge + high - before);
            last = x;
            let body: f32 = self.modes.iter_mut().map(|(m, g)| *g * m.next(high)).sum();
            *sample = DIRECT * (high + BRIGHT * edge) + body;
        }
    }
}
