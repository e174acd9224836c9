//! A limiter that keeps the true peak (ITU-R BS.1770, annex 2: the peak of the signal between its
//! samples) at or below −1 dB.
//!
//! It looks ahead: the gain that a peak needs is held over the look-ahead and averaged over it, so
//! it is reached in a straight line exactly when the peak arrives. Below the ceiling the signal
//! passes bit for bit, late by [`Limiter::latency`].

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use std::f64::consts::PI;

/// −1 dB: EBU R 128 asks for a true peak of at most −1 dBTP (from memory). A hair is kept for what
/// fourfold oversampling misses (BS.1770 gives 0.55 dB at half the sample rate; music has little
/// there).
const CEILING: f32 = 0.885;

/// Seconds of look-ahead.
const AHEAD: f64 = 0.0015;

/// Seconds in which the gain recovers to 1/e of its reduction.
const RELEASE: f64 = 0.08;

/// Taps of each of the interpolator's phases, as many before as after the place.
const TAPS: usize = 16;

/// Places looked at between two samples, with the sample itself a fourfold oversampling.
const BETWEEN: usize = 3;

/// The sliding minimum of the last `window` values (a monotonic queue in a fixed ring).
struct Lowest {
    ring: Vec<(u64, f32)>,
    head: usize,
    len: usize,
    window: u64,
    now: u64,
}

impl Lowest {
    fn new(window: usize) -> Self {
        Self {
            ring: std::iter::repeat_n((0, 1.0), window + 1).collect(),
            head: 0,
            len: 0,
            window: window as u64,
            now: 0,
        }
    }

    fn next(&mut self, value: f32) -> f32 {
        let size = self.ring.len();
        while self.len > 0 && self.ring[(self.head + self.len - 1) % size].1 >= value {
            self.len -= 1;
        }
        self.ring[(self.head + self.len) % size] = (self.now, value);
        self.len += 1;
        while self.ring[self.head].0 + self.window <= self.now {
            self.head = (self.head + 1) % size;
            self.len -= 1;
        }
        self.now += 1;
        self.ring[self.head].1
    }
}

/// A stereo limiter; both channels get one gain.
pub struct Limiter {
    on: bool,
    phases: [[f32; TAPS]; BETWEEN],
    /// The last samples, twice over, so that any [`TAPS`] in a row lie in a row.
    recent: [[f32; 2 * TAPS]; 2],
    at: usize,
    lowest: Lowest,
    release: f32,
    reduction: f32,
    /// Reductions over the look-ahead and their sum.
    window: Vec<f32>,
    sum: f64,
    loud: usize,
    slot: usize,
    delay: Vec<[f32; 2]>,
    place: usize,
    deepest: f32,
}

impl Limiter {
    /// A limiter for `rate` frames a second; `on` false only delays.
    pub fn new(rate: u32, on: bool) -> Self {
        let ahead = Self::ahead(rate);
        let mut phases = [[0.0; TAPS]; BETWEEN];
        for (p, taps) in phases.iter_mut().enumerate() {
            let shift = (p + 1) as f64 / (BETWEEN + 1) as f64;
            for (i, tap) in taps.iter_mut().enumerate() {
                // Sample i lies at i - (TAPS/2 - 1) from the one before the place.
                let x = i as f64 - (TAPS as f64 / 2.0 - 1.0) - shift;
                let window = (PI * x / TAPS as f64).cos().powi(2);
                *tap = ((PI * x).sin() / (PI * x) * window) as f32;
            }
        }
        Self {
            on,
            phases,
            recent: [[0.0; 2 * TAPS]; 2],
            at: 0,
            lowest: Lowest::new(ahead),
            release: (1.0 - (-1.0 / (RELEASE * f64::from(rate))).exp()) as f32,
            reduction: 0.0,
            window: std::iter::repeat_n(0.0, ahead).collect(),
            sum: 0.0,
            loud: 0,
            slot: 0,
            delay: std::iter::repeat_n([0.0; 2], Self::latency(rate)).collect(),
            place: 0,
            deepest: 1.0,
        }
    }

    fn ahead(rate: u32) -> usize {
        (AHEAD * f64::from(rate)).round() as usize
    }

    /// Frames by which the output is late.
    pub fn latency(rate: u32) -> usize {
        Self::ahead(rate) - 1 + TAPS / 2
    }

    /// Highest true peak around the sample TAPS/2 before the last one.
    fn true_peak(&mut self, frame: [f32; 2]) -> f32 {
        let mut peak = 0.0f32;
        for (recent, sample) in self.recent.iter_mut().zip(frame) {
            recent[self.at] = sample;
            recent[self.at + TAPS] = sample;
            let row = &recent[self.at + 1..=self.at + TAPS];
            peak = peak.max(row[TAPS / 2 - 1].abs());
            for taps in &self.phases {
                let value: f32 = row.iter().zip(taps).map(|(s, t)| s * t).sum();
                peak = peak.max(value.abs());
            }
        }
        self.at = (self.at + 1) % TAPS;
        peak
    }

    /// The next frame out for the next one in.
    pub fn next(&mut self, frame: [f32; 2]) -> [f32; 2] {
        let late = std::mem::replace(&mut self.delay[self.place], frame);
        self.place = (self.place + 1) % self.delay.len();
        if !self.on {
            return late;
        }
        let peak = self.true_peak(frame);
        let needed = if peak > CEILING { CEILING / peak } else { 1.0 };
        let held = 1.0 - self.lowest.next(needed);
        self.reduction = if held >= self.reduction {
            held
        } else {
            let next = self.reduction + (held - self.reduction) * self.release;
            // Far below what can be heard or measured: let go.
            if next < 1e-6 { 0.0 } else { next }
        };
        let old = std::mem::replace(&mut self.window[self.slot], self.reduction);
        self.slot = (self.slot + 1) % self.window.len();
        self.sum += f64::from(self.reduction) - f64::from(old);
        self.loud = if self.reduction > 0.0 {
            self.window.len()
        } else {
            self.loud.saturating_sub(1)
        };
        if self.loud == 0 {
            self.sum = 0.0;
            return late;
        }
        let gain = (1.0 - self.sum / self.window.len() as f64) as f32;
        self.deepest = self.deepest.min(gain);
        [late[0] * gain, late[1] * gain]
    }

    /// Most that was taken away since the last call, in dB, 0 or more.
    pub fn take_reduction_db(&mut self) -> f32 {
        -20.0 * std::mem::replace(&mut self.deepest, 1.0).log10()
    }
}
