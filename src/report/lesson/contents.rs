//! What goes into a page, and why there is none.

use super::settings::Settings;
use crate::analysis::Analysis;
use crate::music::drill::{Stage, Technique};
use crate::music::note::Note;
use crate::music::picking::Cell;
use crate::music::progression::HeldChord;
use crate::music::scale::Scale;
use crate::recording::Recording;
use crate::timing::Drift;
use crate::unit::Bpm;

/// Longest choice of bars in seconds: at four speeds and with each hand alone it fills about 12 MB,
/// which mail still carries.
pub const LONGEST: f64 = 90.0;

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LessonError {
    /// No beat, so no bars.
    #[error(
        "no steady beat was found in `{0}`, so it has no bars to make a lesson of; `slow` and \
         `loop` still work on seconds of it"
    )]
    NoBeat(String),
    /// The bars are not there.
    #[error("`{name}` has bars {first} to {last}: choose bars within them")]
    Bars {
        /// The recording.
        name: String,
        /// Its first bar.
        first: i32,
        /// Its last one.
        last: i32,
    },
    /// Too much for one page.
    #[error(
        "bars {first} to {last} last {}: too long for one page, and for one lesson; choose up to \
         {fit} bars (as {first}-{}), and make a page for each part", minutes(*.seconds), .first + .fit - 1
    )]
    Long {
        /// First bar chosen.
        first: i32,
        /// Last bar chosen.
        last: i32,
        /// How long they last.
        seconds: f64,
        /// How many bars from the first one on fit.
        fit: i32,
    },
    /// No speed, or more than there are keys for.
    #[error("a page holds 1 to 4 speeds; {0} are given")]
    Speeds(usize),
    /// The recording repeats no pattern.
    #[error("no pattern was found in this recording: name a known one to drill")]
    NoPattern,
    /// A scale that this guitar has not got.
    #[error("the strings do not reach every note of {0}")]
    Scale(String),
    /// Shapes for strings that nobody knows.
    #[error("chord shapes, techniques and harmonics need a tuning that is known: tell it")]
    Tuning,
    /// The caller asked to stop.
    #[error("stopped before the page was done")]
    Cancelled,
    /// The encoder refused the sound.
    #[error("the sound could not be encoded ({0})")]
    Encoder(String),
    /// A part of the recording could not be cut out.
    #[error(transparent)]
    Recording(#[from] crate::recording::RecordingError),
}

fn minutes(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{seconds:.0} s")
    } else {
        format!("{:.1} minutes", seconds / 60.0)
    }
}

/// The bars that a lesson is about.
#[derive(Debug, Clone, Copy)]
pub struct Phrase<'a> {
    /// The whole recording.
    pub recording: &'a Recording,
    /// What was heard in it.
    pub heard: &'a Analysis,
    /// How it stands to its beat.
    pub drift: &'a Drift,
    /// First and last bar, as a player counts.
    pub bars: (i32, i32),
    /// A take on the recording's beats, drawn as hollow heads: its notes and their drift.
    pub take: Option<(&'a [Note], &'a Drift)>,
}

/// Written practice: a pattern alone, the stages of a drill, a scale.
#[derive(Debug, Clone)]
pub struct Practice {
    /// What it is, as a heading.
    pub title: String,
    /// Its steps in order.
    pub stages: Vec<Stage>,
    /// Tempo at 100 %.
    pub tempo: Bpm,
}

/// What is practised besides the bars.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// A pattern, step by step.
    pub drill: Option<Drilled>,
    /// A scale along the path that rings.
    pub scale: Option<Scale>,
    /// Chords to hold, one after the other.
    pub chords: Vec<HeldChord>,
    /// Techniques of the left hand, each on a scale.
    pub techniques: Vec<(Technique, Scale)>,
    /// Natural harmonics across the strings.
    pub harmonics: bool,
}

impl Asked {
    /// Its techniques by name, as [`Settings`] keep them.
    pub fn technique_names(&self) -> Vec<String> {
        let names = self.techniques.iter().map(|(what, _)| what.name());
        names.map(str::to_owned).collect()
    }
}

/// Which pattern is drilled.
#[derive(Debug, Clone)]
pub enum Drilled {
    /// The one that the recording repeats.
    Found,
    /// This one, by its name.
    Known(String, Cell),
}

/// One day of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanDay {
    /// Its date, as it is shown.
    pub date: String,
    /// What to do, in sentences; empty on a day of rest.
    pub tasks: Vec<String>,
    /// Minutes that it takes, breaks aside.
    pub minutes: u32,
}

/// Everything that goes into a page.
#[derive(Debug, Clone)]
pub struct Lesson<'a> {
    /// What the page was made with; its title, words and speeds are shown.
    pub settings: &'a Settings,
    /// The bars.
    pub phrase: Phrase<'a>,
    /// The tuning by name.
    pub tuning_name: String,
    /// What is practised besides.
    pub practice: Vec<Practice>,
    /// Chords to hold, in their order.
    pub chords: Vec<HeldChord>,
    /// What to do on the days that follow; empty without a plan.
    pub week: Vec<PlanDay>,
}
