//! Who watches an analysis while it runs, and may stop it.

use crate::music::note::Note;
use crate::unit::Seconds;

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

impl Stage {
    /// The share of the whole analysis that is done with `fraction` (0 to 1) of this stage, 0 to 1: by the time that
    /// each stage takes on recordings of half a minute.
    pub fn done(self, fraction: f32) -> f32 {
        let (start, length) = match self {
            Self::Onsets => (0.0, 0.3),
            Self::Notes => (0.3, 0.65),
            Self::Roles => (0.95, 0.02),
            Self::Beats => (0.97, 0.03),
        };
        start + length * fraction
    }
}

/// Watches an analysis while it runs; every method has an empty default.
///
/// All calls come from the thread that called [`analyze`](super::analyze).
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

/// Why there is no analysis.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AnalysisError {
    /// The observer asked to stop.
    #[error("the analysis was stopped before it had finished")]
    Cancelled,
}

/// Reports progress and asks whether to go on.
pub(super) fn go_on(
    observer: &mut dyn Observer,
    stage: Stage,
    fraction: f32,
) -> Result<(), AnalysisError> {
    observer.progress(stage, fraction);
    if observer.cancelled() {
        return Err(AnalysisError::Cancelled);
    }
    Ok(())
}

/// Nobody watches.
impl Observer for () {}
