//! The transport: what sounds next of the recording and of the click.
//!
//! A small machine of four phases (stopped, count-in, rolling, rest). It renders in pieces of at
//! most [`PIECE`] frames, cut wherever something happens, so what it renders does not depend on
//! the host's block sizes. Here is its state and what it is told; the files beside this one hold
//! how it renders, waits, counts rounds and follows the host.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

mod following;
mod rendering;
mod rounds;
mod waiting;

use super::click::Ticker;
use super::controls::{Controls, Ladder};
use super::message::{Phase, Retired};
use super::pulse::Pulse;
use super::ramp::Ramp;
use super::track::Track;
use crate::stretch::OnsetTable;
use crate::unit::Seconds;
use std::sync::Arc;

/// Most frames rendered at once; speed and the host's place are looked at this often.
pub(super) const PIECE: usize = 32;

/// A start, a stop and a lead-in take this long: short enough to keep a pluck, long enough not to
/// click (the join's 3 ms of the stretch engine).
const FADE_MS: f64 = 3.0;

/// Shortest loop in seconds.
const SHORTEST: f64 = 0.05;

/// Frames of a lead-in.
pub(super) fn lead_in(rate: u32) -> usize {
    (FADE_MS / 1000.0 * f64::from(rate)) as usize
}

/// The machine.
pub(super) struct Transport {
    rate: f64,
    fade: usize,
    track: Option<Box<Track>>,
    leaving: Option<Box<Track>>,
    gain: Ramp,
    leaving_gain: Ramp,
    pulse: Option<Box<Pulse>>,
    ticker: Ticker,
    cursor: usize,
    phase: Phase,
    wait: Wait,
    /// Where a stopped deck starts.
    place: f64,
    ended: bool,
    wanted: Option<(Seconds, Seconds)>,
    controls: Controls,
    count_in: u8,
    rest: u8,
    ladder: Option<Ladder>,
    ladder_speed: f64,
    rounds_on_step: u32,
    may_climb: bool,
    decided: bool,
    round: u32,
    host: HostPlace,
    out_of_reach: bool,
    /// Output frame that comes next.
    clock: u64,
}

impl Transport {
    pub(super) fn new(rate: u32) -> Self {
        let fade = lead_in(rate);
        let rate = f64::from(rate);
        Self {
            rate,
            fade,
            track: None,
            leaving: None,
            gain: Ramp::at(0.0),
            leaving_gain: Ramp::at(0.0),
            pulse: None,
            ticker: Ticker::new(rate),
            cursor: 0,
            phase: Phase::Stopped,
            wait: Wait::default(),
            place: 0.0,
            ended: false,
            wanted: None,
            controls: Controls::default(),
            count_in: 0,
            rest: 0,
            ladder: None,
            ladder_speed: 1.0,
            rounds_on_step: 0,
            may_climb: false,
            decided: false,
            round: 0,
            host: HostPlace::default(),
            out_of_reach: false,
            clock: 0,
        }
    }

    pub(super) fn phase(&self) -> Phase {
        self.phase
    }

    pub(super) fn round(&self) -> u32 {
        self.round
    }

    pub(super) fn beats_left(&self) -> u32 {
        match self.phase {
            Phase::CountIn | Phase::Rest => {
                (self.wait.left as f64 * self.wait.step).ceil().max(0.0) as u32
            }
            _ => 0,
        }
    }

    /// Frame of the recording that sounds next, or where it would start.
    pub(super) fn position(&self) -> f64 {
        match (&self.track, self.phase) {
            (Some(track), Phase::Rolling) => track.head.position(),
            _ => self.place,
        }
    }

    /// Recording frames an output frame; 0 while nothing of it sounds.
    pub(super) fn sounding_speed(&self) -> f64 {
        match (&self.track, self.phase) {
            (Some(track), Phase::Rolling) => track.head.sounding_speed(),
            _ => 0.0,
        }
    }

    /// The speed that is asked for now.
    pub(super) fn speed(&self) -> f64 {
        match self.ladder {
            Some(_) if self.controls.looping && !self.controls.follow => self.ladder_speed,
            _ => self.controls.speed,
        }
    }

