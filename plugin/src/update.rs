//! The one place where an instance's state changes: a message comes in, effects go out. Nothing here
//! reads a file, waits, or takes a lock, so all of it can be tested like arithmetic.
//!
//! Each file knows one part of the state; what goes from one part to another is put together here.

mod dispatch;
mod handing;
mod hearing;
mod looking;
mod marking;
mod mixing;
mod opening;
mod recording;
mod studying;
mod taking;
mod telling;
mod ticking;

use crate::effect::Effect;
use crate::job::JobId;
use crate::message::Message;
use crate::services::{Said, analyse, decode, journal, take_writer};
use crate::snapshot::{About, AnalysisView};
use crate::state::{Stage, State};
use thumbline::deck::Event;
use thumbline::deck::capture::Source;
use ticking::Seen;

/// What a message comes to.
pub fn update(state: &mut State, message: Message) -> Vec<Effect> {
    let mut effects = Vec::new();
    let out = &mut effects;
    let mut seen = Seen::News;
    let ticks = matches!(message, Message::Tick(_));
    match message {
        Message::Command(command) => dispatch::carry_out(state, command, out),
        Message::Restored(session) => opening::restored(state, *session, out),
        Message::Activated(rate) => opening::activated(state, rate, out),
        Message::Unplayable(rate) => {
            state.rate = 0;
            let text = format!(
                "The host runs at {rate} Hz: Thumbline plays at 8,000 to 192,000 Hz, and is silent"
            );
            state.notice(text, true);
        }
        Message::Tick(tick) => seen = ticking::look(state, tick, out),
        Message::Deck(event) => deck(state, event, out),
        Message::Window(open) => {
            state.window = open;
            if open {
                // Now there is somebody to tell.
                taking::find(state, Source::Track, out);
                studying::read_presets(state, out);
            }
        }
        Message::Chosen(purpose, path) => looking::chosen(state, purpose, path, out),
        Message::NoDialog(purpose) => looking::no_dialog(state, purpose, out),
        Message::PageAt(path) => handing::make(state, path, out),
        Message::Said(id, said) => match said {
            Said::Decode(answer) => decoded(state, id, answer, out),
            Said::Analyse(answer) => analysed(state, id, answer, out),
            Said::Mix(answer) => {
                if state.mix.job == Some(id) {
                    mixing::made(state, answer, out);
                }
            }
            Said::Journal(answer) => journalled(state, answer, out),
            Said::Page(answer) => handing::made(state, answer),
            Said::Folder(answer) => looking::found(state, answer),
            Said::Study(answer) => studying::answered(state, id, answer, out),
            Said::Export(answer) => handing::exported(state, id, answer, out),
            Said::Drill(answer) => studying::drilled(state, id, answer, out),
            Said::Sound(channels) => studying::made(state, id, &channels, out),
            Said::TakeWriter(answer) => written(state, id, answer, out),
            Said::Broke(what) => broke(state, id, &what, out),
        },
        Message::Tell(text, grave) => state.notice(text, grave),
    }
    if !ticks {
        studying::follow(state, out);
    }
    state.revision += u64::from(seen != Seen::Same);
    state.news += u64::from(seen == Seen::News);
    effects
}

fn deck(state: &mut State, event: Event, out: &mut Vec<Effect>) {
    match event {
        Event::Ended => {
            recording::stopped(state, out);
            out.push(Effect::Play(false));
        }
        Event::Round { round, .. } => recording::round_begins(state, round, out),
        Event::Seam { round, .. } => recording::seam(state, round, out),
        Event::OutOfReach => state.notice(
            "The host's tempo is too far from the recording's: it plays at 25 to 150 %",
            false,
        ),
        Event::Calibrated => {}
    }
}

fn decoded(state: &mut State, id: JobId, answer: decode::Answer, out: &mut Vec<Effect>) {
    use decode::Answer;
    let opens = state.open.job == Some(id);
    let errs = state.open.errand == Some(id);
    match answer {
        Answer::Part(part) if opens => opening::part(state, part, out),
        Answer::Whole {
            part,
            original,
            hash,
            warnings,
        } if opens => {
            opening::whole(state, part, original, hash, warnings, out);
            taking::read_page(state, out);
            taking::arrive(state, out);
            if state.hearing.heard.is_some() {
                state.open.original = None;
                hearing::correct(state, out);
            } else if let Some(original) = state.open.original.clone() {
                hearing::begin(state, original, out);
            }
        }
        Answer::Gone if opens => {
            opening::gone(state, out);
            if matches!(state.open.stage, Stage::Missing { .. }) {
                taking::arrive(state, out);
            }
        }
        Answer::Failed(reason) if opens => opening::failed(state, reason),
        Answer::Failed(reason) | Answer::NotLocated(reason) if errs => {
            state.open.errand = None;
            state.tell(About::File, reason, true);
        }
        Answer::Located(path) if errs => {
            state.open.errand = None;
            opening::located(state, path, out);
        }
        Answer::Demo(path) if errs => {
            state.open.errand = None;
            opening::choose(state, path, out);
            // The demo says which tuning it is played in, as a player would.
            state.marks_mut().tuning = Some(thumbline::demo::tune().tuning);
        }
        Answer::Again(original) if errs => {
            state.open.errand = None;
            hearing::begin(state, original, out);
        }
        // The answer to a question of before.
        Answer::Part(_)
        | Answer::Whole { .. }
        | Answer::Gone
        | Answer::Failed(_)
        | Answer::NotLocated(_)
        | Answer::Located(_)
        | Answer::Demo(_)
        | Answer::Again(_) => {}
    }
}

