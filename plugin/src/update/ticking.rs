//! Looking at how things stand outside the state, a few dozen times a second.

use super::{marking, recording, studying, telling};
use crate::control::Control;
use crate::effect::{Dial, Effect};
use crate::message::Tick;
use crate::shared_controls::CONTROLS;
use crate::snapshot::LevelView;
use crate::state::{Once, State};
use thumbline::deck;

/// Ticks between two looks at whether the program's own settings have to be written.
const SAVE: u32 = 47;

/// What a window would show now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// The same.
    Same,
    /// The sound somewhere else, or at another level.
    Moved,
    /// Something else.
    News,
}

/// How things stand.
pub fn look(state: &mut State, tick: Tick, out: &mut Vec<Effect>) -> Seen {
    let sound = sounding(state, tick);
    let mut seen = sound == Seen::News;
    seen |= state.dials != tick.dials
        || state.loop_on != tick.loop_on
        || state.bypassed != tick.bypassed
        || state.learning != tick.learning;
    state.dials = tick.dials;
    state.loop_on = tick.loop_on;
    state.bypassed = tick.bypassed;
    state.learning = tick.learning;
    state.waiting = tick.waiting;
    if tick.hop != 0 {
        marking::hop(state, tick.hop, out);
        seen = true;
    }
    if let Some((control, trigger)) = tick.learnt {
        let learnt = &mut state.session.learnt;
        learnt.retain(|(c, _)| *c != control);
        learnt.push((control, trigger));
        out.push(Effect::LearnControls(learnt.clone()));
        out.push(Effect::Changed);
        seen = true;
    }
    for (slot, control) in CONTROLS.into_iter().enumerate() {
        if tick.pressed & (1 << slot) != 0 {
            stepped(state, control, out);
            seen = true;
        }
    }
    if tick.broke {
        out.push(Effect::Play(false));
        state.notice(
            "The sound stopped: something broke inside Thumbline. Everything you recorded and \
             marked is safe; press Play to go on",
            true,
        );
        seen = true;
    }
    recording::end_of_round(state, out);
    if heard_once(state) {
        out.push(Effect::Play(false));
    }
    save(state, seen || sound != Seen::Same, out);
    if seen { Seen::News } else { sound }
}

/// Steps of the speed that a foot takes.
const STEP: f64 = 0.05;

/// A foot went down on something that the audio thread leaves to the rest.
fn stepped(state: &mut State, control: Control, out: &mut Vec<Effect>) {
    let by = match control {
        Control::Take => {
            let on = state.capture.recording.is_none();
            return recording::record_at_once(state, on, out);
        }
        Control::Hear => return studying::hear(state, out),
        Control::KeepRound => return recording::keep_round(state, out),
        Control::Slower => -STEP,
        Control::Faster => STEP,
        Control::Play | Control::Loop | Control::NextRegion | Control::PreviousRegion => return,
    };
    if state.session.ladder.on {
        // A foot that chooses the speed leaves the ladder.
        state.session.ladder.on = false;
        telling::practice(state, out);
    }
    let speed = (state.dials.speed + by).clamp(0.25, 1.5);
    out.push(Effect::Dial(Dial::Speed(speed)));
}

/// What the audio thread does; the place goes into what is kept.
fn sounding(state: &mut State, tick: Tick) -> Seen {
    let Some(mut now) = tick.sounding else {
        return Seen::Same;
    };
    let mut seen = Seen::News;
    if let Some(before) = state.sounding {
        // Levels fall slowly enough to be seen, and come to rest.
        let fallen = |now: f32, before: f32, rest: f32| {
            let fallen = now.max(before * 0.9);
            if fallen < rest { 0.0 } else { fallen }
        };
        now.peak = fallen(now.peak, before.peak, 1e-5);
        now.input = fallen(now.input, before.input, 1e-5);
        now.reduction_db = fallen(now.reduction_db, before.reduction_db, 1e-3);
        let beside = |s: &deck::State| s.aside.is_some();
        let phase = |s: &deck::State| {
            let speed = s.speed.to_bits();
            (s.phase, s.round, s.beats_left, speed, beside(s))
        };
        let levels = |s: &deck::State| (LevelView::step(s.peak), LevelView::step(s.input));
        // Where it stands, a place that was sought and a level are news; where it runs they go on.
        let runs = now.phase != deck::Phase::Stopped || beside(&now);
        let place = |s: &deck::State| (s.position, s.aside);
        let moved = place(&now) != place(&before) || levels(&now) != levels(&before);
        seen = if phase(&now) != phase(&before) || (moved && !runs) {
            Seen::News
        } else if moved {
            Seen::Moved
        } else {
            Seen::Same
        };
    }
    state.sounding = Some(now);
    if state.open.begun && !tick.waiting && now.clock > 0 {
        state.session.position = now.position;
    }
    seen
}

/// Has the stretch that was to be heard once gone by?
fn heard_once(state: &mut State) -> bool {
    let Some(now) = state.sounding else {
        return false;
    };
    match state.once {
        // The place may still be the one before.
        Some(Once::Asked(from, to)) if (from..to).contains(&now.position) => {
            state.once = Some(Once::Heard(from, to));
            false
        }
        Some(Once::Heard(from, to)) if !(from..to).contains(&now.position) => {
            state.once = None;
            true
        }
        _ => false,
    }
}

/// The program of its own keeps its settings itself, a moment after something changed.
fn save(state: &mut State, seen: bool, out: &mut Vec<Effect>) {
    let revision = state.revision + u64::from(seen);
    let id = state.job();
    let Some(program) = &mut state.program else {
        return;
    };
    program.ticks += 1;
    if program.ticks >= SAVE {
        program.ticks = 0;
        if program.saved != revision {
            program.saved = revision;
            out.push(Effect::Settings(id, program.file.clone()));
        }
    }
}