    /// Puts another recording in; gives back one that is still fading out, if any. `keep` keeps
    /// the place and goes on playing.
    pub(super) fn load(&mut self, track: Option<Box<Track>>, keep: bool) -> Option<Retired> {
        let place = self.position();
        let rolling = self.phase == Phase::Rolling && keep;
        let old = std::mem::replace(&mut self.track, track);
        let mut back = None;
        if !self.gain.silent() {
            back = self.leaving.take();
            self.leaving = old;
            self.leaving_gain = self.gain;
            self.leaving_gain.aim(0.0, self.fade as u32);
            self.gain = Ramp::at(0.0);
        } else if let Some(old) = old {
            back = Some(old);
        }
        self.place = if keep { place } else { 0.0 };
        if !keep || self.track.is_none() {
            self.phase = Phase::Stopped;
            self.ended = false;
            // Where the controls still ask for it, the new one starts from its beginning.
            self.controls.play = false;
        }
        let (speed, pitch) = (self.speed(), self.controls.pitch);
        if let Some(track) = &mut self.track {
            self.place = self.place.min(track.head.end());
            track.head.set_pitch(pitch);
            track.head.set_speed(speed);
        }
        self.apply_region();
        if rolling && let Some(track) = &mut self.track {
            track.head.seek(place);
            self.gain.aim(1.0, self.fade as u32);
        }
        back.map(Retired::Track)
    }

    /// What has faded out by now and can be freed.
    pub(super) fn take_leaving(&mut self) -> Option<Box<Track>> {
        if self.leaving_gain.silent() {
            self.leaving.take()
        } else {
            None
        }
    }

    pub(super) fn set_onsets(&mut self, onsets: Arc<OnsetTable>) -> Arc<OnsetTable> {
        match &mut self.track {
            Some(track) => track.head.set_onsets(onsets),
            None => onsets,
        }
    }

    pub(super) fn set_pulse(&mut self, pulse: Option<Box<Pulse>>) -> Option<Box<Pulse>> {
        let old = std::mem::replace(&mut self.pulse, pulse);
        self.cursor = self.first_click(self.position());
        old
    }

    pub(super) fn set_region(&mut self, region: Option<(Seconds, Seconds)>) {
        self.wanted = region;
        self.apply_region();
    }

    pub(super) fn set_count_in(&mut self, bars: u8) {
        self.count_in = bars.min(2);
    }

    pub(super) fn set_rest(&mut self, beats: u8) {
        self.rest = beats.min(16);
        self.apply_region();
    }

    pub(super) fn set_controls(&mut self, controls: Controls) {
        let before = self.controls;
        if controls == before {
            return;
        }
        self.controls = controls;
        if controls.pitch != before.pitch
            && let Some(track) = &mut self.track
        {
            track.head.set_pitch(controls.pitch);
        }
        if controls.looping != before.looping || controls.follow != before.follow {
            if controls.looping && !before.looping {
                self.restart_ladder();
            }
            self.apply_region();
        }
        if controls.follow {
            return;
        }
        if before.follow {
            self.stop();
            self.controls.play = controls.play;
        }
        if controls.play && (!before.play || (before.follow && self.phase == Phase::Stopped)) {
            self.begin();
        } else if !controls.play && before.play {
            self.stop();
        }
    }

    /// The loop in frames, inside the recording.
    fn region(&self) -> Option<(f64, f64)> {
        let end = self.track.as_ref()?.head.end();
        if !self.controls.looping || self.controls.follow {
            return None;
        }
        let least = (SHORTEST * self.rate).min(end);
        let (from, to) = self.wanted.map_or((0.0, end), |(from, to)| {
            let finite = |s: Seconds| {
                if s.0.is_finite() {
                    s.0 * self.rate
                } else {
                    0.0
                }
            };
            (finite(from), finite(to))
        });
        // The length is rounded, not the end: many rounds then stay close to the exact length.
        let length = (to - from).round();
        let from = from.round().clamp(0.0, end - least);
        Some((from, (from + length).clamp(from + least, end)))
    }

