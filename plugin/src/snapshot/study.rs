//! What the pages asked for, and what sounds for them.

use crate::services::study::{DrillsView, NeckView, OffBeatView, PatternView, TuningsView};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::preset::Presets;
use thumbline::unit::{MidiNote, Span};

/// What the pages asked for.
#[derive(Debug, Clone, Default)]
pub struct StudyView {
    /// Tunings, scales and patterns by name, built in and the player's own.
    pub presets: Arc<Presets>,
    /// The neck.
    pub neck: Option<Arc<NeckView>>,
    /// The picking pattern.
    pub pattern: Option<Arc<PatternView>>,
    /// Tunings.
    pub tunings: Option<Arc<TuningsView>>,
    /// Are the player's own strings heard, and how high does the one sound that is played?
    pub strings: Option<Option<MidiNote>>,
    /// Drills.
    pub drills: Option<Arc<DrillsView>>,
    /// A melody moved against the beat.
    pub off_beat: Option<Arc<OffBeatView>>,
    /// The loop's bars, or those that a phrase usually has.
    pub bars: Option<(i32, i32)>,
    /// Where files for other programs go.
    pub folder: PathBuf,
    /// Those that were written, the last one last.
    pub written: Vec<PathBuf>,
    /// Can a change of the page in view be taken back?
    pub undoable: bool,
    /// Can one be done again?
    pub redoable: bool,
    /// Is a drill being made?
    pub making: bool,
    /// Why the open page has no answer to what it asks now.
    pub fault: Option<String>,
}

/// What sounds beside the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct BesideView {
    /// What it is.
    pub name: String,
    /// Again and again, until it is stopped?
    pub again: bool,
    /// Its length.
    pub length: Span,
    /// Place in it; none while it is made.
    pub at: Option<Span>,
}
