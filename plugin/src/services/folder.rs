//! Looking through a folder for recordings: the program's own list, for desktops without a dialog.

use crate::snapshot::{FolderView, For};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::load::ENDINGS;

/// Endings of files with written notes.
pub const WRITTEN: [&str; 4] = ["mid", "midi", "musicxml", "xml"];

/// A folder to be looked into; the player's own where none is named.
#[derive(Debug, Clone)]
pub struct Job {
    /// The folder, or a file in it.
    pub path: Option<PathBuf>,
    /// What the file is for.
    pub purpose: For,
}

/// What lies in it.
pub type Answer = Arc<FolderView>;

/// Does a job in one go.
pub fn run(job: &Job, say: &mut dyn FnMut(Answer)) {
    let path = job.path.clone().or_else(std::env::home_dir);
    let path = path.unwrap_or_else(|| PathBuf::from("/"));
    let path = if path.is_dir() {
        path
    } else {
        path.parent().map_or(path.clone(), Path::to_owned)
    };
    let mut view = FolderView {
        purpose: job.purpose,
        path: path.clone(),
        ..FolderView::default()
    };
    match std::fs::read_dir(&path) {
        Err(why) => view.fault = Some(why.to_string()),
        Ok(entries) => {
            for path in entries.flatten().map(|entry| entry.path()) {
                let hidden = path
                    .file_name()
                    .is_none_or(|name| name.to_string_lossy().starts_with('.'));
                if hidden {
                    continue;
                }
                if path.is_dir() {
                    view.folders.push(path);
                } else if opens(&path, job.purpose) {
                    view.files.push(path);
                }
            }
            view.folders.sort();
            view.files.sort();
        }
    }
    say(Arc::new(view));
}

/// Is it something for this, by its name's ending?
fn opens(path: &Path, purpose: For) -> bool {
    let known: &[&str] = if purpose.is_sound() {
        &ENDINGS
    } else {
        &WRITTEN
    };
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|ending| known.iter().any(|known| *known == ending))
}
