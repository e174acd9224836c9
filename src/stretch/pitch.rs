//! How far the sound is moved in pitch.

use crate::unit::Cents;

/// A change of pitch, −1,200 to 1,200 cents (an octave down to an octave up).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct PitchShift(f64);

impl PitchShift {
    /// As recorded.
    pub const UNCHANGED: Self = Self(0.0);

    /// The change nearest to `cents` within an octave; what is not a number is no change.
    pub fn nearest(cents: Cents) -> Self {
        if cents.0.is_nan() {
            Self::UNCHANGED
        } else {
            Self(cents.0.clamp(-1200.0, 1200.0))
        }
    }

    /// In cents.
    pub fn cents(self) -> Cents {
        Cents(self.0)
    }

    /// As a ratio of frequencies, 0.5 to 2.
    pub fn ratio(self) -> f64 {
        (self.0 / 1200.0).exp2()
    }
}
