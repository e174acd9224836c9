//! Takes: those that were recorded, found again or brought along, and what they come to.

use super::opening::give_up;
use crate::data::name_of;
use crate::effect::Effect;
use crate::job::JobId;
use crate::services::take_file::{RecoveredTake, WrittenTake};
use crate::services::take_writer::Order;
use crate::services::{Job, analyse, journal};
use crate::session::TakeRef;
use crate::snapshot::{About, Answer};
use crate::state::{Stage, State, Take, Unkept};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::Comparison;
use thumbline::deck::Message;
use thumbline::deck::capture::{Anchor, Source};
use thumbline::journal::{Moment, Practised, rounds_of};
use thumbline::recording::Recording;
use thumbline::unit::{Seconds, Span};

/// A recording has come to its end; the file to open, where it was the track's.
pub fn written(state: &mut State, written: WrittenTake, out: &mut Vec<Effect>) -> Option<PathBuf> {
    state.capture.recording = None;
    if let Some(fault) = written.fault {
        state.tell(
            About::Take,
            format!(
                "The recording stopped after {:.1} s, which are kept: {fault}",
                written.length.0
            ),
            true,
        );
        out.push(Effect::Deck(Message::StopRecording));
    }
    let dropped = state.sounding.map_or(0, |s| s.dropped);
    let lost = dropped as f64 / f64::from(state.rate.max(1));
    if lost > 0.0 {
        state.tell(
            About::Take,
            format!("{lost:.1} s are missing in the recording: the computer was too busy"),
            true,
        );
    }
    let Some(path) = written.path else {
        state.tell(About::Take, "Nothing was recorded", false);
        return None;
    };
    if written.source == Source::Track {
        return Some(path);
    }
    let index = add(state, path, written.places, written.ended, out);
    if let Some(unkept) = &mut state.takes[index].unkept {
        unkept.kept = std::mem::take(&mut state.capture.kept);
    }
    hear(state, index, out);
    None
}

/// Adds a take to the marks; its place in the list.
fn add(
    state: &mut State,
    path: PathBuf,
    places: Vec<Anchor>,
    ended: Moment,
    out: &mut Vec<Effect>,
) -> usize {
    let take = TakeRef {
        name: format!("take {}", state.takes.len() + 1),
        path,
        places,
        tuning: state.marks().and_then(|m| m.tuning.clone()),
    };
    state.marks_mut().takes.push(take.clone());
    out.push(Effect::Changed);
    state.takes.push(Take {
        unkept: Some(Unkept {
            ended,
            sound: None,
            kept: Vec::new(),
        }),
        ..Take::new(take)
    });
    state.takes.len() - 1
}

/// A file that was recorded elsewhere is laid over the recording as a take. Where it fits the
/// recording is found by comparing them; nothing of it goes into the journal, since nobody knows when
/// it was played.
pub fn bring(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    if !matches!(state.open.stage, Stage::Ready(_)) {
        let text = "Open the recording first: a take is laid over it";
        state.tell(About::Take, text, false);
        return;
    }
    if let Some(index) = state.takes.iter().position(|t| t.take.path == path) {
        show(state, index, true, out);
        return;
    }
    let name = name_of(&path);
    let take = TakeRef {
        name: name
            .rsplit_once('.')
            .map_or(&*name, |(stem, _)| stem)
            .to_owned(),
        path,
        places: vec![Anchor {
            frame: 0,
            at: Seconds(0.0),
            speed: 1.0,
        }],
        tuning: state.marks().and_then(|m| m.tuning.clone()),
    };
    state.marks_mut().takes.push(take.clone());
    out.push(Effect::Changed);
    state.takes.push(Take::new(take));
    hear(state, state.takes.len() - 1, out);
}

/// The recording's identity is known: its takes are those in its marks, and those that were cut
/// short or never kept.
pub fn arrive(state: &mut State, out: &mut Vec<Effect>) {
    let takes = state.marks().map(|m| m.takes.clone()).unwrap_or_default();
    state.takes = takes.into_iter().map(Take::new).collect();
    for index in 0..state.takes.len() {
        hear(state, index, out);
    }
    if let Some(hash) = state.open.hash {
        if let Some(recorded) = state.capture.recording {
            out.push(Effect::TakeWriter(recorded.job, Order::BelongsTo(hash)));
        }
        find(state, Source::Take, out);
    }
}

