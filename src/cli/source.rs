//! The recording that a command works on: read with progress, doubts told.

use super::terminal::{Progress, Terminal};
use super::usage;
use anyhow::Result;
use std::ops::Range;
use std::path::Path;
use thumbline::analysis::{self, Analysis, Observer, Options, Stage};
use thumbline::load::{Decoder, LoadError, Part};
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::unit::Seconds;

/// Below this level (−80 dB of full scale) there is nothing to hear.
const SILENT: f32 = 1e-4;

/// Shorter than this there is no music to find, in seconds.
const SHORT: f64 = 0.5;

/// Sound read before and after a part, in seconds.
const MARGIN: f64 = 1.0;

/// Reads `part` of the recording at `path` and tells what is doubtful about it.
pub fn read(path: &Path, part: Part, terminal: &Terminal) -> Result<Recording> {
    let progress = terminal.progress("reading");
    let mut decoder = Decoder::open(path, part)?;
    while decoder.step()? {
        progress.at(decoder.share().unwrap_or(0.0));
    }
    drop(progress);
    let mut doubts = decoder.warnings();
    let recording = decoder.finish().map_err(|error| match error {
        LoadError::Outside { name, end, .. } => outside(&name, end),
        other => other.into(),
    })?;
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
        doubts.push(format!(
            "`{name}` is silent: there is nothing to hear in it"
        ));
    } else if recording.end().0 < SHORT {
        doubts.push(format!(
            "`{name}` is only {:.3} s long: too short for a tempo",
            recording.end().0
        ));
    }
    doubts
}

/// Hears `recording` with progress and tells what makes the result doubtful.
pub fn analyze(recording: &Recording, options: &Options, terminal: &Terminal) -> Result<Analysis> {
    let mut watch = Watch(terminal.progress("listening"));
    let found = analysis::analyze(recording, options, &mut watch)?;
    drop(watch);
    for doubt in &found.warnings {
        terminal.warn(doubt);
    }
    Ok(found)
}

/// Turns stages of the analysis into one share of the work.
struct Watch(Progress);

impl Observer for Watch {
    fn progress(&mut self, stage: Stage, fraction: f32) {
        // Shares of the time each stage takes, measured on recordings of half a minute.
        let (start, length) = match stage {
            Stage::Onsets => (0.0, 0.3),
            Stage::Notes => (0.3, 0.65),
            Stage::Roles => (0.95, 0.02),
            Stage::Beats => (0.97, 0.03),
        };
        self.0.at(start + length * f64::from(fraction));
    }
}

/// Writes a text report.
pub fn save(target: &Target, text: &str) -> Result<()> {
    target.write(|out| out.write_all(text.as_bytes()))?;
    Ok(())
}

/// Reads what lies around `part`, so that ringing strings and attacks at its edges are whole, and
/// tells which frames of it are the part.
pub fn read_around(
    path: &Path,
    part: Part,
    terminal: &Terminal,
) -> Result<(Recording, Range<usize>)> {
    let around = Part {
        from: Seconds((part.from.0 - MARGIN).max(0.0)),
        to: part.to.map(|to| Seconds(to.0 + MARGIN)),
    };
    let recording = read(path, around, terminal)?;
    let rate = recording.rate();
    let origin = around.from.frame(rate);
    let from = part.from.frame(rate) - origin;
    let end = recording.frames();
    let to = part.to.map_or(end, |to| to.frame(rate) - origin);
    if from >= end || to > end + rate as usize / 100 {
        let whole = Seconds::of_frame(origin + end, rate);
        return Err(outside(recording.name(), whole));
    }
    Ok((recording, from..to.min(end)))
}

fn outside(name: &str, end: Seconds) -> anyhow::Error {
    usage(format!(
        "`{name}` is {:.2} s long: choose --from-s and --to-s within it",
        end.0
    ))
}
