//! What is open: the recording, its outline, what was heard in it.

use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::recording::{ContentHash, Recording};
use thumbline::unit::{Seconds, Span};

/// The state of the open recording.
#[derive(Debug, Clone, Default)]
pub enum RecordingView {
    /// Nothing is open.
    #[default]
    Empty,
    /// Being decoded; what is decoded already plays.
    Loading {
        /// File name.
        name: String,
        /// Share decoded, 0 to 1; none when the length is unknown.
        progress: Option<f32>,
    },
    /// Open and whole.
    Ready {
        /// File name.
        name: String,
        /// Where it lies; none for a recording that was never a file.
        path: Option<PathBuf>,
        /// The sound, at the host's rate.
        sound: Arc<Recording>,
    },
    /// The saved state names a recording that is not there; the rest of the state is kept until it
    /// is located.
    Missing {
        /// File name it had.
        name: String,
        /// Where it was.
        path: PathBuf,
        /// Identity of its sound, to recognise it by.
        hash: Option<ContentHash>,
    },
    /// It could not be opened.
    Failed {
        /// File name.
        name: String,
        /// One plain sentence.
        reason: String,
    },
}

impl RecordingView {
    /// Its name, where there is one.
    pub fn name(&self) -> Option<&str> {
        match self {
            Self::Empty => None,
            Self::Loading { name, .. }
            | Self::Ready { name, .. }
            | Self::Missing { name, .. }
            | Self::Failed { name, .. } => Some(name),
        }
    }
}

/// The state of the analysis.
#[derive(Debug, Clone, Default)]
pub enum AnalysisView {
    /// Not asked for yet.
    #[default]
    None,
    /// Under way.
    Working {
        /// Share done, 0 to 1.
        progress: f32,
        /// Where something begins, as far as it was listened to; in order of time.
        onsets: Arc<[Seconds]>,
        /// The notes with provisional roles and no grid, once they are known.
        so_far: Option<Arc<Analysis>>,
    },
    /// Done.
    Ready(Arc<Analysis>),
    /// It failed; the recording still plays.
    Failed(String),
}

impl AnalysisView {
    /// Just begun.
    pub fn begun() -> Self {
        Self::Working {
            progress: 0.0,
            onsets: Arc::from([]),
            so_far: None,
        }
    }

    /// What can be drawn: the result, or as much of it as there is.
    pub fn shown(&self) -> Option<&Arc<Analysis>> {
        match self {
            Self::Ready(analysis) => Some(analysis),
            Self::Working { so_far, .. } => so_far.as_ref(),
            _ => None,
        }
    }

    /// The result, where there is one.
    pub fn ready(&self) -> Option<&Arc<Analysis>> {
        match self {
            Self::Ready(analysis) => Some(analysis),
            _ => None,
        }
    }
}

/// Outline of a recording: the lowest and highest sample of each of equal stretches.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Peaks {
    /// Length of one stretch.
    pub step: Span,
    /// Lowest and highest sample (mean of the channels), −1 to 1, in order of time.
    pub range: Vec<(f32, f32)>,
}
