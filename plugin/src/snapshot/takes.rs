//! Own takes, what they come to, and what is being recorded.

use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::Comparison;
use thumbline::journal::{PracticeDay, PracticeRound};
use thumbline::unit::{Seconds, Span};

/// One take.
#[derive(Debug, Clone)]
pub struct TakeView {
    /// What the list shows: "take 3, bars 5–8 at 60 %".
    pub name: String,
    /// Where it was saved.
    pub path: Option<PathBuf>,
    /// Stretch of the recording's timeline it covers.
    pub from: Seconds,
    /// Its end on the recording's timeline.
    pub to: Seconds,
    /// What was heard in it, its times on the recording's timeline; none until it is analysed.
    pub analysis: Option<Arc<Analysis>>,
    /// How it answers the recording; none until both are analysed.
    pub answer: Option<Arc<Answer>>,
    /// Is it drawn over the sheet?
    pub shown: bool,
    /// Is its file gone?
    pub gone: bool,
}

/// How a take answers the recording.
#[derive(Debug)]
pub struct Answer {
    /// Note against note.
    pub found: Comparison,
    /// What it comes to, in plain sentences.
    pub words: Vec<String>,
    /// The reading of the recording that it speaks of.
    pub to: Arc<Analysis>,
}

/// The journal's page of a recording.
#[derive(Debug, Default)]
pub struct PageView {
    /// Progress, a session a day, oldest first.
    pub sessions: Vec<PracticeDay>,
    /// The latest rounds, newest first.
    pub rounds: Vec<PracticeRound>,
    /// What to practise next, over all pages, in plain sentences.
    pub next: Vec<String>,
    /// Why the journal could not be read, where that is so.
    pub fault: Option<String>,
}

/// What is being recorded.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum CaptureView {
    /// Nothing.
    #[default]
    Off,
    /// Waits for the host (or the deck) to run.
    Armed(CaptureSource),
    /// Records.
    Running {
        /// From where.
        source: CaptureSource,
        /// Length so far.
        length: Span,
    },
    /// Plays clicks and listens for them, to measure the round-trip latency.
    Calibrating,
}

/// Where recorded sound comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CaptureSource {
    /// The track's own sound: it becomes the recording.
    Track,
    /// The side input (the standalone's input): an own take against the recording.
    Take,
}
