//! The recording that a command works on: read with progress, doubts told.

use super::terminal::Terminal;
use anyhow::Result;
use std::path::Path;
use thumbline::load::{Decoder, Part};
use thumbline::recording::Recording;

/// Below this level (−80 dB of full scale) there is nothing to hear.
const SILENT: f32 = 1e-4;

/// Shorter than this there is no music to find, in seconds.
const SHORT: f64 = 0.5;

/// Reads `part` of the recording at `path` and tells what is doubtful about it.
pub fn read(path: &Path, part: Part, terminal: &Terminal) -> Result<Recording> {
    let progress = terminal.progress("reading");
    let mut decoder = Decoder::open(path, part)?;
    while decoder.step()? {
        progress.at(decoder.share().unwrap_or(0.0));
    }
    drop(progress);
    let mut doubts = decoder.warnings();
    let recording = decoder.finish()?;
    doubts.extend(about(&recording));
    doubts.iter().for_each(|doubt| terminal.warn(doubt));
    Ok(recording)
}

/// What is doubtful about the sound itself, in plain sentences.
fn about(recording: &Recording) -> Vec<String> {
    let name = recording.name();
    let mut doubts = Vec::new();
    if recording.repaired() > 0 {
        doubts.push(format!(
            "{} samples of `{name}` are no numbers and became silence",
            recording.repaired()
        ));
    }
    let loud = |sample: &f32| sample.abs() > SILENT;
    if !recording.channels().iter().flatten().any(loud) {
        doubts.push(format!("`{name}` is silent: there is nothing to hear in it"));
    } else if recording.end().0 < SHORT {
        doubts.push(format!(
            "`{name}` is only {:.3} s long: too short for a tempo",
            recording.end().0
        ));
    }
    doubts
}