/// Looks for what was cut short or never kept.
pub fn find(state: &mut State, source: Source, out: &mut Vec<Effect>) {
    let id = state.job();
    let against = state.open.hash;
    out.push(Effect::TakeWriter(id, Order::Find { source, against }));
}

/// What was cut short or never kept.
pub fn found(state: &mut State, source: Source, found: Vec<RecoveredTake>, out: &mut Vec<Effect>) {
    for found in found {
        if source == Source::Track {
            state.tell(
                About::Take,
                format!(
                    "A recording was cut short; what was recorded is kept as {}",
                    name_of(&found.path)
                ),
                false,
            );
            state.session.remember(found.path);
            out.push(Effect::Changed);
            continue;
        }
        let ended = found.ended;
        if let Some(take) = of(state, &found.path) {
            // The project has it, the journal may not.
            take.unkept = Some(Unkept {
                ended,
                sound: None,
                kept: found.kept,
            });
            take.heard = None;
        } else {
            let index = add(state, found.path.clone(), found.places, ended, out);
            if let Some(unkept) = &mut state.takes[index].unkept {
                unkept.kept = found.kept;
            }
            let name = state.takes.last().map(|t| t.take.name.clone());
            let name = name.unwrap_or_default();
            state.tell(
                About::Take,
                format!("A take was cut short; what was recorded is kept as {name}"),
                false,
            );
        }
        let index = state.takes.iter().position(|t| t.take.path == found.path);
        if let Some(index) = index {
            hear(state, index, out);
        }
    }
}

fn of<'a>(state: &'a mut State, path: &Path) -> Option<&'a mut Take> {
    state.takes.iter_mut().find(|t| t.take.path == path)
}

/// Has a take heard, where it is drawn and was not yet.
pub fn hear(state: &mut State, index: usize, out: &mut Vec<Effect>) {
    let id = state.job();
    // A few bars would not tell the guitar's tuning again: the recording's is taken.
    let model = state.hearing.view.ready().map(|a| a.tuning.clone());
    let Some(take) = state.takes.get_mut(index) else {
        return;
    };
    let wanted = take.shown && take.heard.is_none();
    if !wanted || take.gone || take.job.is_some() {
        return;
    }
    take.job = Some(id);
    let job = Job::Analyse(analyse::Job::Take {
        path: take.take.path.clone(),
        tuning: take.take.tuning.clone().or(model),
    });
    out.push(Effect::Start(id, Box::new(job)));
}

/// A take was heard.
pub fn heard(
    state: &mut State,
    path: &Path,
    heard: Arc<Analysis>,
    sound: Arc<Recording>,
    out: &mut Vec<Effect>,
) {
    let latency = Span::from_ms(state.session.latency_ms);
    if let Some(take) = of(state, path) {
        take.job = None;
        take.rate = sound.rate();
        let moved = analyse::on_timeline(&heard, &take.take.places, sound.rate(), latency);
        take.moved = Some(Arc::new(moved));
        take.heard = Some(heard);
        if let Some(unkept) = &mut take.unkept {
            unkept.sound = Some(sound);
        }
    }
    compare(state, out);
}

/// A take's file is gone, or it cannot be heard.
pub fn unheard(state: &mut State, path: &Path, reason: Option<String>) {
    let Some(take) = of(state, path) else {
        return;
    };
    take.job = None;
    take.gone = reason.is_none();
    let name = take.take.name.clone();
    if let Some(reason) = reason {
        state.tell(About::Take, format!("{name}: {reason}"), true);
    }
}

/// Compares every take that was heard with what is heard in the recording now.
pub fn compare(state: &mut State, out: &mut Vec<Effect>) {
    let Some(model) = state.hearing.view.ready().cloned() else {
        return;
    };
    for index in 0..state.takes.len() {
        let take = &mut state.takes[index];
        let answered = take
            .answer
            .as_ref()
            .is_some_and(|a| Arc::ptr_eq(&a.to, &model));
        let Some(heard) = take.heard.clone().filter(|_| !answered) else {
            continue;
        };
        give_up(&mut take.job, out);
        let job = Job::Analyse(analyse::Job::Compare {
            path: take.take.path.clone(),
            model: Arc::clone(&model),
            along: analyse::along(&take.take.places, take.rate, heard.end),
            take: heard,
        });
        let id = state.job();
        state.takes[index].job = Some(id);
        out.push(Effect::Start(id, Box::new(job)));
    }
}

