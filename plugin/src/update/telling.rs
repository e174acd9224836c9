//! What the audio thread is told of the state.

use crate::effect::Effect;
use crate::onsets;
use crate::snapshot::AnalysisView;
use crate::state::State;
use std::sync::Arc;
use thumbline::deck::{Ladder, Message, Pulse, Track};
use thumbline::recording::Recording;
use thumbline::stretch::OnsetTable;

/// What was heard: where the stretch engine keeps it sharp, and the beat.
pub fn analysis(state: &State, out: &mut Vec<Effect>) {
    let (AnalysisView::Ready(analysis), Some(part)) = (&state.hearing.view, &state.open.part)
    else {
        return;
    };
    let onsets = onsets::of_notes(analysis, &part.sound);
    let click = state.session.click_rate;
    let rate = part.sound.rate();
    let pulse = Pulse::new(&analysis.grid, rate, click, state.hearing.swing);
    out.push(Effect::Deck(Message::Onsets(onsets)));
    out.push(Effect::Deck(Message::Pulse(pulse.map(Box::new))));
}

/// The loop's ends.
pub fn region(state: &State, out: &mut Vec<Effect>) {
    let region = state.marks().and_then(|m| m.region.as_ref());
    let ends = region.map(|r| (r.from, r.to));
    out.push(Effect::Deck(Message::Region(ends)));
}

/// Count-in, rest and ladder.
pub fn practice(state: &State, out: &mut Vec<Effect>) {
    let session = &state.session;
    let ladder = session.ladder;
    out.push(Effect::Deck(Message::CountIn(session.count_in_bars)));
    out.push(Effect::Deck(Message::Rest(session.rest_beats)));
    out.push(Effect::Deck(Message::Ladder(ladder.on.then_some(Ladder {
        start: ladder.start,
        step: ladder.step,
        rounds: ladder.rounds,
        top: ladder.top,
        asks: ladder.within_ms.is_some(),
    }))));
}

/// Everything that does not come with the recording.
pub fn restate(state: &State, out: &mut Vec<Effect>) {
    region(state, out);
    practice(state, out);
}

/// A sound made ready for the audio thread.
pub fn track(sound: &Arc<Recording>, onsets: &Arc<OnsetTable>) -> Option<Box<Track>> {
    let track = Track::new(Arc::clone(sound), Arc::clone(onsets), sound.rate());
    track.ok().map(Box::new)
}

/// Puts a sound in the recording's place; where it plays, it plays on.
pub fn replace(sound: &Arc<Recording>, onsets: &Arc<OnsetTable>, out: &mut Vec<Effect>) {
    out.extend(track(sound, onsets).map(|track| Effect::Deck(Message::Replace(track))));
}
