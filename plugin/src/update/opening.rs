//! Opening a recording: growing parts that already play, then the whole; losing and finding it.

use super::telling;
use crate::data::name_of;
use crate::effect::Effect;
use crate::job::JobId;
use crate::services::Job;
use crate::services::decode::{self, Part};
use crate::session::{Marks, RecordingRef, Session};
use crate::snapshot::About;
use crate::state::{Hearing, Mix, Stage, State, Why};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::deck::Message;
use thumbline::recording::{ContentHash, Recording};
use thumbline::unit::{Seconds, Span};

/// The first part that plays; each further one is twice as long. At 150 % it lasts a second, in
/// which the next one is long ready; what is longer only delays the first sound.
const FIRST: Span = Span(1.5);

/// Gives a job up.
pub fn give_up(job: &mut Option<JobId>, out: &mut Vec<Effect>) {
    out.extend(job.take().map(Effect::Cancel));
}

/// A player chose this file.
pub fn choose(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    if let Stage::Missing { name, .. } = &state.open.stage
        && *name == name_of(&path)
    {
        locate(state, path, out);
        return;
    }
    state.takes.clear();
    state.session.recording = Some(RecordingRef {
        name: name_of(&path),
        path: path.clone(),
        hash: None,
    });
    out.push(Effect::Changed);
    open(state, path, Why::Chosen, out);
}

/// Opens `path`; what was being opened is given up.
fn open(state: &mut State, path: PathBuf, why: Why, out: &mut Vec<Effect>) {
    give_up(&mut state.open.job, out);
    give_up(&mut state.open.errand, out);
    give_up(&mut state.mix.job, out);
    state.mix.made = None;
    let refitted = why == Why::Refitted;
    let in_memory = state.open.part.as_ref().zip(state.open.hash);
    let in_memory = in_memory
        .filter(|_| refitted)
        .map(|(part, hash)| (Arc::clone(&part.sound), hash));
    if !refitted {
        forget_what_was_heard(state, out);
        state.mix = Mix::default();
        state.open.hash = None;
    }
    state.open.why = why;
    state.open.begun = false;
    state.open.stage = Stage::Loading {
        path: path.clone(),
        progress: Some(0.0),
    };
    if state.rate == 0 {
        // The host has not told its rate: opening waits for the activation.
        return;
    }
    let first = match why {
        Why::Chosen => Seconds(0.0),
        Why::Restored | Why::Refitted => state.session.position,
    };
    let job = decode::Open {
        path,
        rate: state.rate,
        first: first + FIRST,
        heard: state.hearing.heard.clone(),
        in_memory,
    };
    let id = state.job();
    state.open.job = Some(id);
    let job = Job::Decode(decode::Job::Open(Box::new(job)));
    out.push(Effect::Start(id, Box::new(job)));
}

fn forget_what_was_heard(state: &mut State, out: &mut Vec<Effect>) {
    give_up(&mut state.hearing.job, out);
    give_up(&mut state.hearing.correcting, out);
    for take in &mut state.takes {
        give_up(&mut take.job, out);
    }
    state.hearing = Hearing::default();
    state.open.original = None;
}

/// Nothing is open any more.
pub fn close(state: &mut State, out: &mut Vec<Effect>) {
    give_up(&mut state.open.job, out);
    give_up(&mut state.open.errand, out);
    give_up(&mut state.mix.job, out);
    forget_what_was_heard(state, out);
    state.open.stage = Stage::Empty;
    state.open.part = None;
    state.open.hash = None;
    state.open.begun = false;
    state.mix = Mix::default();
    state.takes.clear();
    state.page = Arc::default();
    out.push(Effect::Deck(Message::Unload));
    out.push(Effect::Deck(Message::Pulse(None)));
    telling::restate(state, out);
}

/// The host (or the program's own file) has put another session in.
pub fn restored(state: &mut State, session: Session, out: &mut Vec<Effect>) {
    state.session = session;
    state.open.pending = Marks::default();
    out.push(Effect::LearnControls(state.session.learnt.clone()));
    match state.session.recording.clone() {
        None => close(state, out),
        Some(known) => open(state, known.path, Why::Restored, out),
    }
}

/// A fresh player runs at `rate`; it knows nothing yet.
pub fn activated(state: &mut State, rate: u32, out: &mut Vec<Effect>) {
    let same = state.rate == rate;
    state.rate = rate;
    telling::restate(state, out);
    let made = state.mix.made.as_ref().map(|m| (&m.sound, &m.onsets));
    let part = state.open.part.as_ref().map(|p| (&p.sound, &p.onsets));
    if same
        && state.open.begun
        && let Some((sound, onsets)) = made.or(part).filter(|(s, _)| s.rate() == rate)
    {
        // The same rate: the new player goes on with the same samples.
        out.extend(telling::track(sound, onsets).map(|t| Effect::Deck(Message::Load(t))));
        out.push(Effect::Deck(Message::Seek(state.session.position)));
        telling::analysis(state, out);
        return;
    }
    let path = match &state.open.stage {
        Stage::Loading { path, .. } | Stage::Ready(path) => path.clone(),
        _ => return,
    };
    let why = if state.open.begun {
        Why::Refitted
    } else {
        state.open.why
    };
    open(state, path, why, out);
}

