//! The recording that a command works on: read with progress, doubts told.

use super::side::Side;
use super::terminal::{Progress, Terminal};
use super::usage::usage;
use anyhow::Result;
use std::borrow::Cow;
use std::path::Path;
use thumbline::analysis::{self, Analysis, Observer, Options, Stage};
use thumbline::home;
use thumbline::load::{Decoder, LoadError, Part};
use thumbline::music::guess;
use thumbline::preset::Presets;
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::timing::{self, Drift, Reference};
use thumbline::unit::{Seconds, Span};

/// Below this level (−80 dB of full scale) there is nothing to hear.
const SILENT: f32 = 1e-4;

/// Shorter than this there is no music to find, in seconds.
const SHORT: f64 = 0.5;

/// A note this much before a bar line may still belong to the bar, in seconds: three times the
/// spread of practised players (Rasch 1979, as quoted in the reference sheet: 27 to 49 ms) is less
/// than twice this.
const EARLIEST: f64 = 0.06;

/// A part by bars begins this long before the first pluck, in seconds: its attack takes about a
/// millisecond, its measured time is sure to about two.
const BEFORE_PLUCK: f64 = 0.003;

/// Sound read before and after a part, in seconds.
const MARGIN: f64 = 1.0;

/// Reads `part` of the recording at `path` and tells what is doubtful about it.
pub fn read(path: &Path, part: Part, terminal: &Terminal) -> Result<Recording> {
    read_from(Decoder::open(path, part)?, terminal)
}

/// The same of a recording of any length, for what goes through it from the beginning to the end.
pub fn read_long(path: &Path, part: Part, terminal: &Terminal) -> Result<Recording> {
    read_from(Decoder::open_long(path, part)?, terminal)
}

fn read_from(mut decoder: Decoder, terminal: &Terminal) -> Result<Recording> {
    let progress = terminal.progress("reading");
    while decoder.step()? {
        progress.at(decoder.share().unwrap_or(0.0));
    }
    drop(progress);
    let mut doubts = decoder.warnings();
    let recording = decoder.finish().map_err(|error| match error {
        LoadError::Outside { name, end, .. } => outside(&name, end),
        other => other.into(),
    })?;
    let recording = match terminal.side() {
        Some(side) => side.of(&recording)?,
        None => recording,
    };
    doubts.extend(about(&recording));
    for doubt in &doubts {
        terminal.warn(doubt);
    }
    Ok(recording)
}

