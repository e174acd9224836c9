//! The stretched stream at the recording's pitch: plan, vocoder and ring put together.
//!
//! Work is done ahead of the output and spread over it: a vocoder frame is a handful of equal
//! units, and every few output frames as many units are done as keep pace with the next frame's
//! due date. When work is done depends only on the number of output frames, never on block
//! sizes, so the same calls at the same output frames give the same samples.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::onsets::OnsetTable;
use super::overlap_add::OverlapAdd;
use super::place::Places;
use super::plan::Planner;
use super::speed::Rates;
use super::step::{Geometry, Step};
use super::vocoder::Vocoder;
use crate::recording::Recording;
use std::sync::Arc;

/// Output frames between two looks at the work; a power of two.
const TICK: i64 = 32;

/// The stretched stream.
pub(super) struct Core {
    recording: Arc<Recording>,
    geometry: Geometry,
    planner: Planner,
    vocoder: Vocoder,
    ring: OverlapAdd,
    places: Places,
    /// Next output frame.
    now: i64,
    /// Output frames before this one are complete.
    ready: i64,
    step: Step,
    /// Units done of the pending frame.
    unit: usize,
    credit: f64,
    /// Before this output frame only what is due is worked on.
    ahead_from: i64,
}

impl Core {
    pub(super) fn new(recording: Arc<Recording>, onsets: Arc<OnsetTable>, rates: Rates) -> Self {
        let geometry = Geometry::of_rate(recording.rate());
        let channels = recording.width();
        let mut planner = Planner::new(geometry, recording.frames(), rates, onsets);
        let step = planner.next();
        let mut places = Places::new();
        places.note(&step);
        Self {
            vocoder: Vocoder::new(&geometry, channels),
            ring: OverlapAdd::new(channels, 8 * geometry.half),
            recording,
            geometry,
            planner,
            places,
            now: 0,
            ready: 0,
            step,
            unit: 0,
            credit: 0.0,
            ahead_from: 0,
        }
    }

    pub(super) fn channels(&self) -> usize {
        self.recording.width()
    }

    /// Frames of a short cross-fade.
    pub(super) fn fade(&self) -> usize {
        self.geometry.fade
    }

    /// Most output frames between the output and what is planned.
    pub(super) fn horizon(&self) -> usize {
        self.geometry.half + 2 * self.geometry.hop
    }

    /// Output frames between the next one and the first that is not planned.
    pub(super) fn planned(&self) -> f64 {
        (self.planner.planned() - self.now) as f64
    }

    pub(super) fn recording(&self) -> &Arc<Recording> {
        &self.recording
    }

    /// Frame of the recording that sounds `behind` output frames before the next one.
    pub(super) fn position(&self, behind: f64) -> f64 {
        self.places.at(self.now as f64 - behind)
    }

    /// Whether everything has been put out.
    pub(super) fn ended(&self) -> bool {
        matches!(self.step, Step::End(u) if self.now >= u)
    }

    pub(super) fn set_speed(&mut self, speed: f64) {
        self.planner.set_speed(speed);
    }

    pub(super) fn set_onsets(&mut self, onsets: Arc<OnsetTable>) -> Arc<OnsetTable> {
        self.planner.set_onsets(onsets)
    }

    /// Works on nothing but what is due, until the next [`Core::seek`].
    pub(super) fn end_soon(&mut self) {
        self.ahead_from = i64::MAX;
    }

    /// Starts anew at frame `t` of the recording, at once. The first `fetched` output frames are
    /// taken at one go, so that working ahead begins only after them.
    pub(super) fn seek(&mut self, t: usize, fetched: usize) {
        self.ahead_from = self.now + fetched as i64;
        self.ring.clear(self.now);
        self.vocoder.restart();
        self.planner.restart(self.now, t);
        self.places.clear();
        self.ready = self.now;
        self.take_next();
    }

    /// Repeats frames `a..b` of the recording, or no longer. False when `b` can no longer be
    /// planned for, because the work is ahead of it.
    pub(super) fn set_region(&mut self, region: Option<(usize, usize)>) -> bool {
        self.planner.set_region(region);
        region.is_none_or(|(_, b)| self.planner.frontier() < b as f64)
    }

    /// Once, when frame `from` is reached, goes on at frame `to`. False when the work is already
    /// ahead of `from`.
    pub(super) fn jump(&mut self, from: usize, to: usize) -> bool {
        let ahead = self.planner.frontier() < from as f64;
        if ahead {
            self.planner.set_jump(from, to);
        }
        ahead
    }

    fn take_next(&mut self) {
        self.step = self.planner.next();
        self.places.note(&self.step);
        self.unit = 0;
        self.credit = 0.0;
    }

    /// Does one unit of the pending step.
    fn work(&mut self) {
        match self.step {
            Step::Copy(copy) => {
                let recording = &self.recording;
                let weight = |i: usize| copy.weight(i);
                let len = copy.len + copy.fall;
                self.ring.add_weighted(copy.at, len, weight, |channel, i| {
                    recording.sample(channel, copy.from + i as i64)
                });
                self.take_next();
            }
            Step::Frame(frame) => {
                self.vocoder
                    .work(self.unit, &frame, &self.recording, &mut self.ring);
                self.unit += 1;
                if self.unit == Vocoder::units(frame.zone.is_some(), self.channels()) {
                    self.take_next();
                }
            }
            Step::End(_) => {}
        }
    }

    /// Completes the output up to `ready`, and works ahead at an even pace.
    fn tick(&mut self) {
        self.ready = (self.now / TICK + 1) * TICK;
        let horizon = 2 * self.geometry.hop as i64;
        loop {
            let first = self.step.first();
            let due = first - self.now;
            match self.step {
                Step::End(_) => return,
                _ if first < self.ready => self.work(),
                _ if self.now < self.ahead_from || due > horizon => return,
                Step::Copy(_) => self.work(),
                Step::Frame(frame) => {
                    let own = Vocoder::units(frame.zone.is_some(), self.channels());
                    let other = Vocoder::units(false, self.channels());
                    let left = (own + frame.alike * other - self.unit) as f64;
                    // What comes right after those that are due together is not left until then.
                    let pace =
                        (left / due as f64).max((left + other as f64) / (due + frame.then) as f64);
                    self.credit += pace * TICK as f64;
                    while self.credit >= 1.0 {
                        self.credit -= 1.0;
                        let credit = self.credit;
                        self.work();
                        if !matches!(self.step, Step::Frame(_)) {
                            break;
                        }
                        self.credit = credit;
                    }
                    return;
                }
            }
        }
    }

    /// Writes the next `frames` output frames, from `offset` on, of every channel of `out`.
    /// After the end it writes silence.
    pub(super) fn emit(&mut self, out: &mut [Vec<f32>], offset: usize, frames: usize) {
        let mut done = 0;
        while done < frames {
            if self.now >= self.ready {
                self.tick();
            }
            let n = (frames - done).min((self.ready - self.now) as usize);
            self.ring.take(self.now, n, out, offset + done);
            self.now += n as i64;
            done += n;
        }
        self.places.forget(self.now);
    }
}
