//! What is heard of the recording: all of it, one hand held back, or a take beside it.

use super::{opening, telling};
use crate::effect::Effect;
use crate::services::{Job, mix};
use crate::snapshot::Hear;
use crate::state::{Mixed, State};
use std::sync::Arc;
use thumbline::separate::Balance;

/// Chooses what is heard.
pub fn hear(state: &mut State, hear: Hear, out: &mut Vec<Effect>) {
    if let Hear::Balance(dial) = hear {
        state.marks_mut().balance = Balance::at(dial).dial();
        out.push(Effect::Changed);
    }
    state.mix.hear = hear;
    begin(state, out);
}

/// Makes what is to be heard, or goes back to the recording itself.
pub fn begin(state: &mut State, out: &mut Vec<Effect>) {
    opening::give_up(&mut state.mix.job, out);
    let job = match source(state) {
        Ok(Some(job)) => job,
        Ok(None) => return unmix(state, out),
        Err(why) => {
            state.notice(why, false);
            state.mix.hear = Hear::default();
            return unmix(state, out);
        }
    };
    let id = state.job();
    state.mix.job = Some(id);
    out.push(Effect::Start(id, Box::new(Job::Mix(job))));
}

/// What the command needs; none for the recording itself.
fn source(state: &State) -> Result<Option<mix::Job>, &'static str> {
    let (Some(heard), Some(part)) = (state.hearing.view.ready(), &state.open.part) else {
        // It is made when the notes are there.
        return Ok(None);
    };
    let of = match state.mix.hear {
        Hear::Balance(0.0) => return Ok(None),
        Hear::Balance(dial) => mix::Of::Balance(dial),
        Hear::Beside(index) => laid(state, index, mix::Laid::Beside)?,
        Hear::Alone(index) => laid(state, index, mix::Laid::Alone)?,
        Hear::InTurn(index) => laid(state, index, mix::Laid::InTurn)?,
    };
    Ok(Some(mix::Job {
        sound: Arc::clone(&part.sound),
        heard: Arc::clone(heard),
        of,
    }))
}

/// A take, to be heard so.
fn laid(state: &State, index: usize, how: mix::Laid) -> Result<mix::Of, &'static str> {
    let take = state
        .takes
        .get(index)
        .ok_or("That take is not here any more")?;
    let answer = take
        .answer
        .as_ref()
        .ok_or("The take has not been compared yet")?;
    let round = answer
        .found
        .rounds
        .last()
        .ok_or("The take seems to be another tune")?;
    let path = take.take.path.clone();
    Ok(mix::Of::Take(path, Box::new(round.clone()), how))
}

/// It is made, or cannot be.
pub fn made(state: &mut State, made: mix::Answer, out: &mut Vec<Effect>) {
    state.mix.job = None;
    match made {
        Ok((sound, onsets)) => {
            telling::replace(&sound, &onsets, out);
            state.mix.made = Some(Mixed {
                hear: state.mix.hear,
                sound,
                onsets,
            });
        }
        Err(why) => {
            state.notice(format!("That cannot be played: {why}"), false);
            state.mix.hear = Hear::default();
            unmix(state, out);
        }
    }
}

fn unmix(state: &mut State, out: &mut Vec<Effect>) {
    if state.mix.made.take().is_some()
        && let Some(part) = &state.open.part
    {
        telling::replace(&part.sound, &part.onsets, out);
        telling::analysis(state, out);
    }
}
