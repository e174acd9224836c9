//! A value that moves in a straight line, a sample at a time.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

/// A smoothed value.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ramp {
    value: f32,
    target: f32,
    step: f32,
    left: u32,
}

impl Ramp {
    pub(super) fn at(value: f32) -> Self {
        Self {
            value,
            target: value,
            step: 0.0,
            left: 0,
        }
    }

    /// Heads for `target`, to be there after `frames` samples.
    pub(super) fn aim(&mut self, target: f32, frames: u32) {
        if target == self.target {
            return;
        }
        self.target = target;
        if frames == 0 {
            self.value = target;
            self.left = 0;
        } else {
            self.step = (target - self.value) / frames as f32;
            self.left = frames;
        }
    }

    /// The value of the next sample.
    pub(super) fn next(&mut self) -> f32 {
        if self.left > 0 {
            self.left -= 1;
            self.value = if self.left == 0 {
                self.target
            } else {
                self.value + self.step
            };
        }
        self.value
    }

    /// The value of the last sample.
    pub(super) fn value(&self) -> f32 {
        self.value
    }

    /// Where it heads.
    pub(super) fn target(&self) -> f32 {
        self.target
    }

    /// Is it at rest at 0?
    pub(super) fn silent(&self) -> bool {
        self.left == 0 && self.value == 0.0
    }
}

/// A fade without corners: 3x² − 2x³.
pub(super) fn eased(x: f32) -> f32 {
    x * x * (3.0 - 2.0 * x)
}
