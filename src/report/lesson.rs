//! The lesson page: what a teacher hands to a student, one HTML file that plays without a network.
//!
//! Owns what stands in a page and the way from a recording, its notes and a choice of bars to the
//! file's bytes: [`page`] makes it, [`read`] gives back the settings it was made with. It hears
//! nothing and draws no note itself: the bars are `report::sheet`, the neck is `report::neck`, slow
//! sound is `stretch`, one hand alone is `separate`.
//!
//! - `part`: the phrase, a pattern, a stage of a drill: notes, beats and the loop they lie in.
//! - `sound`: a loop at one speed with its seam, encoded.
//! - `picture`: the bar sheet and the neck in the page's colours, every note addressable.
//! - `words`: what the teacher wrote, the notes in words.
//! - `html`: the file; `page.css` and `page.js` are its look and its behaviour.

mod html;
mod part;
mod picture;
mod settings;
mod sound;
mod words;

pub use settings::{NoLesson, Settings, read};

use crate::analysis::Analysis;
use crate::music::drill::{Stage, Technique, What, chords_stage, pattern_stages, ringing_stage};
use crate::music::note::Note;
use crate::music::picking::{self, Cell};
use crate::music::progression::Held;
use crate::music::scale::Scale;
use crate::recording::Recording;
use crate::report::capitalised;
use crate::stretch::Speed;
use crate::timing::Drift;
use crate::unit::{Bpm, Seconds};

/// Speeds of a page where none are chosen.
pub const SPEEDS: [f64; 4] = [0.5, 0.6, 0.75, 1.0];

/// Longest choice of bars in seconds: at four speeds and with each hand alone it fills about 12 MB,
/// which mail still carries.
pub const LONGEST: f64 = 90.0;

/// Most speeds of a page: keys 1 to 4 choose them.
pub const MOST_SPEEDS: usize = 4;

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
    pub chords: Vec<Held>,
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
pub struct Day {
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
    pub chords: Vec<Held>,
    /// What to do on the days that follow; empty without a plan.
    pub week: Vec<Day>,
}

/// The page as one HTML file: the same bytes from the same lesson. `go_on` is asked between pieces
/// of work, from several threads.
///
/// Sound is 48 kHz Opus in Ogg (RFC 6716, RFC 7845), about 40 kB a second of the phrase for four
/// speeds and three balances.
///
/// # Errors
/// [`LessonError`]; nothing is written here.
pub fn page(lesson: &Lesson<'_>, go_on: &(dyn Fn() -> bool + Sync)) -> Result<String, LessonError> {
    let speeds = speeds(&lesson.settings.speeds)?;
    let phrase = part::phrase(&lesson.phrase)?;
    let mut parts = vec![phrase];
    for practice in &lesson.practice {
        parts.extend(part::practice(practice));
    }
    let sounds = sound::all(lesson, &parts, &speeds, go_on)?;
    Ok(html::write(lesson, &parts, &sounds))
}

/// Tempo of written practice where the recording has none that a hand plays.
const TEMPO: Bpm = Bpm(80.0);
/// Bars of a stage.
const STAGE: usize = 2;

/// Tempo at which the practice of a recording is played at 100 %.
pub fn tempo(heard: &Analysis) -> Bpm {
    let own = heard.grid.tempo();
    own.filter(|t| (30.0..=200.0).contains(&t.0))
        .unwrap_or(TEMPO)
}

/// The stages of the pattern that a recording repeats, from the thumb alone to all of it; empty where
/// none was found.
pub fn found_pattern(heard: &Analysis) -> Vec<Stage> {
    let placed = picking::place(&heard.notes, &heard.grid);
    let found = picking::find(&placed, heard.grid.meter);
    found.map_or_else(Vec::new, |found| {
        pattern_stages(
            "the pattern",
            &found.cell,
            &heard.tuning,
            tempo(heard),
            STAGE,
        )
    })
}