/// A part of the recording is ready to be played.
pub fn part(state: &mut State, part: Part, out: &mut Vec<Effect>) {
    let Some(track) = telling::track(&part.sound, &part.onsets) else {
        return;
    };
    if let Stage::Loading { progress, .. } = &mut state.open.stage {
        *progress = part.progress;
    }
    state.open.part = Some(part);
    if state.open.begun || state.open.why == Why::Refitted {
        out.push(Effect::Deck(Message::Replace(track)));
    } else {
        out.push(Effect::Deck(Message::Pulse(None)));
        out.push(Effect::Deck(Message::Load(track)));
    }
    if !state.open.begun {
        state.open.begun = true;
        telling::restate(state, out);
        if state.open.why != Why::Chosen {
            out.push(Effect::Deck(Message::Seek(state.session.position)));
        }
    }
}

/// The whole recording is there.
pub fn whole(
    state: &mut State,
    whole: Part,
    original: Arc<Recording>,
    hash: ContentHash,
    warnings: Vec<String>,
    out: &mut Vec<Effect>,
) {
    part(state, whole, out);
    state.open.job = None;
    let Stage::Loading { path, .. } = &state.open.stage else {
        return;
    };
    let path = path.clone();
    settle(state, &path, hash, out);
    state.open.stage = Stage::Ready(path);
    state.works(About::File);
    state.open.original = Some(original);
    for warning in warnings {
        state.tell(About::File, warning, false);
    }
    telling::analysis(state, out);
    telling::restate(state, out);
}

/// The recording's identity is known: its marks are found, and what was marked meanwhile is added
/// to them.
fn settle(state: &mut State, path: &Path, hash: ContentHash, out: &mut Vec<Effect>) {
    let session = &mut state.session;
    let before = session.recording.as_ref().and_then(|r| r.hash);
    let changed = before
        .filter(|old| *old != hash && session.recording.as_ref().is_some_and(|r| r.path == path));
    if let Some(old) = changed
        && !session.marks.contains_key(&hash.to_string())
        && let Some(marks) = session.marks.get(&old.to_string()).cloned()
    {
        session.marks.insert(hash.to_string(), marks);
    }
    let pending = std::mem::take(&mut state.open.pending);
    if pending != Marks::default() {
        let marks = session.marks.entry(hash.to_string()).or_default();
        if pending.region.is_some() {
            marks.region = pending.region;
        }
        for region in pending.regions {
            // A drill that is opened again brings its stages again.
            if !marks.regions.contains(&region) {
                marks.regions.push(region);
            }
        }
        marks.regions.sort_by(|a, b| a.from.total_cmp(&b.from));
        marks.tuning = marks.tuning.take().or(pending.tuning);
    }
    session.recording = Some(RecordingRef {
        name: name_of(path),
        path: path.to_owned(),
        hash: Some(hash),
    });
    session.remember(path.to_owned());
    state.open.hash = Some(hash);
    if before != Some(hash) {
        out.push(Effect::Changed);
    }
    if changed.is_some() {
        let name = name_of(path);
        state.tell(
            About::File,
            format!("{name} has changed since it was marked; the marks were kept"),
            false,
        );
    }
}

/// There is no file where the recording was.
pub fn gone(state: &mut State, out: &mut Vec<Effect>) {
    state.open.job = None;
    let known = state.session.recording.clone();
    let Some(known) = known.filter(|_| state.open.why == Why::Restored) else {
        let name = state.open.stage.name().unwrap_or_default();
        failed(state, format!("There is no file {name} any more"));
        return;
    };
    close(state, out);
    state.open.hash = known.hash;
    state.tell(
        About::File,
        format!(
            "{} is not at {} any more; show where it is and everything else is as it was",
            known.name,
            known.path.display()
        ),
        true,
    );
    state.open.stage = Stage::Missing {
        name: known.name,
        path: known.path,
        hash: known.hash,
    };
}

/// It cannot be opened.
pub fn failed(state: &mut State, reason: String) {
    state.open.job = None;
    if let Stage::Loading { path, .. } = &state.open.stage {
        let name = name_of(path);
        state.tell(About::File, reason.clone(), true);
        state.open.stage = Stage::Failed { name, reason };
    }
}

/// Another job of reading beside the opening.
pub fn errand(state: &mut State, job: decode::Job, out: &mut Vec<Effect>) {
    give_up(&mut state.open.errand, out);
    let id = state.job();
    state.open.errand = Some(id);
    out.push(Effect::Start(id, Box::new(Job::Decode(job))));
}

/// A missing recording may be at `path` now.
pub fn locate(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    let hash = match &state.open.stage {
        Stage::Missing { hash, .. } => *hash,
        _ => None,
    };
    errand(state, decode::Job::Locate { path, hash }, out);
}

/// The missing recording is at `path`.
pub fn located(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    if let Some(known) = &mut state.session.recording {
        known.path.clone_from(&path);
        known.name = name_of(&path);
        out.push(Effect::Changed);
    }
    open(state, path, Why::Restored, out);
}

/// Stops reading and listening; what is there stays.
pub fn cancel(state: &mut State, out: &mut Vec<Effect>) {
    give_up(&mut state.hearing.job, out);
    give_up(&mut state.open.errand, out);
    if matches!(
        state.hearing.view,
        crate::snapshot::AnalysisView::Working { .. }
    ) {
        state.hearing.view = crate::snapshot::AnalysisView::None;
    }
    if let Stage::Loading { path, .. } = &state.open.stage {
        let path = path.clone();
        give_up(&mut state.open.job, out);
        if state.open.begun {
            state.open.stage = Stage::Ready(path);
        } else {
            close(state, out);
        }
    }
}
