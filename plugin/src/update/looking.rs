//! Looking for a file: the desktop's dialog, or the program's own list where there is none.

use super::{opening, studying, taking};
use crate::effect::Effect;
use crate::services::{Job, folder};
use crate::snapshot::{About, For};
use crate::state::State;
use std::path::PathBuf;

/// The folder where the last file was found.
fn last(state: &State) -> Option<PathBuf> {
    let open = state.session.recording.as_ref().map(|r| &r.path);
    let known = open.or(state.session.recent.first())?;
    known.parent().map(PathBuf::from)
}

/// Asks for a file for this, beginning where the last one was.
pub fn ask(state: &State, purpose: For, out: &mut Vec<Effect>) {
    out.push(Effect::Ask(purpose, last(state)));
}

/// The desktop has no dialog: the program's own list is shown.
pub fn no_dialog(state: &mut State, purpose: For, out: &mut Vec<Effect>) {
    through(state, purpose, None, out);
}

/// Looks through a folder.
pub fn through(state: &mut State, purpose: For, path: Option<PathBuf>, out: &mut Vec<Effect>) {
    let path = path.or_else(|| last(state));
    let id = state.job();
    let job = Job::Folder(folder::Job { path, purpose });
    out.push(Effect::Start(id, Box::new(job)));
}

/// This is what lies there.
pub fn found(state: &mut State, answer: folder::Answer) {
    state.folder = Some(answer);
}

/// A file was chosen.
pub fn chosen(state: &mut State, purpose: For, path: PathBuf, out: &mut Vec<Effect>) {
    state.folder = None;
    state.notices.retain(|n| n.about != About::File);
    match purpose {
        For::Recording => opening::choose(state, path, out),
        For::Take => taking::bring(state, path, out),
        For::Pattern => studying::take_pattern(state, path, out),
        For::Melody => studying::take_melody(state, path, out),
    }
}