/// What is doubtful about the sound itself, in plain sentences.
fn about(recording: &Recording) -> Vec<String> {
    let name = recording.name();
    let mut doubts = Vec::new();
    if recording.repaired() > 0 {
        doubts.push(format!(
            "{} samples of `{name}` were not numbers and became silence",
            recording.repaired()
        ));
    }
    let loud = |block: Cow<[f32]>| block.iter().any(|sample| sample.abs() > SILENT);
    if !(0..recording.width()).any(|channel| recording.blocks(channel).any(loud)) {
        doubts.push(format!(
            "`{name}` is silent: there is nothing to hear in it"
        ));
        return doubts;
    }
    if let Some(side) = recording.lone_channel().map(Side) {
        let side = match side.0 {
            0 | 1 => format!("its {side} side"),
            _ => format!("channel {side}"),
        };
        doubts.push(format!(
            "`{name}` has its sound on {side} only: --side takes that side alone, which is louder \
             and in both ears"
        ));
    }
    if recording.end().0 < SHORT {
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

/// Tells the tuning where it was guessed, for commands whose answer rests on it.
pub fn tell_tuning(found: &Analysis, terminal: &Terminal) {
    if let Some(said) = tuning_said(found) {
        terminal.remark(&format!("tuning {said}"));
    }
}

/// How the tuning is told where it was guessed.
pub fn tuning_said(found: &Analysis) -> Option<String> {
    let change = if found.tuning_known() {
        "change with --tuning"
    } else {
        "say it with --tuning"
    };
    let said = guess::told(&found.guesses);
    (!said.is_empty()).then(|| format!("{said}; {change}"))
}

/// What was heard and how it stands to its own beat.
pub struct Analysed {
    /// What was heard.
    pub found: Analysis,
    /// Against its own tempo.
    pub drift: Drift,
}

/// Hears `recording` and measures it against its own tempo.
pub fn hear(recording: &Recording, options: &Options, terminal: &Terminal) -> Result<Analysed> {
    let found = analyze(recording, options, terminal)?;
    let drift = timing::of(&found, Reference::OwnTempo);
    Ok(Analysed { found, drift })
}

/// Shows how much of an analysis is done.
struct Watch(Progress);

impl Observer for Watch {
    fn progress(&mut self, stage: Stage, fraction: f32) {
        self.0.at(f64::from(stage.done(fraction)));
    }
}

/// The presets, with the player's own; those that cannot be used are named.
pub fn presets(terminal: &Terminal) -> Presets {
    let (presets, left_out) = Presets::with_folder(home::presets().as_deref());
    for what in left_out {
        terminal.warn(&what.to_string());
    }
    presets
}

/// Writes a text report.
pub fn save(target: &Target, text: &str) -> Result<()> {
    target.write(|out| out.write_all(text.as_bytes()))?;
    Ok(())
}

/// Reads what lies around `part`, so that ringing strings and attacks at its edges are whole, and
/// tells where the part lies in it.
pub fn read_around(path: &Path, part: Part, terminal: &Terminal) -> Result<(Recording, Part)> {
    let around = Part {
        from: Seconds((part.from.0 - MARGIN).max(0.0)),
        to: part.to.map(|to| Seconds(to.0 + MARGIN)),
    };
    let recording = read(path, around, terminal)?;
    let rate = recording.rate();
    let origin = Seconds::of_frame(around.from.frame(rate), rate);
    let end = origin + (recording.end() - Seconds(0.0));
    if part.from >= end || part.to.is_some_and(|to| to > end + Span(0.01)) {
        return Err(outside(recording.name(), end));
    }
    let at = |time: Seconds| Seconds((time - origin).0.clamp(0.0, recording.end().0));
    let part = Part {
        from: at(part.from),
        to: Some(part.to.map_or(recording.end(), at)),
    };
    Ok((recording, part))
}

/// `part`, when it lies inside `recording`.
pub fn inside(recording: &Recording, part: Part) -> Result<Part> {
    let end = recording.end();
    let to = part.to.unwrap_or(end);
    if part.from >= end || to > end + Span(0.01) {
        return Err(outside(recording.name(), end));
    }
    Ok(Part {
        from: part.from,
        to: Some(Seconds(to.0.min(end.0))),
    })
}

/// The part from the start of bar `first` to the end of bar `last`, begun and ended a little
/// early where a note comes before its bar line, so that no pluck is cut in two.
pub fn bars(recording: &Recording, found: &Analysis, first: i32, last: i32) -> Result<Part> {
    let bars = found.grid.bars();
    let (Some(lowest), Some(highest)) = (bars.first(), bars.last()) else {
        return Err(usage(format!(
            "no steady beat was found in `{}`, so it has no bars: choose the part with --from-s \
             and --to-s",
            recording.name()
        )));
    };
    let Some((from, to)) = found.grid.bar_range(first, last) else {
        return Err(usage(format!(
            "`{}` has bars {} to {}: choose bars within them",
            recording.name(),
            lowest.number,
            highest.number
        )));
    };
    let early = |line: Seconds| {
        found
            .notes
            .iter()
            .map(|note| (line - note.time).0)
            .filter(|by| (0.0..EARLIEST).contains(by))
            .fold(0.0, f64::max)
    };
    let lead = Span(early(from).max(early(to)) + BEFORE_PLUCK);
    Ok(Part {
        from: Seconds((from - lead).0.max(0.0)),
        to: Some(Seconds((to - lead).0.min(recording.end().0))),
    })
}

fn outside(name: &str, end: Seconds) -> anyhow::Error {
    usage(format!(
        "`{name}` is {:.2} s long: choose --from-s and --to-s within it",
        end.0
    ))
}
