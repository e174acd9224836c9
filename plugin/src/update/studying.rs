//! What the pages ask, and what is sounded for them.

use super::opening;
use crate::effect::{Dial, Effect};
use crate::job::JobId;
use crate::page_state::{DrillsPage, NeckPage, OfPattern, Page, PageState, PatternPage, Show};
use crate::services::folder::WRITTEN;
use crate::services::sound::{self, Sound};
use crate::services::study::Asked;
use crate::services::take_writer::Order;
use crate::services::{Job, drill, study};
use crate::session::{Edges, Region, mend_ladder};
use crate::snapshot::{ClickRate, Ladder};
use crate::state::{Beside, Sought, State};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::deck::capture::ear;
use thumbline::deck::{Aside, Message};
use thumbline::music::drill::Clicks;
use thumbline::music::picking::{Cell, Pattern};
use thumbline::music::tuning::Tuning;
use thumbline::preset::{write_pattern, write_tuning};
use thumbline::unit::MidiNote;

/// Changes of the pages that can be taken back.
const CHANGES: usize = 200;

/// Another page, or something else on it.
pub fn set(state: &mut State, page_state: PageState, out: &mut Vec<Effect>) {
    let page_state = page_state.mended();
    let page = page_state.page;
    let before = std::mem::replace(&mut state.session.page_state, page_state);
    note(state, &before);
    if state.session.page_state.page != Page::Tunings {
        hear_strings(state, false, out);
    }
    // Turning pages is no reason to save a project.
    if (PageState { page, ..before }) != state.session.page_state {
        out.push(Effect::Changed);
    }
}

/// Notes how a page was before it was changed. A dial that is turned on is one change.
fn note(state: &mut State, before: &PageState) {
    let now = &state.session.page_state;
    let Some(page) = before.changed(now) else {
        return;
    };
    let study = &mut state.study;
    study.undone.clear();
    let turned = now.dials(before).filter(|d| !d.is_empty());
    let last = study.changes.last().filter(|last| last.page == page);
    if turned.is_some() && last.is_some_and(|last| before.dials(last) == turned) {
        return;
    }
    let mut before = before.clone();
    before.page = page;
    study.changes.push(before);
    if study.changes.len() > CHANGES {
        study.changes.remove(0);
    }
}

/// Takes the last change of the page in view back; false where there is none, or the sheet is in view.
pub fn undo(state: &mut State, out: &mut Vec<Effect>) -> bool {
    let study = &mut state.study;
    exchange(
        &mut state.session.page_state,
        &mut study.changes,
        &mut study.undone,
        out,
    )
}

/// Does again what was taken back last on the page in view.
pub fn redo(state: &mut State, out: &mut Vec<Effect>) -> bool {
    let study = &mut state.study;
    exchange(
        &mut state.session.page_state,
        &mut study.undone,
        &mut study.changes,
        out,
    )
}

/// Puts the page in view as the last of `from` has it, and how it was into `to`.
fn exchange(
    page_state: &mut PageState,
    from: &mut Vec<PageState>,
    to: &mut Vec<PageState>,
    out: &mut Vec<Effect>,
) -> bool {
    let page = page_state.page;
    let Some(last) = from.iter().rposition(|d| d.page == page) else {
        return false;
    };
    let before = from.remove(last);
    to.push(page_state.clone());
    page_state.take(page, &before);
    out.push(Effect::Changed);
    true
}

/// Has a drill written and opened.
pub fn drill(state: &mut State, job: drill::Job, speed: f64, out: &mut Vec<Effect>) {
    if let Some((before, ..)) = state.study.drill.take() {
        out.push(Effect::Cancel(before));
    }
    let id = state.job();
    let stages = job.what.stages(&job.tuning, job.tempo, job.bars);
    let clicks = stages.get(job.stage).map_or(Clicks::AsAsked, |s| s.clicks);
    let click = match clicks {
        Clicks::AsAsked => ClickRate::Beat,
        Clicks::Backbeat => ClickRate::Backbeat,
        Clicks::EveryOtherBar => ClickRate::EveryOtherBar,
        Clicks::TwoAndTwo => ClickRate::TwoAndTwo,
    };
    state.study.drill = Some((id, speed, job.tuning.clone(), click));
    out.push(Effect::Start(id, Box::new(Job::Drill(Box::new(job)))));
}

/// Steps of the ladder that a drill climbs, and the rounds on each.
const STEP: f64 = 0.05;
const ROUNDS: u32 = 4;

