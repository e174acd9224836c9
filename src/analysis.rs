//! Recording → [`Analysis`]: onsets, pitches, roles, strings, beats, tuning.
//!
//! Owns what is heard. What the numbers mean for a player is `timing`; how they leave the process
//! is `report`.

pub mod attack;
pub mod beat;
pub mod correct;
pub mod decide;
pub mod doubt;
pub mod hear;
pub mod net;
pub mod onset;
pub mod pinch;
pub mod pitch;
pub mod place;
pub mod ring;
pub mod role;
pub mod string;
pub mod tuning;

use crate::music::grid::Grid;
use crate::music::note::{Note, Role};
use crate::music::tuning::Tuning;
use crate::recording::Recording;
use crate::unit::{Cents, Seconds};
use serde::{Deserialize, Serialize};

/// Frames a second of the mono signal that every stage of the analysis reads.
pub const RATE: u32 = 22_050;

/// What was heard in one recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// Notes in order of time.
    pub notes: Vec<Note>,
    /// Beats and bars; empty where no pulse was found.
    pub grid: Grid,
    /// Offset of the guitar's tuning from A4 = 440 Hz, −50 to 50 cents; none when nothing tonal
    /// was heard.
    pub tuning_offset: Option<Cents>,
    /// The same offset through the recording, a value every 20 s or so, in order of time; empty where
    /// too little was heard to tell.
    #[serde(default)]
    pub tuning_course: Vec<tuning::At>,
    /// The tuning that strings and frets refer to: given or assumed.
    pub tuning: Tuning,
    /// Length of the recording.
    pub end: Seconds,
    /// Other readings of the beat, most probable first.
    #[serde(default)]
    pub alternatives: Vec<beat::Alternative>,
    /// Plain sentences about what makes these results doubtful; empty when nothing does.
    pub warnings: Vec<String>,
}

/// What may be told to the analysis, and what may be asked of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// The guitar's tuning and capo; guessed when none is given.
    pub tuning: Option<Tuning>,
}

/// What the analysis is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    /// Finding where something begins.
    Onsets,
    /// Reading which notes begin there.
    Notes,
    /// Deciding thumb or fingers, string and fret.
    Roles,
    /// Finding the beat.
    Beats,
}

/// Watches an analysis while it runs; every method has an empty default.
///
/// All calls come from the thread that called [`analyze`].
pub trait Observer {
    /// `fraction` (0 to 1) of a stage is done. Stages come in their order, each at least once.
    fn progress(&mut self, _stage: Stage, _fraction: f32) {}

    /// Clear onsets of one more stretch of the recording, in order, before anything is known
    /// about them. Later results replace them.
    fn onsets(&mut self, _onsets: &[Seconds]) {}

    /// All notes with provisional roles, then again with final ones.
    fn notes(&mut self, _notes: &[Note]) {}

    /// Asked often: should the analysis stop?
    fn cancelled(&mut self) -> bool {
        false
    }
}

/// Nobody watches.
impl Observer for () {}

/// Why there is no analysis.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AnalysisError {
    /// The observer asked to stop.
    #[error("the analysis was stopped before it was done")]
    Cancelled,
}

/// Hears `recording`: notes with role, pitch, string and kind, the tuning's offset, beats.
///
/// Deterministic: the same recording and options give the same result on every run. Time is
/// linear in length; beyond the recording itself memory holds 44 s of sound at [`RATE`] and the
/// notes. Any input gives a result; what makes it doubtful is in [`Analysis::warnings`].
///
/// # Errors
/// [`AnalysisError::Cancelled`] when `observer` asks to stop.
pub fn analyze(
    recording: &Recording,
    options: &Options,
    observer: &mut dyn Observer,
) -> Result<Analysis, AnalysisError> {
    let mono = hear::Mono::new(recording);
    let (candidates, coarse) = hear::candidates(&mono, observer)?;
    let heard = hear::heard(&mono, &candidates, coarse.unwrap_or_default(), observer)?;
    let offset = coarse.unwrap_or_default();
    let mut events = decide::events(&heard);
    pinch::part(&mut events, &heard);
    let pitched: Vec<(Seconds, f64)> = events
        .iter()
        .map(|e| (e.time, f64::from(e.midi) + offset.0 / 100.0))
        .collect();
    observer.notes(&role::notes(&events, &Tuning::standard(), offset));
    let deviations = tuning::deviations(&events, &hear::measured(&mono, &pitched, observer)?);
    let tuning_offset = coarse.and(tuning::offset(&deviations));
    let tuning_course = coarse.map_or_else(Vec::new, |_| tuning::course(&deviations));
    let rings = ring::rings(&mono, &events, tuning_offset.unwrap_or(offset), observer)?;
    go_on(observer, Stage::Roles, 0.0)?;
    let tuning = options
        .tuning
        .clone()
        .unwrap_or_else(|| string::guess(&events, &rings));
    let mut notes = role::notes(&events, &tuning, tuning_offset.unwrap_or(offset));
    attack::describe(&mut notes, &events, &heard);
    ring::end(&mut notes, &rings);
    notes.extend(attack::knocks(&heard, &events));
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    notes.retain(|n| n.time < recording.end());
    notes
        .iter_mut()
        .filter(|n| n.end > recording.end())
        .for_each(|n| n.end = recording.end());
    let foreign = doubt::foreign(&heard);
    if foreign {
        for note in &mut notes {
            note.confidence *= 0.5;
        }
    }
    observer.notes(&notes);
    go_on(observer, Stage::Beats, 0.0)?;
    let beats = beat::track(&notes, recording.end(), &beat::GridEdits::default());
    Ok(Analysis {
        notes,
        grid: beats.grid,
        tuning_offset,
        tuning_course,
        tuning,
        end: recording.end(),
        alternatives: beats.alternatives,
        warnings: {
            let mut said = doubt::warnings(recording, &events, foreign);
            said.extend(beats.warnings);
            said
        },
    })
}

/// The same analysis after the player has said of some notes (by index) who plays them: strings,
/// frets and the other notes' roles are decided again around those.
pub fn reconsider(analysis: &Analysis, said: &[(usize, Role)]) -> Analysis {
    let mut after = analysis.clone();
    let offset = analysis.tuning_offset.unwrap_or_default();
    role::assign(&mut after.notes, &analysis.tuning, offset, said);
    for (note, before) in after.notes.iter_mut().zip(&analysis.notes) {
        note.end = before.end;
    }
    after
}

/// Reports progress and asks whether to go on.
fn go_on(observer: &mut dyn Observer, stage: Stage, fraction: f32) -> Result<(), AnalysisError> {
    observer.progress(stage, fraction);
    if observer.cancelled() {
        return Err(AnalysisError::Cancelled);
    }
    Ok(())
}