/// The pattern that a recording repeats, alone, on open strings; none where none was found.
pub fn pattern_alone(heard: &Analysis) -> Option<Practice> {
    // The last stage is all of it.
    let whole = found_pattern(heard).pop()?;
    Some(Practice {
        title: "The pattern alone".to_owned(),
        stages: vec![Stage {
            title: "on open strings".to_owned(),
            ..whole
        }],
        tempo: tempo(heard),
    })
}

/// Everything that is practised besides the bars: the pattern alone, then what is `asked`.
///
/// # Errors
/// [`LessonError`] where the recording or its guitar has not got it.
pub fn practice(heard: &Analysis, asked: &Asked) -> Result<Vec<Practice>, LessonError> {
    let (tempo, tuning) = (tempo(heard), &heard.tuning);
    let practised = |title: String, stages: Vec<Stage>| Practice {
        title,
        stages,
        tempo,
    };
    // The last step of its own drill is the pattern alone.
    let stepped = matches!(asked.drill, Some(Drilled::Found));
    let alone = pattern_alone(heard).filter(|_| !stepped);
    let mut all: Vec<Practice> = alone.into_iter().collect();
    match &asked.drill {
        Some(Drilled::Found) => {
            let stages = found_pattern(heard);
            if stages.is_empty() {
                return Err(LessonError::NoPattern);
            }
            let title = "Step by step: the pattern of this recording".to_owned();
            all.push(practised(title, stages));
        }
        Some(Drilled::Known(name, cell)) => {
            let stages = pattern_stages(name, cell, tuning, tempo, STAGE);
            all.push(practised(format!("Step by step: {name}"), stages));
        }
        None => {}
    }
    if !asked.chords.is_empty() {
        if !heard.tuning_known() {
            return Err(LessonError::Tuning);
        }
        let stage = chords_stage(&asked.chords, tuning, tempo);
        all.push(practised("Chords".to_owned(), vec![stage]));
    }
    if let Some(scale) = &asked.scale {
        let stage = ringing_stage(scale, tuning, tempo);
        let stage = stage.ok_or_else(|| LessonError::Scale(scale.name.clone()))?;
        all.push(practised(format!("Scale: {}", scale.name), vec![stage]));
    }
    let techniques = asked.techniques.iter().cloned();
    let mut others: Vec<What> = techniques.map(|(t, s)| What::Technique(t, s)).collect();
    others.extend(asked.harmonics.then_some(What::Harmonics));
    if !others.is_empty() && !heard.tuning_known() {
        return Err(LessonError::Tuning);
    }
    all.extend(others.iter().map(|what| {
        let stages = what.stages(tuning, tempo, STAGE);
        practised(capitalised(&what.name()), stages)
    }));
    Ok(all)
}

/// The bars that a page is made of where none are chosen: from the first one on, as many as are
/// usually worked on at once.
pub fn usual_bars(heard: &Analysis) -> Option<(i32, i32)> {
    const USUAL: i32 = 4;
    let bars = heard.grid.bars();
    let last = bars.last()?.number;
    let first = bars.iter().map(|b| b.number).find(|n| *n >= 1)?;
    Some((first, last.min(first + USUAL - 1)))
}

fn speeds(given: &[f64]) -> Result<Vec<Speed>, LessonError> {
    let speeds: Vec<Speed> = given.iter().filter_map(|s| Speed::new(*s).ok()).collect();
    if speeds.len() != given.len() || !(1..=MOST_SPEEDS).contains(&speeds.len()) {
        return Err(LessonError::Speeds(given.len()));
    }
    Ok(speeds)
}

/// An instant that lies in a part, in seconds after the part's beginning.
fn after(from: Seconds, at: Seconds) -> f64 {
    // Whole tenths of a millisecond: finer than any onset is known, and short in the file.
    ((at - from).0 * 1e4).round() / 1e4
}