/// The drill is written: it is opened like any recording, its stages are kept loops, the wanted one is
/// looped with ladder and click.
pub fn drilled(state: &mut State, id: JobId, answer: drill::Answer, out: &mut Vec<Effect>) {
    let Some((_, speed, tuning, click)) = state.study.drill.take_if(|d| d.0 == id) else {
        return;
    };
    let (path, stages, first) = match answer {
        Ok(made) => made,
        Err(why) => return state.notice(why, true),
    };
    hush(state, out);
    opening::choose(state, path, out);
    let loops = stages.into_iter().map(|(name, from, to)| Region {
        name,
        from,
        to,
        edges: Edges::Beats,
    });
    let loops: Vec<Region> = loops.collect();
    let marks = state.marks_mut();
    marks.tuning = Some(tuning);
    marks.region = loops.get(first).cloned();
    marks.regions = loops;
    let ladder = Ladder {
        on: true,
        start: speed,
        step: STEP,
        rounds: ROUNDS,
        top: 1.0f64.max(speed),
        within_ms: None,
    };
    state.session.ladder = mend_ladder(ladder);
    state.session.click_rate = click;
    out.extend([
        Effect::Loop(true),
        Effect::Dial(Dial::Loop(true)),
        Effect::Dial(Dial::Click(true)),
        Effect::Dial(Dial::Speed(speed)),
        Effect::Changed,
    ]);
    // The bars of the stage are looked at.
    state.session.page_state.page = Page::Sheet;
}

/// Keeps a pattern among the player's own.
pub fn keep_pattern(state: &mut State, name: String, cell: Cell, out: &mut Vec<Effect>) {
    let about = "your own".to_owned();
    let pattern = Pattern { name, about, cell };
    let entry = write_pattern(&pattern);
    keep(state, "patterns.toml", entry, pattern.name, out);
}

/// Seconds of sound that may wait while the recording thread is held up.
const WAITING: f64 = 2.0;

/// Hears how high the player's own strings sound, or no longer.
pub fn hear_strings(state: &mut State, on: bool, out: &mut Vec<Effect>) {
    let recording = state.capture.recording.is_some() || state.capture.calibrating.is_some();
    match (on, state.capture.tuning) {
        (true, None) if recording => {
            state.notice(
                "A recording is under way; its input is heard afterwards",
                false,
            );
        }
        (true, None) if state.rate > 0 => {
            let id = state.job();
            let (tap, receiver) = ear(state.rate, WAITING);
            state.capture.tuning = Some((id, None));
            out.push(Effect::TakeWriter(id, Order::Tune(Box::new(receiver))));
            out.push(Effect::Deck(Message::Record(tap)));
        }
        (true, None) => {
            state.notice(
                "No string can be heard: the host has not started its sound yet",
                false,
            );
        }
        (false, Some(_)) => {
            state.capture.tuning = None;
            if !recording {
                out.push(Effect::Deck(Message::StopRecording));
            }
        }
        (true, Some(_)) | (false, None) => {}
    }
}

/// How high it sounds, or that it is heard no longer.
#[allow(
    clippy::option_option,
    reason = "nothing to hear with, nothing heard, or a pitch"
)]
pub fn string_heard(state: &mut State, id: JobId, pitch: Option<Option<MidiNote>>) {
    if state.capture.tuning.is_some_and(|t| t.0 == id) {
        state.capture.tuning = pitch.map(|pitch| (id, pitch));
    }
}

/// Keeps a tuning among the player's own.
pub fn keep_tuning(state: &mut State, name: String, tuning: &Tuning, out: &mut Vec<Effect>) {
    let entry = write_tuning(&name, tuning);
    keep(state, "tunings.toml", entry, name, out);
}

/// A file was dropped on the window: written notes are a pattern on the pattern's page and a melody
/// elsewhere, anything else is opened as a recording.
pub fn dropped(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    if !is_written(&path) {
        opening::choose(state, path, out);
    } else if state.session.page_state.page == Page::Pattern {
        take_pattern(state, path, out);
    } else {
        take_melody(state, path, out);
    }
}

/// Is it MIDI or MusicXML, by its name's ending?
fn is_written(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|e| WRITTEN.contains(&e.as_str()))
}