    fn apply_region(&mut self) {
        let region = self.region();
        let engine = region.filter(|_| !self.rests());
        let outside =
            self.phase == Phase::Rolling && region.is_some_and(|(_, b)| self.position() >= b - 0.5);
        if let Some(track) = &mut self.track {
            track.head.set_region(engine);
        }
        if let (true, Some((a, _))) = (outside, region) {
            self.jump(a);
        }
        self.decided = false;
    }

    fn first_click(&self, frame: f64) -> usize {
        self.pulse.as_ref().map_or(0, |p| p.first_click(frame))
    }

    /// Goes to a place.
    pub(super) fn seek(&mut self, place: Seconds) {
        let end = self.track.as_ref().map_or(f64::MAX, |t| t.head.end());
        let frame = if place.0.is_finite() {
            (place.0 * self.rate).clamp(0.0, end)
        } else {
            0.0
        };
        self.ended = false;
        match self.phase {
            Phase::Rolling => self.jump(frame),
            Phase::Stopped => {
                self.place = frame;
                if self.controls.play && !self.controls.follow {
                    self.begin();
                }
            }
            Phase::CountIn | Phase::Rest => {
                self.place = frame;
                self.begin();
            }
        }
    }

    /// While rolling, goes to `frame`; it is reached after a lead-in, so that a pluck there keeps
    /// its attack.
    fn jump(&mut self, frame: f64) {
        let lead = self.fade as f64 * self.speed();
        let speed = self.speed();
        if let Some(track) = &mut self.track {
            track.head.set_speed(speed);
            track.head.seek((frame - lead).max(0.0));
        }
        self.cursor = self.first_click(frame);
        self.decided = false;
    }

    /// Runs: from where it stopped, or from the loop's start.
    fn begin(&mut self) {
        let Some(track) = &self.track else { return };
        let mut from = self.place;
        match self.region() {
            Some((a, b)) if from < a || from >= b - 0.5 => from = a,
            Some(_) => {}
            None if self.ended || from >= track.head.end() - 0.5 => from = 0.0,
            None => {}
        }
        self.ended = false;
        self.place = from;
        self.restart_ladder();
        let bars = i64::from(self.count_in);
        let beats = self.pulse.as_ref().map_or(0, |p| p.per_bar() * bars);
        if beats > 0 {
            self.wait_from(Phase::CountIn, from, from, beats as f64, true);
        } else {
            self.roll(from, true);
        }
    }

    /// The recording sounds from `from` on, after a short lead-in where there is room for one.
    fn roll(&mut self, from: f64, lead: bool) {
        self.lead_in(from, lead);
        self.phase = Phase::Rolling;
        self.cursor = self.first_click(from);
    }

    fn lead_in(&mut self, from: f64, lead: bool) {
        let speed = self.speed();
        let lead = if lead { self.fade as f64 * speed } else { 0.0 };
        let silent = self.gain.silent();
        let Some(track) = &mut self.track else { return };
        if silent {
            track.head.cut();
        }
        track.head.set_speed(speed);
        if from >= lead && from > 0.0 {
            track.head.seek(from - lead);
            self.gain.aim(1.0, self.fade as u32);
        } else {
            track.head.seek(from);
            self.gain = Ramp::at(1.0);
        }
    }

    fn stop(&mut self) {
        if self.phase == Phase::Rolling {
            self.place = self.position();
        }
        self.phase = Phase::Stopped;
        self.gain.aim(0.0, self.fade as u32);
        self.ticker.clear();
    }
}

/// The host's place at a frame.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct HostPlace {
    pub running: bool,
    /// Quarter notes after the host's start.
    pub quarters: f64,
    /// Quarter notes a frame.
    pub pace: f64,
}

/// A count-in or a rest, in beats.
#[derive(Debug, Clone, Copy, Default)]
struct Wait {
    /// Place on the beat line now.
    beat: f64,
    /// Beats a frame.
    step: f64,
    /// Next whole beat to be clicked.
    next: i64,
    /// Frames left.
    left: usize,
    /// Where the recording goes on.
    goal: f64,
    /// Has the head begun its lead-in?
    led: bool,
}
