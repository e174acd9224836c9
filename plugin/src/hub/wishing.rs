//! Carrying out what a player wishes: parameters through the host, set-ups, and all else as marks.

use super::{Desk, Hub, locked};
use crate::params::{Channels, MARKS};
use crate::wish::Wish;
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::*;
use thumbline::unit::Seconds;

/// A stretch that is heard once.
#[derive(Clone, Copy)]
pub(super) enum Once {
    /// It was asked for.
    Asked(Seconds, Seconds),
    /// It sounds.
    Heard(Seconds, Seconds),
}

impl Hub {
    /// Carries out a wish; parameters are set through the host where `gui` is given.
    pub fn apply(&self, action: Wish, gui: Option<&GuiContext>) {
        let dials = &self.dials;
        match action {
            Wish::HearOnce(from, to) => {
                self.apply(Wish::Seek(from), gui);
                self.apply(Wish::Play(true), gui);
                locked(&self.desk).once = Some(Once::Asked(from, to));
            }
            Wish::Play(on) => {
                locked(&self.desk).once = None;
                self.feet.play.set(on);
                set(gui, &dials.play, on);
            }
            Wish::SetLoop(on) => {
                self.feet.looped.set(on);
                set(gui, &dials.looped, on);
            }
            Wish::SetSpeed(speed) => set(gui, &dials.speed, (speed * 100.0) as f32),
            Wish::SetPitch(semitones) => {
                let whole = semitones.round();
                set(gui, &dials.pitch, whole as f32);
                set(gui, &dials.cents, ((semitones - whole) * 100.0) as f32);
            }
            Wish::SetClick(on) => set(gui, &dials.click, on),
            Wish::SetClickLevel(db) => set(gui, &dials.click_level, db as f32),
            Wish::SetGain(db) => set(gui, &dials.gain, db as f32),
            Wish::SetThrough(on) => set(gui, &dials.through, on),
            Wish::FollowHost(on) => set(gui, &dials.follow, on),
            Wish::SetChannels(channels) => {
                set::<EnumParam<Channels>>(gui, &dials.channels, channels);
            }
            Wish::UseSetUp(index) => self.use_set_up(index, gui),
            other => {
                self.mark(other);
                // So that the host knows its project has changed.
                let next = (dials.marks.value() + 1) % MARKS;
                set(gui, &dials.marks, next);
            }
        }
    }

    fn use_set_up(&self, index: usize, gui: Option<&GuiContext>) {
        let Some(set_up) = self.set_ups.get(index) else {
            return;
        };
        if let Some(speed) = set_up.speed {
            self.apply(Wish::SetSpeed(speed), gui);
        }
        if let Some(on) = set_up.looped {
            self.apply(Wish::SetLoop(on), gui);
        }
        if let Some(on) = set_up.click {
            self.apply(Wish::SetClick(on), gui);
        }
        let ladder = {
            let mut session = self.dials.store.lock();
            session.merge(set_up.session.clone());
            session.ladder
        };
        // Tells the deck all of practice, and the host that its project has changed.
        self.apply(Wish::SetLadder(ladder), gui);
    }
}

/// Sets a parameter as a player's own gesture.
fn set<P: Param>(gui: Option<&GuiContext>, param: &P, value: P::Plain) {
    if let Some(gui) = gui {
        let setter = gui.param_setter();
        setter.begin_set_parameter(param);
        setter.set_parameter(param, value);
        setter.end_set_parameter(param);
    }
}

impl Desk {
    /// Has the stretch that was to be heard once gone by?
    pub(super) fn heard_once(&mut self) -> bool {
        let Some(state) = self.state else {
            return false;
        };
        match self.once {
            // The place may still be the one before.
            Some(Once::Asked(from, to)) if (from..to).contains(&state.position) => {
                self.once = Some(Once::Heard(from, to));
                false
            }
            Some(Once::Heard(from, to)) if !(from..to).contains(&state.position) => {
                self.once = None;
                true
            }
            _ => false,
        }
    }
}