/// The picking pattern is what this file repeats.
pub fn take_pattern(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    let mut page_state = state.session.page_state.clone();
    page_state.page = Page::Pattern;
    (page_state.pattern.file, page_state.pattern.of) = (Some(path), OfPattern::File);
    set(state, page_state, out);
}

/// The melody is this file's: on the neck, where one is shown there, else moved against the beat.
pub fn take_melody(state: &mut State, path: PathBuf, out: &mut Vec<Effect>) {
    let mut page_state = state.session.page_state.clone();
    if page_state.page != Page::Neck || page_state.neck.show != Show::Melody {
        page_state.page = Page::OffBeat;
    }
    page_state.off_beat.file = Some(path);
    set(state, page_state, out);
}

/// Sounds what the page in view is about, the next of it where there are several, or silences it.
pub fn hear(state: &mut State, out: &mut Vec<Effect>) {
    let sounds: Vec<Sound> = match state.session.page_state.page {
        Page::Pattern => {
            let view = state.study.pattern.answer.iter();
            view.map(|view| view.sound()).collect()
        }
        Page::OffBeat => {
            let view = state.study.off_beat.answer.iter();
            view.flat_map(|view| view.sounds()).collect()
        }
        Page::Sheet | Page::Neck | Page::Tunings | Page::Drills | Page::TakeAway => Vec::new(),
    };
    let now = state.beside.as_ref().filter(|b| b.again);
    let next = match now.and_then(|b| sounds.iter().position(|s| s.name == b.name)) {
        Some(i) => i + 1,
        None if now.is_some() => sounds.len(),
        None => 0,
    };
    match sounds.into_iter().nth(next) {
        Some(next) => sound(state, next, out),
        None => hush(state, out),
    }
}

fn keep(state: &mut State, file: &'static str, entry: String, name: String, out: &mut Vec<Effect>) {
    let id = state.job();
    let job = study::Job::Keep { file, entry, name };
    out.push(Effect::Start(id, Box::new(Job::Study(job))));
}

/// Reads the presets.
pub fn read_presets(state: &mut State, out: &mut Vec<Effect>) {
    opening::give_up(&mut state.study.reading, out);
    let id = state.job();
    state.study.reading = Some(id);
    out.push(Effect::Start(id, Box::new(Job::Study(study::Job::Presets))));
}

/// Asks what the open page needs to know, where that has changed.
pub fn follow(state: &mut State, out: &mut Vec<Effect>) {
    match state.session.page_state.page {
        Page::Sheet | Page::TakeAway => {}
        Page::Tunings => {
            let question = (
                asked(state, state.session.page_state.tunings.clone()),
                state.job(),
            );
            ask(&mut state.study.tunings, question, study::Job::Tunings, out);
        }
        Page::Drills => drills(state, out),
        Page::OffBeat => off_beat(state, out),
        Page::Neck => neck(state, out),
        Page::Pattern => pattern(state, out),
    }
}

/// What a page asks now.
fn asked<P>(state: &State, page: P) -> Asked<P> {
    Asked {
        page,
        heard: state.hearing.view.ready().cloned(),
        presets: Arc::clone(&state.study.presets),
    }
}

/// Asks it, unless it was the last question.
fn ask<P: Clone + PartialEq, A>(
    sought: &mut Sought<Asked<P>, A>,
    (asked, id): (Asked<P>, JobId),
    job: fn(Box<Asked<P>>) -> study::Job,
    out: &mut Vec<Effect>,
) {
    if sought.asked.as_ref() == Some(&asked) {
        return;
    }
    opening::give_up(&mut sought.job, out);
    sought.job = Some(id);
    sought.asked = Some(asked.clone());
    out.push(Effect::Start(
        id,
        Box::new(Job::Study(job(Box::new(asked)))),
    ));
}

fn neck(state: &mut State, out: &mut Vec<Effect>) {
    // What is only drawn differently is not asked again.
    let page = state.session.page_state.neck.clone();
    let melody = (page.show == Show::Melody).then(|| given(state));
    let page = NeckPage {
        show: Show::default(),
        shape: (0, 0),
        left_handed: false,
        frets: (0, page.frets.1),
        ..page
    };
    let page = study::NeckQuestion { page, melody };
    let question = (asked(state, page), state.job());
    ask(&mut state.study.neck, question, study::Job::Neck, out);
}

fn pattern(state: &mut State, out: &mut Vec<Effect>) {
    let page = PatternPage {
        division: 0,
        speed: 0.0,
        ..state.session.page_state.pattern.clone()
    };
    let question = (asked(state, page), state.job());
    ask(&mut state.study.pattern, question, study::Job::Pattern, out);
}

