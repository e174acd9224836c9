//! The end of a deck that lives on the audio thread.
//!
//! It owns all it plays. [`Player::process`] allocates, frees, locks and waits never; what it no
//! longer needs goes back over a ring, and while that ring is full no further message is read.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::aside::Asides;
use super::calibrate;
use super::capture::{Source, Tap};
use super::click::Ticker;
use super::controls::{Controls, factor};
use super::limiter::Limiter;
use super::message::{Event, Message, Phase, Retired, Shared};
use super::pulse::Accent;
use super::ramp::{Ramp, eased};
use super::transport::{HostPlace, PIECE, Transport};
use rtrb::{Consumer, Producer};
use std::cell::Cell;
use std::marker::PhantomData;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

/// Gains move to a new value in this time: no step is heard, no delay felt.
const SMOOTH_MS: f64 = 10.0;

/// The host's transport at the first frame of a block.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Host {
    /// Is it running?
    pub playing: bool,
    /// Quarter notes after its start.
    pub quarters: Option<f64>,
    /// Quarter notes a minute.
    pub tempo: Option<f64>,
}

/// One call's buffers, any length.
pub struct Block<'a> {
    /// The input on entry, the output on return.
    pub left: &'a mut [f32],
    /// As `left`; where the lengths differ, the shorter one counts.
    pub right: &'a mut [f32],
    /// The side input; may be shorter than the rest.
    pub side: Option<(&'a [f32], &'a [f32])>,
    /// The host's transport; none where there is no host.
    pub host: Option<Host>,
}

/// Things that wait for room in the ring to go back.
const KEPT: usize = 4;

/// Calibration under way.
struct Calibration {
    tap: Box<Tap>,
    frame: usize,
    next: usize,
}

/// The audio thread's end of a deck.
pub struct Player {
    rate: u32,
    inbox: Consumer<Message>,
    outbox: Producer<Retired>,
    events: Producer<Event>,
    shared: Arc<Shared>,
    kept: [Option<Retired>; KEPT],
    controls: Controls,
    transport: Transport,
    asides: Asides,
    tap: Option<Box<Tap>>,
    calibration: Option<Calibration>,
    echo: Ticker,
    matrix: [Ramp; 4],
    gain: Ramp,
    click: [Ramp; 2],
    through: Ramp,
    bypass: Ramp,
    limiter: Limiter,
    dry: Vec<[f32; 2]>,
    dry_at: usize,
    clock: u64,
    /// Only one thread may use it at a time.
    not_sync: PhantomData<Cell<()>>,
}

fn smooth(rate: u32) -> u32 {
    (SMOOTH_MS / 1000.0 * f64::from(rate)) as u32
}

/// Samples that are not finite are silence.
fn sound(sample: f32) -> f32 {
    if sample.is_finite() { sample } else { 0.0 }
}

impl Player {
    pub(super) fn new(
        rate: u32,
        inbox: Consumer<Message>,
        outbox: Producer<Retired>,
        events: Producer<Event>,
        shared: Arc<Shared>,
    ) -> Self {
        let controls = Controls::default();
        let level = factor(controls.click_level);
        Self {
            rate,
            inbox,
            outbox,
            events,
            shared,
            kept: [const { None }; KEPT],
            transport: Transport::new(rate),
            asides: Asides::new(smooth(rate)),
            tap: None,
            calibration: None,
            echo: Ticker::new(f64::from(rate)),
            matrix: controls.channels.matrix().map(Ramp::at),
            gain: Ramp::at(factor(controls.gain)),
            click: [Ramp::at(level), Ramp::at(level)],
            through: Ramp::at(f32::from(u8::from(controls.through))),
            bypass: Ramp::at(f32::from(u8::from(controls.bypass))),
            limiter: Limiter::new(rate, true),
            dry: std::iter::repeat_n([0.0; 2], Limiter::latency(rate)).collect(),
            dry_at: 0,
            clock: 0,
            controls,
            not_sync: PhantomData,
        }
    }