fn analysed(state: &mut State, id: JobId, answer: analyse::Answer, out: &mut Vec<Effect>) {
    use analyse::Answer;
    let listens = state.hearing.job == Some(id);
    match answer {
        Answer::Progress(share) if listens => hearing::progress(state, Some(share), None, None),
        Answer::Onsets(places) if listens => hearing::progress(state, None, Some(places), None),
        Answer::SoFar(notes) if listens => hearing::progress(state, None, None, Some(notes)),
        Answer::Heard(heard) if listens => hearing::heard(state, heard, out),
        Answer::Corrected {
            analysis,
            pins,
            swing,
        } if state.hearing.correcting == Some(id) => {
            hearing::corrected(state, analysis, pins, swing, out);
            marking::follow_beats(state, out);
            taking::compare(state, out);
            mixing::begin(state, out);
        }
        Answer::Take { path, heard, sound } => taking::heard(state, &path, heard, sound, out),
        Answer::TakeGone(path) => taking::unheard(state, &path, None),
        Answer::Compared { path, answer } => taking::compared(state, &path, &answer, out),
        Answer::Judged(drift) if state.capture.judging == Some(id) => {
            recording::judged(state, drift, out);
        }
        Answer::Failed {
            take: Some(path),
            reason,
        } => taking::unheard(state, &path, Some(reason)),
        // The answer to a question of before.
        Answer::Progress(_)
        | Answer::Onsets(_)
        | Answer::SoFar(_)
        | Answer::Heard(_)
        | Answer::Corrected { .. }
        | Answer::Judged(_)
        | Answer::Failed { take: None, .. } => {}
    }
}

fn journalled(state: &mut State, answer: journal::Answer, out: &mut Vec<Effect>) {
    use journal::Answer;
    match answer {
        Answer::Kept { take, fault } => taking::kept(state, take, fault, out),
        Answer::Page(recording, page) if state.open.hash == Some(recording) => state.page = page,
        Answer::Page(..) => {}
        Answer::NoSettings(why) => {
            let first = state
                .program
                .as_mut()
                .is_some_and(|p| !std::mem::replace(&mut p.told, true));
            if first {
                state.tell(
                    About::Keeping,
                    format!("Settings cannot be kept: {why}"),
                    true,
                );
            }
        }
    }
}

fn written(state: &mut State, id: JobId, answer: take_writer::Answer, out: &mut Vec<Effect>) {
    use take_writer::Answer;
    let records = state.capture.recording.is_some_and(|r| r.job == id);
    match answer {
        Answer::NotStarted(why) if records => recording::not_started(state, &why, out),
        Answer::Along(told) if records => recording::along(state, told, out),
        Answer::Length(length) => {
            if let Some(recorded) = state.capture.recording.as_mut().filter(|r| r.job == id) {
                recorded.length = length;
            }
        }
        Answer::Done(done) if records => {
            if let Some(path) = taking::written(state, *done, out) {
                opening::choose(state, path, out);
            }
        }
        Answer::Round {
            frames,
            rate,
            before,
            places,
        } if records => recording::round(state, frames, rate, before, places, out),
        Answer::RoundTrip(latency) if state.capture.calibrating == Some(id) => {
            recording::calibrated(state, latency, out);
        }
        Answer::Pitch(pitch) => studying::string_heard(state, id, Some(pitch)),
        Answer::Tuned => studying::string_heard(state, id, None),
        Answer::Found(source, found) => taking::found(state, source, found, out),
        // The answer to a question of before.
        Answer::Along(_)
        | Answer::NotStarted(_)
        | Answer::Done(_)
        | Answer::Round { .. }
        | Answer::RoundTrip(_) => {}
    }
}

/// A job met a fault inside the program: what it was for is given up, everything else goes on.
fn broke(state: &mut State, id: JobId, what: &str, out: &mut Vec<Effect>) {
    let id = Some(id);
    let text = format!("Something broke inside Thumbline: {what}");
    if state.open.job == id {
        opening::failed(state, text);
        return;
    }
    if state.hearing.job == id || state.hearing.correcting == id {
        state.hearing.job = None;
        state.hearing.correcting = None;
        state.hearing.view = AnalysisView::Failed(text.clone());
    } else if state.open.errand == id {
        state.open.errand = None;
    } else if state.mix.job == id {
        mixing::made(state, Err(text), out);
        return;
    } else if state.capture.recording.is_some_and(|r| Some(r.job) == id) {
        recording::not_started(state, what, out);
        return;
    } else if state.capture.calibrating == id {
        state.capture.calibrating = None;
    } else if state.capture.judging == id {
        state.capture.judging = None;
    } else if let Some(id) = id {
        taking::broke(state, id);
    }
    state.notice(text, true);
}
