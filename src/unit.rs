//! Units: what a number means, in its type.
//!
//! An instant is not a span: [`Seconds`] is a place in a recording, [`Span`] the distance between
//! two places. Subtracting instants gives a span; adding a span to an instant gives an instant;
//! adding two instants does not compile. This module owns no algorithm.

use serde::{Deserialize, Serialize};
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// Total order (IEEE 754), for sorting.
            pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }
    };
}

unit!(
    /// An instant in a recording: seconds after its first sample.
    Seconds
);
unit!(
    /// A distance between two instants, in seconds; negative is earlier.
    Span
);
unit!(
    /// A position on a beat grid, in beats after the grid's first beat.
    Beats
);
unit!(
    /// Tempo in beats a minute.
    Bpm
);
unit!(
    /// A hundredth of an equal-tempered semitone.
    Cents
);
unit!(
    /// A pitch as a MIDI note number with fraction: 69 is A4 = 440 Hz (ISO 16), 60 is C4.
    MidiNote
);
unit!(
    /// A level ratio in decibels; 0 is unchanged.
    Decibels
);

impl Sub for Seconds {
    type Output = Span;
    fn sub(self, other: Self) -> Span {
        Span(self.0 - other.0)
    }
}

impl Add<Span> for Seconds {
    type Output = Self;
    fn add(self, span: Span) -> Self {
        Self(self.0 + span.0)
    }
}

impl Sub<Span> for Seconds {
    type Output = Self;
    fn sub(self, span: Span) -> Self {
        Self(self.0 - span.0)
    }
}

impl AddAssign<Span> for Seconds {
    fn add_assign(&mut self, span: Span) {
        self.0 += span.0;
    }
}

impl SubAssign<Span> for Seconds {
    fn sub_assign(&mut self, span: Span) {
        self.0 -= span.0;
    }
}

impl Seconds {
    /// The frame nearest to this instant at `rate` frames a second; instants before 0 give 0.
    pub fn frame(self, rate: u32) -> usize {
        (self.0 * f64::from(rate)).round().max(0.0) as usize
    }

    /// The instant of `frame` at `rate` frames a second.
    pub fn of_frame(frame: usize, rate: u32) -> Self {
        Self(frame as f64 / f64::from(rate))
    }
}

impl Span {
    /// A span of `ms` milliseconds.
    pub const fn from_ms(ms: f64) -> Self {
        Self(ms / 1000.0)
    }

    /// This span in milliseconds.
    pub const fn ms(self) -> f64 {
        self.0 * 1000.0
    }

    /// The span without its sign.
    pub const fn abs(self) -> Self {
        Self(self.0.abs())
    }
}

impl Add for Span {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Span {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Neg for Span {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Mul<f64> for Span {
    type Output = Self;
    fn mul(self, by: f64) -> Self {
        Self(self.0 * by)
    }
}

impl Div<f64> for Span {
    type Output = Self;
    fn div(self, by: f64) -> Self {
        Self(self.0 / by)
    }
}

impl Add for Beats {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Beats {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Bpm {
    /// Length of one beat.
    pub fn beat(self) -> Span {
        Span(60.0 / self.0)
    }
}

impl MidiNote {
    /// Frequency in Hz with A4 = 440 Hz: 440 · 2^((m − 69)/12).
    pub fn hz(self) -> f64 {
        440.0 * ((self.0 - 69.0) / 12.0).exp2()
    }

    /// The pitch of a frequency in Hz (above 0), with A4 = 440 Hz.
    pub fn of_hz(hz: f64) -> Self {
        Self(69.0 + 12.0 * (hz / 440.0).log2())
    }

    /// The nearest whole semitone.
    pub fn nearest(self) -> i32 {
        self.0.round() as i32
    }

    /// The pitch moved by `cents`.
    pub fn detuned(self, cents: Cents) -> Self {
        Self(self.0 + cents.0 / 100.0)
    }
}

impl Decibels {
    /// As a factor of amplitude: 10^(dB/20).
    pub fn amplitude(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }

    /// The level of an amplitude factor (above 0).
    pub fn of_amplitude(factor: f64) -> Self {
        Self(20.0 * factor.log10())
    }
}
