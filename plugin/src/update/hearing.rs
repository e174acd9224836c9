//! Listening to the recording that is open, and a player's corrections.

use super::{opening, telling};
use crate::effect::Effect;
use crate::services::{Job, analyse, decode};
use crate::snapshot::{AnalysisView, Hear};
use crate::state::{Stage, State};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::recording::Recording;
use thumbline::unit::Seconds;

/// Listens to `sound`, or, where it was heard already, corrects it.
pub fn begin(state: &mut State, sound: Arc<Recording>, out: &mut Vec<Effect>) {
    let Some(hash) = state.open.hash else {
        return;
    };
    opening::give_up(&mut state.hearing.job, out);
    let tuning = state.marks().and_then(|m| m.tuning.clone());
    state.hearing.view = AnalysisView::begun();
    state.open.original = Some(Arc::clone(&sound));
    let id = state.job();
    state.hearing.job = Some(id);
    let job = Job::Analyse(analyse::Job::Recording {
        sound,
        hash,
        tuning,
    });
    out.push(Effect::Start(id, Box::new(job)));
}

/// Listens again: in another tuning, or because it failed.
pub fn again(state: &mut State, out: &mut Vec<Effect>) {
    opening::give_up(&mut state.hearing.job, out);
    opening::give_up(&mut state.hearing.correcting, out);
    state.hearing.heard = None;
    if let Some(original) = state.open.original.clone() {
        begin(state, original, out);
        return;
    }
    // At the file's own rate, as at the first time.
    let known = match (&state.open.stage, &state.open.part, state.open.hash) {
        (Stage::Ready(path), Some(part), Some(hash)) => {
            Some((path.clone(), Arc::clone(&part.sound), hash))
        }
        _ => None,
    };
    if let Some((path, sound, hash)) = known {
        state.hearing.view = AnalysisView::begun();
        opening::errand(state, decode::Job::Again { path, hash, sound }, out);
    }
}

/// More is known while it is listened to.
pub fn progress(
    state: &mut State,
    share: Option<f32>,
    places: Option<Arc<[Seconds]>>,
    notes: Option<Arc<Analysis>>,
) {
    if let AnalysisView::Working {
        progress,
        onsets,
        so_far,
    } = &mut state.hearing.view
    {
        *progress = share.unwrap_or(*progress);
        if let Some(places) = places {
            *onsets = places;
        }
        *so_far = notes.or_else(|| so_far.take());
    }
}

/// The recording was heard.
pub fn heard(state: &mut State, heard: Arc<Analysis>, out: &mut Vec<Effect>) {
    state.hearing.job = None;
    // The samples at the file's own rate are not needed any longer.
    state.open.original = None;
    state.hearing.heard = Some(heard);
    correct(state, out);
}

/// Applies the player's corrections to what was heard.
pub fn correct(state: &mut State, out: &mut Vec<Effect>) {
    let Some(heard) = state.hearing.heard.clone() else {
        return;
    };
    opening::give_up(&mut state.hearing.correcting, out);
    let marks = state.marks();
    let job = Job::Analyse(analyse::Job::Correct {
        heard,
        corrections: Box::new(marks.map(|m| m.corrections.clone()).unwrap_or_default()),
        reading: marks.and_then(|m| m.reading),
    });
    let id = state.job();
    state.hearing.correcting = Some(id);
    out.push(Effect::Start(id, Box::new(job)));
}

/// What is shown and played to is there.
pub fn corrected(
    state: &mut State,
    analysis: Arc<Analysis>,
    pins: Arc<[(usize, Seconds)]>,
    swing: f64,
    out: &mut Vec<Effect>,
) {
    state.hearing.correcting = None;
    state.hearing.swing = swing;
    state.hearing.view = AnalysisView::Ready(analysis);
    state.hearing.pins = pins;
    telling::analysis(state, out);
    if state.mix.hear == Hear::default() {
        let dial = state.marks().map_or(0.0, |m| m.balance);
        state.mix.hear = Hear::Balance(dial);
    }
}
