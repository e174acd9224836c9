//! Speeds: one, or a list of changes along the recording.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::unit::Seconds;

/// Slowest playable speed.
pub const SLOWEST: f64 = 0.25;
/// Fastest playable speed.
pub const FASTEST: f64 = 1.5;

/// Why something is not a [`Speed`] or a [`SpeedMap`].
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SpeedError {
    /// Outside 0.25 to 1.5, or not a number.
    #[error("a speed of {0} is outside 0.25 to 1.5 (25 to 150 %)")]
    Range(f64),
    /// A line is not "SECONDS SPEED".
    #[error("line {0} is not `seconds speed`, such as `12.5 0.6`")]
    Line(usize),
    /// A line's speed is outside the range.
    #[error("line {line}: a speed of {speed} is outside 0.25 to 1.5 (25 to 150 %)")]
    LineRange {
        /// Line number, from 1.
        line: usize,
        /// What it says.
        speed: f64,
    },
    /// Times do not ascend.
    #[error("line {0}: its time is not later than the one before it")]
    Order(usize),
    /// There is no line, or the first is not at 0.
    #[error("the first line must be at 0 seconds")]
    Start,
}

/// A playing speed: 1 is as recorded, 0.5 half as fast; 0.25 to 1.5.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Speed(f64);

impl Speed {
    /// As recorded.
    pub const NORMAL: Self = Self(1.0);

    /// A speed from 0.25 to 1.5.
    ///
    /// # Errors
    /// [`SpeedError::Range`] outside it.
    pub fn new(speed: f64) -> Result<Self, SpeedError> {
        if (SLOWEST..=FASTEST).contains(&speed) {
            Ok(Self(speed))
        } else {
            Err(SpeedError::Range(speed))
        }
    }

    /// The nearest playable speed; what is not a number becomes 1.
    pub fn nearest(speed: f64) -> Self {
        if speed.is_nan() {
            Self::NORMAL
        } else {
            Self(speed.clamp(SLOWEST, FASTEST))
        }
    }

    /// As a factor.
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Speed along a recording: from each moment on, that speed.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedMap {
    /// (instant of the recording, speed from there on); the first at 0, ascending.
    steps: Vec<(Seconds, Speed)>,
}

impl SpeedMap {
    /// One speed throughout.
    #[allow(
        clippy::disallowed_macros,
        reason = "made before the audio thread runs"
    )]
    pub fn constant(speed: Speed) -> Self {
        Self {
            steps: vec![(Seconds(0.0), speed)],
        }
    }

    /// Reads a map: a line `SECONDS SPEED` a change, seconds of the recording, the first at 0.
    /// Empty lines and what follows a `#` are skipped.
    ///
    /// # Errors
    /// [`SpeedError`] names the line that is wrong.
    #[allow(
        clippy::disallowed_methods,
        reason = "read before the audio thread runs"
    )]
    pub fn parse(text: &str) -> Result<Self, SpeedError> {
        let mut steps: Vec<(Seconds, Speed)> = Vec::new();
        for (number, line) in text.lines().enumerate().map(|(i, l)| (i + 1, l)) {
            let line = line.split('#').next().unwrap_or("").trim();
            if line.is_empty() {
                continue;
            }
            let mut words = line.split_whitespace().map(str::parse::<f64>);
            let (Some(Ok(at)), Some(Ok(speed)), None) = (words.next(), words.next(), words.next())
            else {
                return Err(SpeedError::Line(number));
            };
            if !at.is_finite() || at < 0.0 {
                return Err(SpeedError::Line(number));
            }
            let speed = Speed::new(speed).map_err(|_| SpeedError::LineRange {
                line: number,
                speed,
            })?;
            match steps.last() {
                None if at != 0.0 => return Err(SpeedError::Start),
                Some((before, _)) if at <= before.0 => return Err(SpeedError::Order(number)),
                _ => steps.push((Seconds(at), speed)),
            }
        }
        if steps.is_empty() {
            return Err(SpeedError::Start);
        }
        Ok(Self { steps })
    }

    /// The changes: (instant of the recording, speed from there on), ascending, the first at 0.
    pub fn steps(&self) -> &[(Seconds, Speed)] {
        &self.steps
    }

    /// Frames that a recording of `frames` frames at `rate` Hz lasts, unrounded.
    pub fn stretched(&self, frames: usize, rate: u32) -> f64 {
        Rates::of_map(self, rate, 1.0).between(0.0, frames as f64)
    }
}

/// A speed map in frames, as the planner reads it. Its capacity is fixed by [`Rates::of_map`], so
/// that [`Rates::set`] allocates nothing.
#[derive(Debug, Clone)]
pub(super) struct Rates {
    /// (frame, speed from there on).
    steps: Vec<(f64, f64)>,
}

impl Rates {
    /// `map` at `rate` Hz, each speed divided by `divide` (the pitch ratio).
    pub(super) fn of_map(map: &SpeedMap, rate: u32, divide: f64) -> Self {
        Self {
            steps: map
                .steps
                .iter()
                .map(|(at, speed)| (at.0 * f64::from(rate), speed.0 / divide))
                .collect(),
        }
    }

    /// One speed from now on.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn set(&mut self, speed: f64) {
        self.steps.clear();
        self.steps.push((0.0, speed));
    }

    fn index(&self, t: f64) -> usize {
        self.steps
            .partition_point(|&(at, _)| at <= t)
            .saturating_sub(1)
    }

    /// Speed at frame `t`.
    pub(super) fn at(&self, t: f64) -> f64 {
        self.steps[self.index(t)].1
    }

    /// Frames from `t` to the next change of speed.
    pub(super) fn until_change(&self, t: f64) -> f64 {
        self.steps
            .get(self.index(t) + 1)
            .map_or(f64::MAX, |&(at, _)| (at - t).max(0.0))
    }

    /// Output frames between the frames `from` ≤ `to`.
    pub(super) fn between(&self, from: f64, to: f64) -> f64 {
        let mut sum = 0.0;
        let mut at = from;
        let mut i = self.index(from);
        while at < to {
            let end = self.steps.get(i + 1).map_or(to, |s| s.0.min(to));
            sum += (end - at).max(0.0) / self.steps[i].1;
            at = end;
            i += 1;
        }
        sum
    }

    /// The frame that is `frames` output frames after `from`.
    pub(super) fn advance(&self, from: f64, mut frames: f64) -> f64 {
        let mut at = from;
        let mut i = self.index(from);
        loop {
            let speed = self.steps[i].1;
            let Some(&(end, _)) = self.steps.get(i + 1) else {
                return at + frames * speed;
            };
            let span = (end - at).max(0.0) / speed;
            if span >= frames {
                return at + frames * speed;
            }
            frames -= span;
            at = end;
            i += 1;
        }
    }
}
