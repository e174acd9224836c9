//! Handing it on: a lesson page of the loop's bars, files for other programs.

use crate::effect::Effect;
use crate::job::JobId;
use crate::page_state::Page;
use crate::services::{Job, export, page};
use crate::state::{Stage, State};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::report::export::Format;

/// Asks where the page goes, or says why there can be none.
pub fn ask(state: &mut State, out: &mut Vec<Effect>) {
    let bars = state.hearing.view.ready().map(|_| state.bars());
    match (bars, state.open.stage.name()) {
        (Some(Some((first, last))), Some(name)) => {
            let stem = name.rsplit_once('.').map_or(&*name, |(stem, _)| stem);
            let bars = if first == last {
                format!("bar {first}")
            } else {
                format!("bars {first}-{last}")
            };
            out.push(Effect::AskForPage(format!("{stem}, {bars}.html")));
        }
        (Some(None), _) => {
            state.notice(
                "No beat was found, so there are no bars for a lesson page",
                false,
            );
        }
        _ => state.notice(
            "A lesson page can be made once the recording is analysed",
            false,
        ),
    }
}

/// Has the page made and written to `to`.
pub fn make(state: &mut State, to: PathBuf, out: &mut Vec<Effect>) {
    let (Some(heard), Some(part), Stage::Ready(path)) = (
        state.hearing.view.ready(),
        &state.open.part,
        &state.open.stage,
    ) else {
        return;
    };
    let Some(bars) = state.bars() else {
        return;
    };
    let job = page::Job {
        sound: Arc::clone(&part.sound),
        heard: Arc::clone(heard),
        hash: state.open.hash,
        name: crate::data::name_of(path),
        bars,
        besides: state.session.page_state.take_away.lesson,
        neck: state.session.page_state.neck.clone(),
        presets: Arc::clone(&state.study.presets),
        to,
    };
    let id = state.job();
    out.push(Effect::Start(id, Box::new(Job::Page(job))));
}

/// It lies there, or does not.
pub fn made(state: &mut State, answer: page::Answer) {
    match answer {
        Ok(path) => {
            let name = crate::data::name_of(&path);
            state.notice(format!("The lesson page is written: {name}"), false);
        }
        Err(why) => state.notice(format!("There is no lesson page: {why}"), true),
    }
}

/// Has what was heard written in a format, and shown where that is wanted.
pub fn export(state: &mut State, format: Format, show: bool, out: &mut Vec<Effect>) {
    let (Some(heard), Some(part), Stage::Ready(path)) = (
        state.hearing.view.ready(),
        &state.open.part,
        &state.open.stage,
    ) else {
        state.notice(
            "There is nothing to take away before the recording is analysed",
            false,
        );
        return;
    };
    let whole = state.session.page_state.take_away.whole;
    let job = export::Job {
        format,
        sound: Arc::clone(&part.sound),
        heard: Arc::clone(heard),
        name: crate::data::name_of(path),
        bars: state.bars().filter(|_| !whole),
        folder: state.folder(),
    };
    let id = state.job();
    state.study.writing.push((id, show));
    out.push(Effect::Start(id, Box::new(Job::Export(job))));
}

/// It is written, or is not.
pub fn exported(state: &mut State, id: JobId, answer: export::Answer, out: &mut Vec<Effect>) {
    let writing = &mut state.study.writing;
    let Some(at) = writing.iter().position(|w| w.0 == id) else {
        return;
    };
    let (_, show) = writing.remove(at);
    match answer {
        Ok(path) => {
            // The page that asked for it lists it.
            if state.session.page_state.page != Page::TakeAway {
                state.notice(format!("Written: {}", path.display()), false);
            }
            state.study.written.push(path.clone());
            if show {
                out.push(Effect::Show(path));
            }
        }
        Err(why) => state.notice(format!("It could not be taken away: {why}"), true),
    }
}
