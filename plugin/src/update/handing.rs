//! A lesson page of the loop's bars, to hand out.

use crate::effect::Effect;
use crate::services::{Job, page};
use crate::state::{Stage, State};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::report::lesson;

/// Asks where the page goes, or says why there can be none.
pub fn ask(state: &mut State, out: &mut Vec<Effect>) {
    let bars = state.hearing.view.ready().map(|heard| bars(state, heard));
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
    let Some(bars) = bars(state, heard) else {
        return;
    };
    let job = page::Job {
        sound: Arc::clone(&part.sound),
        heard: Arc::clone(heard),
        hash: state.open.hash,
        name: crate::data::name_of(path),
        bars,
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

/// Bars of which the loop holds the middle; without a loop, those that a page usually holds.
fn bars(state: &State, heard: &Analysis) -> Option<(i32, i32)> {
    let region = state.marks().and_then(|m| m.region.as_ref());
    let held = region.and_then(|region| {
        let all = heard.grid.bars();
        let held = all.iter().filter(|bar| {
            let middle = 0.5 * (bar.start.0 + bar.end.0);
            (region.from.0..region.to.0).contains(&middle)
        });
        let numbers: Vec<i32> = held.map(|bar| bar.number).collect();
        Some((*numbers.iter().min()?, *numbers.iter().max()?))
    });
    held.or_else(|| lesson::usual_bars(heard))
}
