//! The transport: what sounds next of the recording and of the click.
//!
//! A small machine of four phases (stopped, count-in, rolling, rest). It renders in pieces of at
//! most [`PIECE`] frames, cut wherever something happens, so what it renders does not depend on
//! the host's block sizes.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::click::Ticker;
use super::controls::{Controls, Ladder};
use super::head::{Head, Leg};
use super::message::{Event, Phase, Retired};
use super::pulse::{Accent, Pulse};
use super::ramp::{Ramp, eased};
use crate::recording::Recording;
use crate::stretch::{OnsetTable, Stretcher};
use crate::unit::Seconds;
use std::sync::Arc;

/// Most frames rendered at once; speed and the host's place are looked at this often.
pub(super) const PIECE: usize = 32;

/// A start, a stop and a lead-in take this long: short enough to keep a pluck, long enough not to
/// click (the join's 3 ms of the stretch engine).
const FADE_MS: f64 = 3.0;

/// Shortest loop in seconds.
const SHORTEST: f64 = 0.05;

/// The host has jumped when its place differs by more than this from where it should be.
const HOST_JUMP_MS: f64 = 5.0;

/// Where the recording is further from the host's place than this, it is put there.
const HOST_LOST_MS: f64 = 60.0;

/// Seconds ahead at which the recording is aimed at the host's place: about one hop of the engine.
const HOST_AIM: f64 = 0.03;

/// A recording ready to be played: its samples and an engine of its own.
pub struct Track {
    head: Head,
}

/// The recording's rate is not the output's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the recording has {recording} frames a second, the output {output}: resample it first")]
pub struct RateMismatch {
    /// The recording's rate in Hz.
    pub recording: u32,
    /// The output's.
    pub output: u32,
}

