//! The process callback: it reads parameters and switches, hands the player the buffers and nothing
//! else. What sounds is the library's deck. Should it break, there is silence, and the host lives on.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::control::{Control, Trigger};
use crate::params::{Channels, Dials};
use crate::player_swap::Runner;
use crate::shared_controls::{Override, SharedControls};
use nice_plug::context::PluginApi;
use nice_plug::midi::Key;
use nice_plug::prelude::*;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use thumbline::deck::{self, Block, Controls, Host, Player};
use thumbline::unit::{Cents, Decibels};

/// Lets the next block of any instance break, to see what becomes of it.
#[doc(hidden)]
pub static TRIP: AtomicBool = AtomicBool::new(false);

/// What the audio thread owns.
pub struct Voice {
    dials: Arc<Dials>,
    switches: Arc<SharedControls>,
    runner: Runner,
    player: Option<Box<Player>>,
    /// Parameters as they were in the last block, to tell when they move.
    play: bool,
    looped: bool,
    next: bool,
    previous: bool,
    /// Did the host's transport run in the last block?
    rolled: bool,
    /// Sessions that were put in until the last block.
    loads: u32,
    /// A session was put in that was saved while it played: it holds still until it is asked to.
    held: bool,
}

/// What a parameter and a switch come to: the one that spoke last.
fn spoken(param: bool, before: &mut bool, switch: &Override) -> bool {
    if param != *before {
        *before = param;
        switch.clear();
    }
    switch.get().unwrap_or(param)
}

/// Did it go down?
fn pressed(now: bool, before: &mut bool) -> bool {
    now && !std::mem::replace(before, now)
}

impl Voice {
    /// A voice that has no player yet.
    pub fn new(dials: Arc<Dials>, switches: Arc<SharedControls>, runner: Runner) -> Self {
        Self {
            play: dials.run.play.value(),
            looped: dials.run.looped.value(),
            next: false,
            previous: false,
            rolled: false,
            loads: switches.loads.load(Ordering::Acquire),
            held: false,
            player: None,
            dials,
            switches,
            runner,
        }
    }

    /// The player, while the host has the audio stopped.
    pub fn player(&mut self) -> &mut Option<Box<Player>> {
        &mut self.player
    }

    /// Run or stop: the parameter, unless a foot or the window spoke since it moved; after a
    /// session was put in not before one of them speaks, or the host's transport starts.
    fn plays(&mut self, rolling: bool) -> bool {
        let starts = rolling && !std::mem::replace(&mut self.rolled, rolling);
        let loads = self.switches.loads.load(Ordering::Acquire);
        if loads != self.loads {
            self.loads = loads;
            self.held = true;
            self.play = self.switches.loaded_play.load(Ordering::Acquire);
            self.switches.play.clear();
        }
        let param = self.dials.run.play.value();
        let moved = param != self.play;
        let on = spoken(param, &mut self.play, &self.switches.play);
        if moved || starts || self.switches.play.get().is_some() {
            self.held = false;
        }
        on && !self.held
    }

    fn controls(&mut self, rolling: bool) -> Controls {
        let play = self.plays(rolling);
        let dials = &self.dials;
        let switches = &self.switches;
        if pressed(dials.run.next.value(), &mut self.next) {
            switches.hop.fetch_add(1, Ordering::AcqRel);
        }
        if pressed(dials.run.previous.value(), &mut self.previous) {
            switches.hop.fetch_sub(1, Ordering::AcqRel);
        }
        let semitones = f64::from(dials.sound.pitch.value());
        Controls {
            play,
            looping: spoken(dials.run.looped.value(), &mut self.looped, &switches.looped),
            speed: f64::from(dials.run.speed.value()) / 100.0,
            pitch: Cents(semitones * 100.0 + f64::from(dials.sound.cents.value())),
            gain: Decibels(f64::from(dials.sound.gain.value())),
            click: dials.click.on.value(),
            click_level: Decibels(f64::from(dials.click.level.value())),
            click_pan: dials.click.pan.value(),
            channels: match dials.sound.channels.value() {
                Channels::Stereo => deck::Channels::Stereo,
                Channels::Left => deck::Channels::Left,
                Channels::Right => deck::Channels::Right,
                Channels::Mid => deck::Channels::Mid,
                Channels::Side => deck::Channels::Side,
            },
            through: dials.track.through.value(),
            bypass: dials.bypass.value(),
            follow: dials.track.follow.value(),
        }
    }

