//! What a host can automate, as plain values.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::unit::{Cents, Decibels};
use serde::{Deserialize, Serialize};

/// Which channels of the recording are heard, on both sides.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Channels {
    /// As recorded.
    #[default]
    Stereo,
    /// The left channel.
    Left,
    /// The right channel.
    Right,
    /// (left + right) / 2.
    Mid,
    /// (left − right) / 2.
    Side,
}

impl Channels {
    /// Rows of the matrix from (left, right) to (left, right).
    pub(super) fn matrix(self) -> [f32; 4] {
        match self {
            Self::Stereo => [1.0, 0.0, 0.0, 1.0],
            Self::Left => [1.0, 0.0, 1.0, 0.0],
            Self::Right => [0.0, 1.0, 0.0, 1.0],
            Self::Mid => [0.5, 0.5, 0.5, 0.5],
            Self::Side => [0.5, -0.5, 0.5, -0.5],
        }
    }
}

/// The player's controls. Values outside their ranges are brought into them; what is not a number
/// becomes the default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Controls {
    /// Run or stop.
    pub play: bool,
    /// Repeat the region (the whole recording where there is none).
    pub looping: bool,
    /// Speed, 0.25 to 1.5; a ladder in force overrides it while looping.
    pub speed: f64,
    /// Pitch shift, −1,300 to 1,300 cents (the engine's reach is an octave).
    pub pitch: Cents,
    /// Gain of the recording, −24 to 24 dB.
    pub gain: Decibels,
    /// Is the click heard? A count-in always is.
    pub click: bool,
    /// Level of the click, −60 to 6 dB.
    pub click_level: Decibels,
    /// Place of the click, −1 left to 1 right.
    pub click_pan: f32,
    /// Which channels are heard.
    pub channels: Channels,
    /// Is the input heard too?
    pub through: bool,
    /// Only the input, at its own level.
    pub bypass: bool,
    /// The host's bars and beats drive the recording.
    pub follow: bool,
}

impl Default for Controls {
    fn default() -> Self {
        Self {
            play: false,
            looping: false,
            speed: 1.0,
            pitch: Cents(0.0),
            gain: Decibels(0.0),
            click: false,
            click_level: Decibels(-12.0),
            click_pan: 0.0,
            channels: Channels::Stereo,
            through: false,
            bypass: false,
            follow: false,
        }
    }
}

fn within(value: f64, low: f64, high: f64, or: f64) -> f64 {
    if value.is_nan() {
        or
    } else {
        value.clamp(low, high)
    }
}

impl Controls {
    /// The same controls, every value in its range.
    pub(super) fn mended(mut self) -> Self {
        self.speed = within(self.speed, 0.25, 1.5, 1.0);
        self.pitch = Cents(within(self.pitch.0, -1300.0, 1300.0, 0.0));
        self.gain = Decibels(within(self.gain.0, -24.0, 24.0, 0.0));
        self.click_level = Decibels(within(self.click_level.0, -60.0, 6.0, -12.0));
        self.click_pan = within(f64::from(self.click_pan), -1.0, 1.0, 0.0) as f32;
        self
    }
}

/// A level as a factor.
pub(super) fn factor(level: Decibels) -> f32 {
    10f64.powf(level.0 / 20.0) as f32
}

/// A loop that speeds up step by step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ladder {
    /// Speed of the first rounds, 0.25 to 1.5.
    pub start: f64,
    /// What a step adds.
    pub step: f64,
    /// Rounds on each step, at least 1.
    pub rounds: u32,
    /// Highest speed.
    pub top: f64,
    /// Steps only after [`Message::Climb`](super::Message::Climb) has allowed it since the last
    /// step.
    pub asks: bool,
}

impl Ladder {
    /// The same ladder, every value in its range.
    pub(super) fn mended(self) -> Self {
        Self {
            start: within(self.start, 0.25, 1.5, 1.0),
            step: within(self.step, 0.0, 1.25, 0.0),
            rounds: self.rounds.max(1),
            top: within(self.top, 0.25, 1.5, 1.0),
            asks: self.asks,
        }
    }
}
