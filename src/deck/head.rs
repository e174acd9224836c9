//! The play head: the stretch engine and the clock that tells which frame of the recording sounds.
//!
//! The engine works ahead: a change of speed is heard once what it has worked out is played. The
//! head keeps the plan of speeds in the engine's own frames, so its clock runs as the engine's
//! does: exact at every change of speed and pitch and through every seam. Between onsets the
//! engine bends time a little; the clock is the straight line that it bends around.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::stretch::{OnsetTable, PitchShift, Speed, Stretcher};
use crate::unit::Cents;
use std::sync::Arc;

/// Speed changes that may wait to be heard; more are merged into the last.
const WAITING: usize = 32;

/// A change of speed at a place of the engine's stream.
#[derive(Debug, Clone, Copy, Default)]
struct Change {
    /// Engine frame.
    at: f64,
    /// Recording frames an engine frame.
    pace: f64,
}

/// A stretch of output in which the recording runs straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leg {
    /// First output frame, counted from the walk's start.
    pub offset: usize,
    /// Output frames.
    pub frames: usize,
    /// Frame of the recording at the first of them.
    pub from: f64,
    /// Recording frames an output frame.
    pub speed: f64,
    /// A round of the loop begins here.
    pub seam: bool,
}

/// The engine and its clock.
pub(super) struct Head {
    engine: Stretcher,
    /// Engine frame that sounds next.
    u: f64,
    /// Recording frame that sounds next.
    at: f64,
    pace: f64,
    waiting: [Change; WAITING],
    count: usize,
    /// What is to be repeated, and what the engine has been told to repeat.
    wanted: Option<(f64, f64)>,
    region: Option<(f64, f64)>,
    speed: f64,
}

/// A seam is left to the engine when it lies at least this far, in seconds, beyond what is worked
/// out: more than the engine bends time between onsets (12 ms).
const GRACE: f64 = 0.02;

impl Head {
    pub(super) fn new(engine: Stretcher) -> Self {
        let at = engine.position();
        let speed = engine.speed().get();
        Self {
            pace: speed / engine.pitch().ratio(),
            engine,
            u: 0.0,
            at,
            waiting: [Change::default(); WAITING],
            count: 0,
            wanted: None,
            region: None,
            speed,
        }
    }

    fn ratio(&self) -> f64 {
        self.engine.pitch().ratio()
    }

    /// Frame of the recording that the next output frame sounds.
    pub(super) fn position(&self) -> f64 {
        self.at
    }

    /// Recording frames the next output frame advances.
    pub(super) fn sounding_speed(&self) -> f64 {
        self.pace * self.ratio()
    }

    /// Frames of the recording.
    pub(super) fn end(&self) -> f64 {
        self.engine.recording().frames() as f64
    }

    /// Output frames that a change of speed made now takes to be heard.
    pub(super) fn horizon(&self) -> f64 {
        self.engine.planned()
    }

    /// Goes to a frame of the recording, at once.
    pub(super) fn seek(&mut self, frame: f64) {
        let frame = frame.clamp(0.0, self.end()).round();
        self.engine.seek(frame as usize);
        self.at = frame;
        self.count = 0;
        self.pace = self.speed / self.ratio();
        self.hand_over(None);
        self.arm();
    }

    /// The next [`Head::seek`] fades nothing out.
    pub(super) fn cut(&mut self) {
        self.engine.cut();
    }

    /// Changes the speed of what is not worked out yet.
    pub(super) fn set_speed(&mut self, speed: f64) {
        let speed = Speed::nearest(speed).get();
        if speed != self.speed {
            let from = self.u + self.engine.planned() * self.ratio();
            self.engine.set_speed(Speed::nearest(speed));
            self.speed = speed;
            self.plan(from);
        }
    }

    /// Changes the pitch, at once.
    pub(super) fn set_pitch(&mut self, cents: Cents) {
        let pitch = PitchShift::nearest(cents);
        if pitch != self.engine.pitch() {
            let from = self.u + self.engine.planned() * self.ratio();
            self.engine.set_pitch(pitch);
            self.plan(from);
        }
    }