    /// Frames by which the output is late against the input, and everything it renders against the
    /// host's place.
    pub fn latency(&self) -> usize {
        Limiter::latency(self.rate)
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Output frames rendered so far.
    pub fn clock(&self) -> u64 {
        self.clock
    }

    /// The limiter only delays from now on (for offline renders whose level must not be touched).
    pub fn without_limiter(mut self) -> Self {
        self.limiter = Limiter::new(self.rate, false);
        self
    }

    /// What the transport does.
    pub fn phase(&self) -> Phase {
        self.transport.phase()
    }

    /// Sets the controls, from the next frame on (after the messages that wait).
    pub fn set_controls(&mut self, controls: Controls) {
        let controls = controls.mended();
        if controls == self.controls {
            return;
        }
        let frames = smooth(self.rate);
        for (ramp, target) in self.matrix.iter_mut().zip(controls.channels.matrix()) {
            ramp.aim(target, frames);
        }
        self.gain.aim(factor(controls.gain), frames);
        // Equal power: −3 dB a side in the middle, brought up so that the middle keeps its level.
        let angle = f64::from(controls.click_pan + 1.0) * std::f64::consts::FRAC_PI_4;
        let level = factor(controls.click_level) * std::f32::consts::SQRT_2;
        self.click[0].aim(level * angle.cos() as f32, frames);
        self.click[1].aim(level * angle.sin() as f32, frames);
        let flag = |on: bool| f32::from(u8::from(on));
        self.through.aim(flag(controls.through), frames);
        self.bypass.aim(flag(controls.bypass), frames);
        self.controls = controls;
    }

    /// The controls in force.
    pub fn controls(&self) -> Controls {
        self.controls
    }

    fn retire(&mut self, thing: Retired) {
        if let Err(rtrb::PushError::Full(thing)) = self.outbox.push(thing)
            && let Some(slot) = self.kept.iter_mut().find(|slot| slot.is_none())
        {
            // There is always a slot: no message is read while one is taken, and a message
            // retires at most two things.
            *slot = Some(thing);
        }
    }

    fn listen(&mut self) {
        for i in 0..KEPT {
            if let Some(thing) = self.kept[i].take()
                && let Err(rtrb::PushError::Full(thing)) = self.outbox.push(thing)
            {
                self.kept[i] = Some(thing);
                return;
            }
        }
        if let Some(old) = self.transport.take_leaving() {
            self.retire(Retired::Track(old));
        }
        if self.kept.iter().all(Option::is_none)
            && let Some(done) = self.asides.take_done()
        {
            self.retire(Retired::Aside(done));
        }
        while self.kept.iter().all(Option::is_none)
            && let Ok(message) = self.inbox.pop()
        {
            self.obey(message);
        }
    }

    fn obey(&mut self, message: Message) {
        let transport = &mut self.transport;
        let back = match message {
            Message::Load(track) => transport.load(Some(track), false),
            Message::Replace(track) => transport.load(Some(track), true),
            Message::Unload => transport.load(None, false),
            Message::Onsets(onsets) => Some(Retired::Onsets(transport.set_onsets(onsets))),
            Message::Pulse(pulse) => transport.set_pulse(pulse).map(Retired::Pulse),
            Message::Beside(aside) => self.asides.put(aside).map(Retired::Aside),
            Message::Record(tap) => self.tap.replace(tap).map(Retired::Tap),
            Message::StopRecording => self.tap.take().map(Retired::Tap),
            Message::Calibrate(tap) => {
                let fresh = Calibration {
                    tap,
                    frame: 0,
                    next: 0,
                };
                self.calibration
                    .replace(fresh)
                    .map(|old| Retired::Tap(old.tap))
            }
            other => {
                self.adjust(&other);
                None
            }
        };
        if let Some(thing) = back {
            self.retire(thing);
        }
    }

    fn adjust(&mut self, message: &Message) {
        let transport = &mut self.transport;
        match *message {
            Message::Region(region) => transport.set_region(region),
            Message::Seek(place) => transport.seek(place),
            Message::CountIn(bars) => transport.set_count_in(bars),
            Message::Rest(beats) => transport.set_rest(beats),
            Message::Ladder(ladder) => transport.set_ladder(ladder),
            Message::Climb => transport.climb(),
            _ => {}
        }
    }

    /// Renders one block.
    pub fn process(&mut self, block: &mut Block<'_>) {
        self.listen();
        self.transport.set_controls(self.controls);
        let frames = block.left.len().min(block.right.len());
        let place = self.host_place(block.host);
        let mut done = 0;
        while done < frames {
            let to_tick = PIECE - (self.clock % PIECE as u64) as usize;
            let n = to_tick.min(frames - done);
            let host = HostPlace {
                quarters: place.quarters + place.pace * done as f64,
                ..place
            };
            self.piece(block, done, n, host);
            self.clock += n as u64;
            done += n;
        }
        self.publish();
    }

    fn host_place(&self, host: Option<Host>) -> HostPlace {
        let host = host.unwrap_or_default();
        let tempo = host.tempo.filter(|t| t.is_finite() && *t > 0.0);
        match (host.quarters.filter(|q| q.is_finite()), tempo) {
            (Some(quarters), Some(tempo)) => HostPlace {
                running: host.playing,
                quarters,
                pace: tempo / 60.0 / f64::from(self.rate),
            },
            _ => HostPlace::default(),
        }
    }

    fn piece(&mut self, block: &mut Block<'_>, from: usize, n: usize, host: HostPlace) {
        let (mut left, mut right, mut click) = ([0.0; PIECE], [0.0; PIECE], [0.0; PIECE]);
        let (position, speed) = (self.transport.position(), self.transport.sounding_speed());
        let events = &mut self.events;
        self.transport.render(
            &mut left[..n],
            &mut right[..n],
            &mut click[..n],
            self.clock,
            host,
            &mut |event| {
                // A full ring: the deck is not being looked after; it will see the state instead.
                let _ = events.push(event);
            },
        );
        let mut beside = [[0.0; 2]; PIECE];
        beside[..n].fill_with(|| self.asides.next());
        let mut played = [0.0; PIECE];
        let (gain, ticks) = (0.5 * self.gain.value(), self.click[0].value());
        for (i, played) in played[..n].iter_mut().enumerate() {
            let all = left[i] + right[i] + beside[i][0] + beside[i][1];
            *played = all * gain + click[i] * ticks;
        }
        self.meter(block, from, n);
        self.record(block, (from, n), &played, position, speed);
        self.calibrate(block, from, n, &mut click[..n]);
        for i in 0..n {
            let (l, r) = (left[i], right[i]);
            let [a, b, c, d] = [0, 1, 2, 3].map(|k: usize| self.matrix[k].next());
            let gain = self.gain.next();
            let input = [sound(block.left[from + i]), sound(block.right[from + i])];
            let through = eased(self.through.next());
            let mix = [
                (a * l + b * r + beside[i][0]) * gain
                    + click[i] * self.click[0].next()
                    + input[0] * through,
                (c * l + d * r + beside[i][1]) * gain
                    + click[i] * self.click[1].next()
                    + input[1] * through,
            ];
            let wet = self.limiter.next(mix);
            let dry = std::mem::replace(&mut self.dry[self.dry_at], input);
            self.dry_at = (self.dry_at + 1) % self.dry.len();
            let bypass = eased(self.bypass.next());
            let out = if bypass == 0.0 {
                wet
            } else if bypass == 1.0 {
                dry
            } else {
                [0, 1].map(|k: usize| wet[k] + (dry[k] - wet[k]) * bypass)
            };
            Shared::raise(&self.shared.peak, out[0].abs().max(out[1].abs()));
            block.left[from + i] = out[0];
            block.right[from + i] = out[1];
        }
    }

    /// The input that a take is recorded from.
    fn take_input(block: &Block<'_>, at: usize) -> [f32; 2] {
        match block.side {
            Some((l, r)) => [l, r].map(|side| side.get(at).copied().map_or(0.0, sound)),
            None => [sound(block.left[at]), sound(block.right[at])],
        }
    }

    /// How loud the input of takes is, recorded or not.
    fn meter(&self, block: &Block<'_>, from: usize, n: usize) {
        let mut peak = 0.0_f32;
        for at in from..from + n {
            let [left, right] = Self::take_input(block, at);
            peak = peak.max(left.abs()).max(right.abs());
        }
        Shared::raise(&self.shared.input, peak);
    }

    fn record(
        &mut self,
        block: &Block<'_>,
        (from, n): (usize, usize),
        played: &[f32],
        position: f64,
        speed: f64,
    ) {
        let Some(tap) = &mut self.tap else { return };
        let running = match tap.source {
            Source::Track => block.host.is_none_or(|host| host.playing),
            Source::Take => self.transport.phase() != Phase::Stopped,
        };
        if !running && !tap.always {
            return;
        }
        let rate = f64::from(self.rate);
        tap.place(position / rate, speed);
        for (at, played) in (from..from + n).zip(played) {
            let frame = match tap.source {
                Source::Track => [sound(block.left[at]), sound(block.right[at])],
                Source::Take => Self::take_input(block, at),
            };
            tap.push(frame, *played);
        }
        self.shared.recorded.store(tap.written(), Relaxed);
        self.shared.dropped.store(tap.dropped(), Relaxed);
    }

    fn calibrate(&mut self, block: &Block<'_>, from: usize, n: usize, click: &mut [f32]) {
        let Some(calibration) = &mut self.calibration else {
            return;
        };
        for at in from..from + n {
            calibration.tap.push(Self::take_input(block, at), 0.0);
        }
        while calibration.next < calibrate::CLICKS {
            let due = calibrate::frame_of(calibration.next, self.rate);
            if due >= calibration.frame + n {
                break;
            }
            self.echo
                .strike(Accent::Bar, due.saturating_sub(calibration.frame));
            calibration.next += 1;
        }
        calibration.frame += n;
        self.echo.add(click);
        if calibration.frame as f64 >= calibrate::LENGTH * f64::from(self.rate)
            && let Some(done) = self.calibration.take()
        {
            self.retire(Retired::Tap(done.tap));
            let _ = self.events.push(Event::Calibrated);
        }
    }

    fn publish(&mut self) {
        let shared = &self.shared;
        shared.phase.store(self.transport.phase().code(), Relaxed);
        let position = self.transport.position();
        shared.position.store(position, Relaxed);
        let speed = match self.transport.sounding_speed() {
            0.0 => self.transport.speed(),
            speed => speed,
        };
        shared.speed.store(speed, Relaxed);
        shared.round.store(self.transport.round(), Relaxed);
        shared
            .beats_left
            .store(self.transport.beats_left(), Relaxed);
        Shared::raise(&shared.reduction, self.limiter.take_reduction_db());
        let aside = self.asides.at().map_or(u64::MAX, |at| at as u64);
        shared.aside.store(aside, Relaxed);
        shared.clock.store(self.clock, Relaxed);
    }
}