fn drills(state: &mut State, out: &mut Vec<Effect>) {
    let page = DrillsPage {
        speed: 0.0,
        ..state.session.page_state.drills.clone()
    };
    let question = (asked(state, page), state.job());
    ask(&mut state.study.drills, question, study::Job::Drills, out);
}

/// The melody that the pages are about.
fn given(state: &State) -> study::Given {
    study::Given {
        file: state.session.page_state.off_beat.file.clone(),
        bars: state.bars(),
        name: state.open.stage.name().unwrap_or_default(),
    }
}

fn off_beat(state: &mut State, out: &mut Vec<Effect>) {
    let page = study::OfMelody {
        page: state.session.page_state.off_beat.clone(),
        given: given(state),
    };
    let question = (asked(state, page), state.job());
    ask(
        &mut state.study.off_beat,
        question,
        study::Job::OffBeat,
        out,
    );
}

/// An answer is there.
pub fn answered(state: &mut State, id: JobId, answer: study::Answer, out: &mut Vec<Effect>) {
    let study = &mut state.study;
    match answer {
        study::Answer::Presets(presets, left_out) if study.reading == Some(id) => {
            study.reading = None;
            // The same presets ask no question again.
            if *study.presets != *presets {
                study.presets = presets;
            }
            for why in left_out {
                state.notice(why, false);
            }
        }
        study::Answer::Neck(answer) if study.neck.job == Some(id) => study.neck.take(answer),
        study::Answer::Pattern(answer) if study.pattern.job == Some(id) => {
            study.pattern.take(answer);
        }
        study::Answer::Tunings(answer) if study.tunings.job == Some(id) => {
            study.tunings.take(answer);
        }
        study::Answer::Drills(answer) if study.drills.job == Some(id) => {
            study.drills.take(answer);
        }
        study::Answer::OffBeat(answer) if study.off_beat.job == Some(id) => {
            study.off_beat.take(answer);
        }
        study::Answer::Kept(name, None) => {
            state.notice(format!("“{name}” is kept among your own"), false);
            read_presets(state, out);
        }
        study::Answer::Kept(name, Some(why)) => {
            state.notice(format!("“{name}” could not be kept: {why}"), true);
        }
        // The answer to a question of before.
        study::Answer::Presets(..)
        | study::Answer::Neck(_)
        | study::Answer::Pattern(_)
        | study::Answer::Tunings(_)
        | study::Answer::Drills(_)
        | study::Answer::OffBeat(_) => {}
    }
    follow(state, out);
}

/// Has something sounded beside the recording; what goes on and on stops the recording.
pub fn sound(state: &mut State, sound: Sound, out: &mut Vec<Effect>) {
    if state.rate == 0 {
        state.notice(
            "Nothing can be heard: the host has not started its sound yet",
            false,
        );
        return;
    }
    let before = state.beside.take().and_then(|b| b.job);
    out.extend(before.map(Effect::Cancel));
    if sound.again {
        state.once = None;
        out.push(Effect::Play(false));
        out.push(Effect::Dial(Dial::Play(false)));
    }
    let id = state.job();
    state.beside = Some(Beside {
        name: sound.name.clone(),
        again: sound.again,
        length: sound.length,
        job: Some(id),
    });
    let rate = state.rate;
    let job = Job::Sound(sound::Job { sound, rate });
    out.push(Effect::Start(id, Box::new(job)));
}

/// It is made.
pub fn made(state: &mut State, id: JobId, channels: &sound::Answer, out: &mut Vec<Effect>) {
    let Some(beside) = state.beside.as_mut().filter(|b| b.job == Some(id)) else {
        return;
    };
    beside.job = None;
    let rounds = beside
        .again
        .then(|| beside.length.0 * f64::from(state.rate));
    let aside = Aside::new(
        channels.to_vec(),
        rounds.map(|frames| frames.round() as usize),
    );
    out.push(Effect::Deck(Message::Beside(Some(Box::new(aside)))));
}

/// Silences what sounds beside the recording.
pub fn hush(state: &mut State, out: &mut Vec<Effect>) {
    if let Some(beside) = state.beside.take() {
        out.extend(beside.job.map(Effect::Cancel));
        out.push(Effect::Deck(Message::Beside(None)));
    }
}
