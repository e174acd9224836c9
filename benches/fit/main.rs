//! Fits weights that Rust computes the evidence for, and writes them where they are compiled in:
//! `cargo bench --bench fit -- note-selection|tuning FOLDER…`, called by `cargo xtask fit hearing`. Folders hold
//! NAME.wav with NAME.truth.json and NAME.tuning.json, as `xtask/train/record.py` writes them. Twice on the
//! same folders writes the same.
//!
//! `beats FOLDER…`, called by `cargo xtask fit beats`, prints the table of priors and the confidence of the
//! beats (`analysis/beat/priors.rs`): folders hold NAME.json (as `thumbline analyze` writes it) or NAME.wav
//! with NAME.truth.json (`beats`, `downbeats`: seconds).

mod beats;
#[path = "../known.rs"]
mod known;
mod note_selection;
mod tuning;

use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};

/// What belongs to a recording `wav` under the ending `of`.
fn beside<T: DeserializeOwned>(wav: &Path, of: &str) -> Option<T> {
    let text = std::fs::read_to_string(wav.with_extension(of)).ok()?;
    serde_json::from_str(&text).ok()
}

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let Some((part, folders)) = args.split_first() else {
        println!("fit what? note-selection, tuning or beats, and the folders of recordings");
        return;
    };
    if part == "beats" {
        beats::fit(folders);
        return;
    }
    let mut files: Vec<PathBuf> = folders
        .iter()
        .filter_map(|folder| std::fs::read_dir(folder).ok())
        .flat_map(|entries| entries.flatten().map(|e| e.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "wav"))
        .collect();
    files.sort();
    match part.as_str() {
        "note-selection" => note_selection::fit(&files),
        "tuning" => tuning::fit(&files),
        other => println!("no weights are called {other}"),
    }
}

/// Writes a source file of weights and says so.
fn written(path: &str, text: &str) {
    match std::fs::write(path, text) {
        Ok(()) => println!("written: {path}"),
        Err(error) => println!("{path} cannot be written: {error}\n{text}"),
    }
}