    /// From engine frame `at` on, the recording runs at the current speed.
    fn plan(&mut self, at: f64) {
        let pace = self.speed / self.ratio();
        if at <= self.u {
            self.pace = pace;
            self.count = 0;
            return;
        }
        while self.count > 0 && self.waiting[self.count - 1].at >= at {
            self.count -= 1;
        }
        let slot = self.count.min(WAITING - 1);
        self.waiting[slot] = Change { at, pace };
        self.count = slot + 1;
    }

    /// Frame of the recording at the end of what is worked out, rounds of the loop unrolled.
    pub(super) fn frontier(&self) -> f64 {
        let goal = self.u + self.engine.planned() * self.ratio();
        let (mut u, mut at, mut pace) = (self.u, self.at, self.pace);
        for change in &self.waiting[..self.count] {
            let to = change.at.min(goal);
            at += (to - u).max(0.0) * pace;
            u = to.max(u);
            pace = change.pace;
        }
        at + (goal - u).max(0.0) * pace
    }

    /// Repeats this stretch as soon as the engine can plan for its seam, or no longer. Until then
    /// [`Head::region`] is none and the caller has to mind the end.
    pub(super) fn set_region(&mut self, region: Option<(f64, f64)>) {
        if region != self.wanted {
            self.wanted = region;
            if self.region.is_some_and(|(_, b)| self.frontier() >= b) {
                // The old seam is worked out already: start afresh from here.
                let here = self.at;
                self.seek(here);
            }
            self.hand_over(None);
        }
        self.arm();
    }

    /// Hands the wanted stretch to the engine where its seam can still be planned.
    pub(super) fn arm(&mut self) {
        if self.region.is_none()
            && let Some((_, b)) = self.wanted
        {
            let grace = GRACE * f64::from(self.engine.recording().rate());
            if self.frontier() + grace < b {
                self.hand_over(self.wanted);
            }
        }
    }

    fn hand_over(&mut self, region: Option<(f64, f64)>) {
        if region != self.region {
            self.region = region;
            self.engine
                .set_loop(region.map(|(a, b)| a as usize..b as usize));
        }
    }

    /// The stretch that the engine repeats.
    pub(super) fn region(&self) -> Option<(f64, f64)> {
        self.region
    }

    /// Swaps the onset table.
    pub(super) fn set_onsets(&mut self, onsets: Arc<OnsetTable>) -> Arc<OnsetTable> {
        self.engine.set_onsets(onsets)
    }

    /// Output frames, at least 1, until the clock passes frame `goal` or changes its speed.
    pub(super) fn frames_until(&self, goal: f64) -> usize {
        let speed = self.sounding_speed();
        let straight = ((goal - self.at) / speed - 1e-6).ceil().max(1.0);
        straight.min(self.until_change() as f64) as usize
    }

    fn until_change(&self) -> usize {
        if self.count == 0 {
            return usize::MAX / 2;
        }
        (((self.waiting[0].at - self.u) / self.ratio())
            .ceil()
            .max(1.0)) as usize
    }

    /// Advances the clock by `frames` output frames and tells every straight leg of it.
    pub(super) fn walk(&mut self, frames: usize, mut tell: impl FnMut(Leg)) {
        let ratio = self.ratio();
        let mut done = 0;
        while done < frames {
            let goal =
                self.region.map_or(
                    f64::INFINITY,
                    |(_, b)| {
                        if self.at < b { b } else { f64::INFINITY }
                    },
                );
            let n = self.frames_until(goal).min(frames - done);
            tell(Leg {
                offset: done,
                frames: n,
                from: self.at,
                speed: self.sounding_speed(),
                seam: false,
            });
            self.u += n as f64 * ratio;
            self.at += n as f64 * ratio * self.pace;
            done += n;
            while self.count > 0 && self.waiting[0].at <= self.u {
                // What was played beyond the change went at the old pace.
                let beyond = self.u - self.waiting[0].at;
                self.at += beyond * (self.waiting[0].pace - self.pace);
                self.pace = self.waiting[0].pace;
                self.waiting.copy_within(1..self.count, 0);
                self.count -= 1;
            }
            if let Some((a, b)) = self.region
                && self.at >= b - 1e-6
                && goal.is_finite()
            {
                self.at -= b - a;
                tell(Leg {
                    offset: done,
                    frames: 0,
                    from: self.at,
                    speed: self.sounding_speed(),
                    seam: true,
                });
            }
        }
    }

    /// Writes the next output frames.
    pub(super) fn sound(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.engine.process(&mut [left, right]);
    }
}