impl Track {
    /// Prepares `recording`, which must be at the output's rate.
    ///
    /// # Errors
    /// [`RateMismatch`] when it is not.
    pub fn new(
        recording: Arc<Recording>,
        onsets: Arc<OnsetTable>,
        rate: u32,
    ) -> Result<Self, RateMismatch> {
        if recording.rate() != rate {
            return Err(RateMismatch {
                recording: recording.rate(),
                output: rate,
            });
        }
        Ok(Self {
            head: Head::new(Stretcher::new(recording, onsets)),
        })
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

/// Frames of a lead-in.
pub(super) fn lead_in(rate: u32) -> usize {
    (FADE_MS / 1000.0 * f64::from(rate)) as usize
}

/// What happens at the end of what plays.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Edge {
    /// Stop.
    End,
    /// Go on at the loop's start.
    Back,
    /// Rest, then go on at the loop's start.
    Rest,
    /// The engine minds the seam.
    None,
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

    pub(super) fn set_ladder(&mut self, ladder: Option<Ladder>) {
        let fresh = self.ladder.is_none();
        self.ladder = ladder.map(Ladder::mended);
        if let Some(ladder) = self.ladder {
            if fresh {
                self.ladder_speed = ladder.start;
                self.rounds_on_step = 0;
            }
            self.ladder_speed = self.ladder_speed.min(ladder.top);
        }
    }

    pub(super) fn climb(&mut self) {
        self.may_climb = true;
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

    fn restart_ladder(&mut self) {
        if let Some(ladder) = self.ladder {
            self.ladder_speed = ladder.start.min(ladder.top);
        }
        self.rounds_on_step = 0;
        self.may_climb = false;
        self.decided = false;
        self.round = 0;
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

    fn rests(&self) -> bool {
        self.rest > 0 && self.pulse.is_some()
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

    /// Counts or rests `beats` beats; `before` counts towards `place`, else on from it.
    fn wait_from(&mut self, phase: Phase, place: f64, goal: f64, beats: f64, before: bool) {
        let Some(pulse) = &self.pulse else { return };
        let step = self.speed() / pulse.length_at(place);
        let here = pulse.beat_at(place);
        let first = if before { here - beats } else { here };
        // A loop that begins or ends on a beat does so to a few microseconds only.
        let next = (first - 1e-3).ceil() as i64;
        self.wait = Wait {
            beat: first,
            step,
            next,
            left: (beats / step).round() as usize,
            goal,
            led: false,
        };
        self.place = goal;
        self.phase = phase;
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

    /// Renders the next frames (at most [`PIECE`]): the recording into `left` and `right`, the
    /// click into `click`, all of one length and silent before. `clock` is the output frame of the
    /// first of them; pieces never reach across a multiple of [`PIECE`].
    pub(super) fn render(
        &mut self,
        left: &mut [f32],
        right: &mut [f32],
        click: &mut [f32],
        clock: u64,
        host: HostPlace,
        tell: &mut dyn FnMut(Event),
    ) {
        let frames = left.len();
        self.clock = clock;
        if clock.is_multiple_of(PIECE as u64) {
            self.control(host, tell);
        }
        let mut done = 0;
        while done < frames {
            let n = self.span(frames - done);
            let (l, r) = (&mut left[done..done + n], &mut right[done..done + n]);
            self.voices(l, r);
            match self.phase {
                Phase::Stopped => {}
                Phase::CountIn | Phase::Rest => self.wait_on(n),
                Phase::Rolling => self.roll_on(n, tell),
            }
            self.ticker.add(&mut click[done..done + n]);
            done += n;
            self.clock = clock + done as u64;
            self.pass(tell);
        }
    }

    /// What is looked at once a piece: speed, ladder, host.
    fn control(&mut self, host: HostPlace, tell: &mut dyn FnMut(Event)) {
        if self.controls.follow {
            self.follow(host, tell);
            return;
        }
        self.host = host;
        self.decide_ladder_ahead();
        let speed = self.speed();
        if let Some(track) = &mut self.track {
            track.head.set_speed(speed);
            track.head.arm();
        }
    }

    /// Frames until something has to be looked at, 1 to `most`.
    fn span(&self, most: usize) -> usize {
        match (&self.track, self.phase) {
            (_, Phase::Stopped) | (None, _) => most,
            (_, Phase::CountIn | Phase::Rest) => {
                let lead = self.wait.left.saturating_sub(self.fade);
                let stop = if self.wait.led || lead == 0 {
                    self.wait.left
                } else {
                    lead
                };
                most.min(stop.max(1))
            }
            (Some(track), Phase::Rolling) => {
                let (edge, kind) = self.edge();
                if kind == Edge::None {
                    return most;
                }
                let fade = self.fade as f64 * track.head.sounding_speed();
                let soon = track.head.frames_until(edge);
                if kind != Edge::Back && self.gain.target() > 0.0 {
                    most.min(soon).min(track.head.frames_until(edge - fade))
                } else {
                    most.min(soon)
                }
            }
        }
    }

    /// Where what plays ends, and what happens then.
    fn edge(&self) -> (f64, Edge) {
        let Some(track) = &self.track else {
            return (f64::INFINITY, Edge::None);
        };
        match self.region() {
            _ if self.controls.follow => (f64::INFINITY, Edge::None),
            Some(_) if track.head.region().is_some() => (f64::INFINITY, Edge::None),
            Some((_, b)) if self.rests() => (b, Edge::Rest),
            Some((_, b)) => (b, Edge::Back),
            None => (track.head.end(), Edge::End),
        }
    }

    fn voices(&mut self, left: &mut [f32], right: &mut [f32]) {
        if let Some(track) = &mut self.track
            && (!self.gain.silent() || self.gain.target() > 0.0)
        {
            track.head.sound(left, right);
            for (l, r) in left.iter_mut().zip(right.iter_mut()) {
                let g = eased(self.gain.next());
                *l *= g;
                *r *= g;
            }
        }
        if let Some(old) = &mut self.leaving
            && !self.leaving_gain.silent()
        {
            let (mut l, mut r) = ([0.0; PIECE], [0.0; PIECE]);
            let n = left.len();
            old.head.sound(&mut l[..n], &mut r[..n]);
            for i in 0..n {
                let g = eased(self.leaving_gain.next());
                left[i] += l[i] * g;
                right[i] += r[i] * g;
            }
        }
    }

    fn wait_on(&mut self, n: usize) {
        let wait = &mut self.wait;
        let end = wait.beat + n as f64 * wait.step;
        let heard = self.phase == Phase::CountIn || self.controls.click;
        while let Some(pulse) = &self.pulse {
            let offset = ((wait.next as f64 - wait.beat) / wait.step - 1e-6)
                .ceil()
                .max(0.0) as usize;
            if offset >= n || wait.left as f64 * wait.step - (wait.next as f64 - wait.beat) < 1e-3 {
                break;
            }
            if heard {
                let accent = if pulse.starts_bar(wait.next) {
                    Accent::Bar
                } else {
                    Accent::Beat
                };
                self.ticker.strike(accent, offset);
            }
            wait.next += 1;
        }
        wait.beat = end;
        wait.left = wait.left.saturating_sub(n);
        if wait.led
            && let Some(track) = &mut self.track
        {
            track.head.walk(n, |_| {});
        }
    }

    fn roll_on(&mut self, n: usize, tell: &mut dyn FnMut(Event)) {
        let Some(track) = &mut self.track else { return };
        let mut legs = [None::<Leg>; 8];
        let mut count = 0;
        track.head.walk(n, |leg| {
            if count < legs.len() {
                legs[count] = Some(leg);
                count += 1;
            }
        });
        let end = self.clock;
        for leg in legs.iter().flatten() {
            self.clock = end + leg.offset as u64;
            if leg.seam {
                self.cursor = self.first_click(leg.from - leg.speed);
                if let Some((a, _)) = self.region() {
                    self.cursor = self.first_click(a);
                }
                self.seam(tell);
                self.next_round(tell);
            }
            self.click_leg(leg);
        }
        self.clock = end;
    }

    /// Strikes the clicks of a leg: each at the first frame at or after its place.
    fn click_leg(&mut self, leg: &Leg) {
        let Some(pulse) = &self.pulse else { return };
        let stop = self.region().map_or(f64::INFINITY, |(_, b)| b - 0.5);
        while let Some(click) = pulse.click(self.cursor) {
            let offset = ((click.at - leg.from) / leg.speed - 1e-6).ceil().max(0.0);
            if offset >= leg.frames as f64 || click.at >= stop {
                break;
            }
            if self.controls.click {
                self.ticker
                    .strike(click.accent, leg.offset + offset as usize);
            }
            self.cursor += 1;
        }
    }

    /// What happens where a piece ends.
    fn pass(&mut self, tell: &mut dyn FnMut(Event)) {
        match self.phase {
            Phase::Stopped => {}
            Phase::CountIn | Phase::Rest => self.pass_wait(tell),
            Phase::Rolling => self.pass_rolling(tell),
        }
    }

    fn pass_wait(&mut self, tell: &mut dyn FnMut(Event)) {
        let goal = self.wait.goal;
        let lead = self.fade as f64 * self.speed();
        if !self.wait.led && self.wait.left <= self.fade && self.wait.left > 0 && goal >= lead {
            self.lead_in(goal, true);
            self.wait.led = true;
        }
        if self.wait.left == 0 {
            if self.wait.led {
                self.phase = Phase::Rolling;
                self.cursor = self.first_click(goal);
            } else {
                self.roll(goal, false);
            }
            self.next_round(tell);
        }
    }

    fn pass_rolling(&mut self, tell: &mut dyn FnMut(Event)) {
        if self.round == 0 {
            self.next_round(tell);
        }
        let (edge, kind) = self.edge();
        let Some(track) = &mut self.track else { return };
        let at = track.head.position();
        let fade = self.fade as f64 * track.head.sounding_speed();
        if matches!(kind, Edge::End | Edge::Rest) && at >= edge - fade - 1e-6 {
            self.gain.aim(0.0, self.fade as u32);
        }
        if kind == Edge::None || at < edge - 1e-6 {
            return;
        }
        match kind {
            Edge::End => {
                self.stop();
                self.ended = true;
                tell(Event::Ended);
            }
            Edge::Back => {
                self.seam(tell);
                self.decide_ladder();
                let speed = self.speed();
                if let (Some((a, _)), Some(track)) = (self.region(), &mut self.track) {
                    track.head.set_speed(speed);
                    track.head.seek(a);
                    self.cursor = self.first_click(a);
                }
                self.next_round(tell);
            }
            Edge::Rest => {
                self.seam(tell);
                self.decide_ladder();
                if let Some((a, b)) = self.region() {
                    self.wait_from(Phase::Rest, b, a, f64::from(self.rest), false);
                }
            }
            Edge::None => {}
        }
    }

    fn seam(&self, tell: &mut dyn FnMut(Event)) {
        tell(Event::Seam {
            round: self.round,
            clock: self.clock,
        });
    }

    fn next_round(&mut self, tell: &mut dyn FnMut(Event)) {
        self.round = self.round.saturating_add(1);
        self.decided = false;
        tell(Event::Round {
            round: self.round,
            speed: self.speed(),
            clock: self.clock,
        });
    }

    /// Decides the next round's speed once the engine has worked out the seam, so that the change
    /// falls on it.
    fn decide_ladder_ahead(&mut self) {
        let Some(track) = &self.track else { return };
        let due = self.phase == Phase::Rolling
            && !self.decided
            && track
                .head
                .region()
                .is_some_and(|(_, b)| track.head.frontier() >= b);
        if due {
            self.decide_ladder();
            self.decided = true;
        }
    }

    fn decide_ladder(&mut self) {
        let Some(ladder) = self.ladder else { return };
        self.rounds_on_step += 1;
        if self.rounds_on_step >= ladder.rounds && (!ladder.asks || self.may_climb) {
            self.ladder_speed = (self.ladder_speed + ladder.step).min(ladder.top);
            self.rounds_on_step = 0;
            self.may_climb = false;
        }
    }

    /// The host drives: its bars and beats say which frame sounds.
    fn follow(&mut self, host: HostPlace, tell: &mut dyn FnMut(Event)) {
        let before = self.host;
        self.host = HostPlace {
            quarters: host.quarters + host.pace * PIECE as f64,
            ..host
        };
        let (Some(track), Some(pulse)) = (&mut self.track, &self.pulse) else {
            return;
        };
        if !host.running || host.pace <= 0.0 {
            if self.phase == Phase::Rolling {
                self.stop();
            }
            return;
        }
        let goal = pulse.frame_of_host(host.quarters);
        let jump_frames = HOST_JUMP_MS / 1000.0 * self.rate;
        let jumped = !before.running
            || (host.quarters - before.quarters).abs() > host.pace * jump_frames.max(1.0);
        let inside = goal >= 0.0 && goal < track.head.end();
        if !inside {
            if self.phase == Phase::Rolling {
                self.stop();
            }
            return;
        }
        let ahead = |from: f64, by: f64| pulse.frame_of_host(host.quarters + host.pace * by) - from;
        let aim = HOST_AIM * self.rate;
        let lost = (track.head.position() - goal).abs() > HOST_LOST_MS / 1000.0 * self.rate;
        if self.phase != Phase::Rolling || jumped || lost {
            let wanted = ahead(goal, aim) / aim;
            track.head.set_speed(wanted);
            if self.gain.silent() {
                track.head.cut();
            }
            track.head.seek(goal);
            self.gain.aim(1.0, self.fade as u32);
            self.phase = Phase::Rolling;
            self.round = self.round.max(1);
            self.cursor = pulse.first_click(goal);
        }
        let horizon = track.head.horizon();
        let wanted = ahead(track.head.frontier(), horizon + aim) / aim;
        let out = !(0.25..=1.5).contains(&(ahead(goal, aim) / aim));
        if out && !self.out_of_reach {
            tell(Event::OutOfReach);
        }
        self.out_of_reach = out;
        track.head.set_speed(wanted);
    }
}
