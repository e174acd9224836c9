//! Drills as recordings: the stages of a lesson by the plucked-string model, with the notes and beats
//! they were written with, so that nothing of them has to be guessed.

use crate::data::{data_dir, write_whole};
use crate::job::Cancel;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::dsp::pluck::Guitar;
use thumbline::music::drill::{Session, Stage, What};
use thumbline::music::grid::Grid;
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report::flac;
use thumbline::unit::{Bpm, Seconds};

/// Frames a second.
const RATE: u32 = 44_100;

/// A drill to be opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// What is practised.
    pub what: What,
    /// On which strings.
    pub tuning: Tuning,
    /// Tempo at full speed.
    pub tempo: Bpm,
    /// Bars of each stage.
    pub bars: usize,
    /// The stage that is looped first.
    pub stage: usize,
}

/// A stretch with a name.
pub type Named = (String, Seconds, Seconds);

/// The drill's file, its stages and the one that is looped first; or why there is none.
pub type Answer = Result<(PathBuf, Vec<Named>, usize), String>;

/// Does a job in one go; says nothing when it was given up.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    match write_in(job, cancel, &folder()) {
        Ok(Some(answer)) => say(Ok(answer)),
        Ok(None) => {}
        Err(why) => say(Err(why)),
    }
}

fn folder() -> PathBuf {
    data_dir().join("drills")
}

/// Writes a drill into `folder`; none when it was given up.
///
/// # Errors
/// Why it cannot be played or written, in words.
pub fn write_in(
    job: &Job,
    cancel: &Cancel,
    folder: &Path,
) -> Result<Option<(PathBuf, Vec<Named>, usize)>, String> {
    let stages = &job.what.stages(&job.tuning, job.tempo, job.bars)[..];
    if stages.iter().all(|s| s.score.notes.is_empty()) {
        return Err("This tuning has none of the strings that it is played on".to_owned());
    }
    let session = Session::of(stages, &[job.tempo], false);
    let guitar = Guitar {
        rate: RATE,
        stereo: false,
        noise: None,
        ..Guitar::default()
    };
    let mut channels = guitar.play(&session.strokes, session.length).channels;
    if cancel.is_cancelled() {
        return Ok(None);
    }
    // What is known of it is found again by its sound: as the file will hold it.
    for sample in channels.iter_mut().flatten() {
        *sample = flac::rounded(*sample);
    }
    let text = |e: &dyn std::error::Error| e.to_string();
    let mut bytes = Vec::new();
    flac::write(&mut bytes, RATE, &channels).map_err(|e| text(&e))?;
    let path = folder.join(format!("{}.flac", file_name(job)));
    let sound = Recording::new("drill", RATE, channels).map_err(|e| text(&e))?;
    let known = serde_json::to_vec(&told(job, &session, stages)).map_err(|e| text(&e))?;
    if cancel.is_cancelled() {
        return Ok(None);
    }
    write_whole(&known_at(folder, sound.hash()), &known).map_err(|e| text(&e))?;
    write_whole(&path, &bytes).map_err(|e| text(&e))?;
    let stretches = stages.iter().zip(&session.stretches);
    let named = stretches.map(|(stage, (from, to))| (stage.title.clone(), *from, *to));
    let named: Vec<Named> = named.collect();
    let first = job.stage.min(named.len().saturating_sub(1));
    Ok(Some((path, named, first)))
}

/// What the drill was written with.
fn told(job: &Job, session: &Session, stages: &[Stage]) -> Analysis {
    let meter = stages[0].score.meter;
    let grid = Grid::from_beats(&session.beats, 0, meter);
    let mut notes: Vec<_> = session.notes.iter().map(|n| n.note.clone()).collect();
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    Analysis::told(notes, grid, job.tuning.clone(), Seconds(session.length.0))
}

fn file_name(job: &Job) -> String {
    let name = format!(
        "Drill, {}, {}, {:.0}",
        job.what.name(),
        job.tuning,
        job.tempo.0
    );
    let kept = |c: char| c.is_alphanumeric() || " ,#-+".contains(c);
    name.chars()
        .map(|c| if kept(c) { c } else { '_' })
        .take(120)
        .collect()
}

fn known_at(folder: &Path, hash: ContentHash) -> PathBuf {
    folder.join(format!("{hash}.json"))
}

/// What is known of a sound that is a drill, in this tuning where one is asked for; none of any other.
pub fn known(hash: ContentHash, tuning: Option<&Tuning>) -> Option<Arc<Analysis>> {
    known_in(&folder(), hash, tuning)
}

/// The same of a drill in `folder`.
pub fn known_in(
    folder: &Path,
    hash: ContentHash,
    tuning: Option<&Tuning>,
) -> Option<Arc<Analysis>> {
    let text = std::fs::read(known_at(folder, hash)).ok()?;
    let analysis: Analysis = serde_json::from_slice(&text).ok()?;
    tuning
        .is_none_or(|t| *t == analysis.tuning)
        .then(|| Arc::new(analysis))
}