    /// A foot switch: a key or a controller that went down.
    fn step_on(&self, trigger: Trigger, controls: Controls) {
        match self.switches.down(trigger) {
            Some(Control::Play) => self.switches.play.set(!controls.play),
            Some(Control::Loop) => self.switches.looped.set(!controls.looping),
            Some(Control::NextRegion) => {
                self.switches.hop.fetch_add(1, Ordering::AcqRel);
            }
            Some(Control::PreviousRegion) => {
                self.switches.hop.fetch_sub(1, Ordering::AcqRel);
            }
            Some(
                control @ (Control::KeepRound
                | Control::Take
                | Control::Slower
                | Control::Faster
                | Control::Hear),
            ) => self.switches.press(control),
            None => {}
        }
    }

    /// One block. Whatever breaks in it ends here: the block is silent, the player goes back, and
    /// another one is asked for, which stands still until it is asked to play.
    pub fn process<P: Plugin>(
        &mut self,
        buffer: &mut Buffer,
        aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<P>,
    ) {
        let whole = catch_unwind(AssertUnwindSafe(|| self.render(buffer, aux, context)));
        if let Err(panic) = whole {
            // Rather lost than freed here.
            std::mem::forget(panic);
            self.switches.play.set(false);
            self.switches.broke.store(true, Ordering::Release);
            let broken = self.player.take();
            self.runner.retire(broken);
            silence(buffer);
        }
    }

    fn render<P: Plugin>(
        &mut self,
        buffer: &mut Buffer,
        aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<P>,
    ) {
        let rolling = context.transport().playing;
        let controls = self.controls(rolling);
        while let Some(event) = context.next_event() {
            match event {
                NoteEvent::NoteOn {
                    key: Key::Number(key),
                    velocity,
                    ..
                } if velocity > 0.0 => self.step_on(Trigger::Note(key), controls),
                NoteEvent::MidiCC { cc, value, .. } if value >= 0.5 => {
                    self.step_on(Trigger::Controller(cc), controls);
                }
                _ => {}
            }
        }
        let api = context.plugin_api();
        let transport = context.transport();
        let ready = self.runner.heed(&mut self.player, transport.sample_rate);
        let Some(player) = self.player.as_mut().filter(|_| ready) else {
            // The player for this rate is on its way.
            silence(buffer);
            return;
        };
        player.set_controls(controls);
        let host = Host {
            playing: transport.playing,
            quarters: quarters(transport, api),
            tempo: transport.tempo,
        };
        let side = aux.inputs.first_mut().map(Buffer::as_slice);
        let side = match side {
            Some([left, right, ..]) => Some((&**left, &**right)),
            _ => None,
        };
        if let [left, right, ..] = buffer.as_slice() {
            player.process(&mut Block {
                left,
                right,
                side,
                host: Some(host),
            });
        }
        if TRIP.swap(false, Ordering::AcqRel) {
            util::permit_alloc(|| panic!("broken on purpose"));
        }
    }
}

/// The host's place in quarter notes. Of a JACK session the framework's program adds up bar, beat
/// and tick as if both were counted from 0 and every bar had four quarters; JACK counts bars and
/// beats from 1 (jack/transport.h). Where a beat is shorter than a quarter its sum cannot be taken
/// apart again: the place follows from the time then.
pub fn quarters(transport: &Transport, api: PluginApi) -> Option<f64> {
    let place = transport.pos_beats?;
    let (Some(bar), Some(beats), Some(unit)) = (
        transport.bar_number,
        transport.time_sig_numerator,
        transport.time_sig_denominator,
    ) else {
        return Some(place);
    };
    if api != PluginApi::Standalone || unit < 1 {
        return Some(place);
    }
    let beat = 4.0 / f64::from(unit);
    if beat < 1.0 {
        let frames = transport.pos_samples? as f64;
        return Some(frames / f64::from(transport.sample_rate) * transport.tempo? / 60.0 * beat);
    }
    let inside = place - 4.0 * f64::from(bar);
    let count = (inside / beat).floor();
    let part = inside - count * beat;
    let before = f64::from(bar - 1) * f64::from(beats);
    Some((before + count - 1.0 + part) * beat)
}

fn silence(buffer: &mut Buffer) {
    for channel in buffer.as_slice() {
        channel.fill(0.0);
    }
}
