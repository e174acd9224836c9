//! What a player's feet and the automation ask for while hands are on the guitar: switches shared
//! with the audio thread, no locks.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::control::{Control, Trigger};
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicU8, AtomicU16, AtomicU32, Ordering};

/// An override of a parameter until the parameter itself moves: nothing, off or on.
#[derive(Debug, Default)]
pub struct Override(AtomicU8);

impl Override {
    /// Asks for it.
    pub fn set(&self, on: bool) {
        self.0.store(1 + u8::from(on), Ordering::Release);
    }

    /// What is asked for.
    pub fn get(&self) -> Option<bool> {
        match self.0.load(Ordering::Acquire) {
            1 => Some(false),
            2 => Some(true),
            _ => None,
        }
    }

    /// The parameter speaks again.
    pub fn clear(&self) {
        self.0.store(0, Ordering::Release);
    }
}

/// Controls in the order of the slots.
pub const CONTROLS: [Control; 9] = [
    Control::Play,
    Control::Loop,
    Control::NextRegion,
    Control::PreviousRegion,
    Control::KeepRound,
    Control::Take,
    Control::Slower,
    Control::Faster,
    Control::Hear,
];

/// The switches.
#[derive(Debug, Default)]
pub struct SharedControls {
    /// Run or stop.
    pub play: Override,
    /// Loop on or off.
    pub looped: Override,
    /// Regions to go on (or back).
    pub hop: AtomicI32,
    /// Counts the sessions that a host has put in: nothing starts by itself after one.
    pub loads: AtomicU32,
    /// What the parameter said when a session was put in last.
    pub loaded_play: AtomicBool,
    /// The host's activation that holds now; a player made for another is not played.
    pub activation: AtomicU32,
    /// Did the callback break, and fall silent?
    pub broke: AtomicBool,
    /// Controls that went down and that the rest of the program carries out, a bit each.
    pressed: AtomicU16,
    learnt: [AtomicU16; CONTROLS.len()],
    learning: AtomicU8,
    heard: AtomicU16,
}

fn code(trigger: Trigger) -> u16 {
    match trigger {
        Trigger::Note(key) => 0x100 | u16::from(key & 0x7f),
        Trigger::Controller(number) => 0x200 | u16::from(number & 0x7f),
    }
}

fn decode(code: u16) -> Option<Trigger> {
    let low = (code & 0x7f) as u8;
    match code & 0x300 {
        0x100 => Some(Trigger::Note(low)),
        0x200 => Some(Trigger::Controller(low)),
        _ => None,
    }
}

impl SharedControls {
    /// Replaces everything that is learnt.
    pub fn learn_all(&self, learnt: &[(Control, Trigger)]) {
        for (slot, control) in self.learnt.iter().zip(CONTROLS) {
            let trigger = learnt.iter().rfind(|(c, _)| *c == control);
            slot.store(trigger.map_or(0, |(_, t)| code(*t)), Ordering::Release);
        }
    }

    /// The next MIDI note or controller is for this control; none stops listening.
    pub fn listen_for(&self, control: Option<Control>) {
        let slot = control.and_then(|c| CONTROLS.iter().position(|k| *k == c));
        self.heard.store(0, Ordering::Release);
        let number = slot.map_or(0, |i| i as u8 + 1);
        self.learning.store(number, Ordering::Release);
    }

    /// What is being learnt.
    pub fn learning(&self) -> Option<Control> {
        let slot = self.learning.load(Ordering::Acquire);
        CONTROLS.get(usize::from(slot).checked_sub(1)?).copied()
    }

    /// What was heard while learning, once.
    pub fn take_heard(&self) -> Option<(Control, Trigger)> {
        let trigger = decode(self.heard.swap(0, Ordering::AcqRel))?;
        let control = self.learning()?;
        self.learning.store(0, Ordering::Release);
        Some((control, trigger))
    }

    /// On the audio thread: the rest of the program has to carry this out.
    pub fn press(&self, control: Control) {
        if let Some(slot) = CONTROLS.iter().position(|c| *c == control) {
            self.pressed.fetch_or(1 << slot, Ordering::AcqRel);
        }
    }

    /// What went down since the last time, a bit each, in the order of [`CONTROLS`].
    pub fn take_pressed(&self) -> u16 {
        self.pressed.swap(0, Ordering::AcqRel)
    }

    /// On the audio thread: a key or controller went down; the control that has learnt it.
    pub fn down(&self, trigger: Trigger) -> Option<Control> {
        let code = code(trigger);
        if self.learning.load(Ordering::Acquire) != 0 {
            self.heard.store(code, Ordering::Release);
            return None;
        }
        let slot = self
            .learnt
            .iter()
            .position(|slot| slot.load(Ordering::Acquire) == code)?;
        Some(CONTROLS[slot])
    }
}