/// A take was compared: what is new goes into the journal.
pub fn compared(state: &mut State, path: &Path, answer: &Arc<Answer>, out: &mut Vec<Effect>) {
    let recording = state.open.hash;
    let name = state.open.stage.name().unwrap_or_default();
    let tuning = state.marks().and_then(|m| m.tuning.as_ref());
    let tuning = tuning.map(ToString::to_string);
    let Some(take) = of(state, path) else {
        return;
    };
    take.job = None;
    take.answer = Some(Arc::clone(answer));
    let new = take.unkept.take();
    let Some((recording, new)) = recording.zip(new) else {
        return;
    };
    let Some(sound) = new.sound else {
        return;
    };
    let ended = new.ended;
    let mut rounds = rounds_of(
        &answer.found,
        &Practised {
            recording,
            name: &name,
            grid: &answer.to.grid,
            tuning: tuning.as_deref(),
            at: ended,
            note: "",
        },
    );
    for at in new.kept {
        let meant = round_meant(&answer.found, Seconds(at.0));
        if let Some(round) = meant.and_then(|i| rounds.get_mut(i)) {
            KEPT.clone_into(&mut round.note);
        }
    }
    if rounds.is_empty() {
        // Another tune: there is nothing to keep but the sound, which lies in its file.
        let id = state.job();
        out.push(Effect::TakeWriter(id, Order::Kept(path.to_owned())));
        return;
    }
    let job = Job::Journal(journal::Job::Keep {
        rounds,
        sound,
        take: path.to_owned(),
    });
    let id = state.job();
    out.push(Effect::Start(id, Box::new(job)));
}

/// What the journal notes of a round that its player kept.
const KEPT: &str = "kept";

/// The round that is meant where one is kept at an instant of the take: the one being played, or in its
/// first quarter the one before, which has only just been heard to its end.
fn round_meant(found: &Comparison, at: Seconds) -> Option<usize> {
    let rounds = &found.rounds;
    let now = rounds.iter().rposition(|r| r.take.0 <= at)?;
    let (from, to) = rounds[now].take;
    let early = at.0 < from.0 + 0.25 * (to - from).0;
    Some(if early { now.saturating_sub(1) } else { now })
}

/// The journal has a take, or says why not.
pub fn kept(state: &mut State, take: PathBuf, fault: Option<String>, out: &mut Vec<Effect>) {
    if let Some(fault) = fault {
        state.tell(About::Take, fault, true);
    } else {
        let id = state.job();
        out.push(Effect::TakeWriter(id, Order::Kept(take)));
    }
    read_page(state, out);
}

/// Reads the recording's page of the journal again.
pub fn read_page(state: &mut State, out: &mut Vec<Effect>) {
    if let Some(hash) = state.open.hash {
        let id = state.job();
        let job = Job::Journal(journal::Job::Read(hash));
        out.push(Effect::Start(id, Box::new(job)));
    }
}

/// Draws a take over the sheet, or not.
pub fn show(state: &mut State, index: usize, shown: bool, out: &mut Vec<Effect>) {
    if let Some(take) = state.takes.get_mut(index) {
        take.shown = shown;
        hear(state, index, out);
    }
}

/// Forgets a take (its file stays); true where a take was heard beside the recording: it may have
/// another number now.
pub fn forget(state: &mut State, index: usize, out: &mut Vec<Effect>) -> bool {
    if index < state.takes.len() {
        let mut take = state.takes.remove(index);
        give_up(&mut take.job, out);
        let marks = state.marks_mut();
        marks.takes.retain(|t| t.path != take.take.path);
        let id = state.job();
        out.push(Effect::TakeWriter(id, Order::Kept(take.take.path)));
        out.push(Effect::Changed);
    }
    state.mix.hear.take().is_some()
}

/// A job about a take broke.
pub fn broke(state: &mut State, id: JobId) -> bool {
    for take in &mut state.takes {
        if take.job == Some(id) {
            take.job = None;
            take.gone = take.heard.is_none();
            return true;
        }
    }
    false
}
