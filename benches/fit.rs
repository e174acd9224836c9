//! Fits the weights of the note decision (`analysis/decide.rs`) anew and prints them:
//! `cargo xtask bench fit FOLDER…`, folders of NAME.wav with NAME.truth.json (`notes`: `t` in seconds,
//! `midi`, `cents`). Twice on the same folders prints the same.

use serde::Deserialize;
use std::path::{Path, PathBuf};
use thumbline::analysis::decide::fit::{self, Performance};
use thumbline::analysis::hear;

#[derive(Deserialize)]
struct Truth {
    notes: Vec<TrueNote>,
}

#[derive(Deserialize)]
struct TrueNote {
    t: f64,
    midi: f64,
}

fn performance(wav: &Path) -> Option<Performance> {
    let truth = std::fs::read_to_string(wav.with_extension("truth.json")).ok()?;
    let truth: Truth = serde_json::from_str(&truth).ok()?;
    let recording = thumbline::load::load(wav).ok()?;
    let mono = hear::Mono::new(&recording);
    let (candidates, offset) = hear::candidates(&mono, &mut ()).ok()?;
    let heard = hear::heard(&mono, &candidates, offset.unwrap_or_default(), &mut ()).ok()?;
    let notes = truth.notes.iter().map(|n| (n.t, n.midi.round() as i32));
    Some(Performance {
        heard,
        notes: notes.collect(),
    })
}

fn main() {
    let folders = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let mut files: Vec<PathBuf> = folders
        .filter_map(|folder| std::fs::read_dir(folder).ok())
        .flat_map(|entries| entries.flatten().map(|e| e.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "wav"))
        .collect();
    files.sort();
    let read: Vec<Performance> = files.iter().filter_map(|f| performance(f)).collect();
    if read.is_empty() {
        println!("nothing to fit on: name folders of NAME.wav with NAME.truth.json");
        return;
    }
    println!("{} of {} recordings", read.len(), files.len());
    println!("{:#?}", fit::weights(&read));
}
