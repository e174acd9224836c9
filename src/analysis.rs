//! Recording → [`Analysis`]: onsets, pitches, roles, strings, beats, tuning.
//!
//! Owns what is heard. What the numbers mean for a player is `timing`; how they leave the process
//! is `report`.

pub mod beat;
#[doc(hidden)]
pub mod candidates;
mod chord_candidates;
mod chord_onsets;
mod concert_pitch;
pub mod corrections;
#[doc(hidden)]
pub mod features;
pub mod hand;
mod kinds;
#[doc(hidden)]
pub mod mono;
mod note_event;
#[doc(hidden)]
pub mod note_selection;
mod observer;
pub mod one_guitar;
mod pitch;
#[doc(hidden)]
pub mod pluck_net;
mod ring;
mod role;
#[doc(hidden)]
pub mod string_assignment;
mod warnings;

use crate::music::grid::Grid;
use crate::music::guess::{self, Guess};
use crate::music::note::{Note, Role};
use crate::music::tuning::{NamedTuning, Tuning};
use crate::recording::Recording;
use crate::unit::{Cents, Seconds, Span};
use mono::Mono;
use observer::go_on;
use serde::{Deserialize, Serialize};

pub use concert_pitch::TuningAt;
pub use mono::RATE;
pub use observer::{AnalysisError, Observer, Stage};

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
    pub tuning_course: Vec<TuningAt>,
    /// The tuning that strings and frets refer to: told, or the likeliest of `guesses`.
    pub tuning: Tuning,
    /// What the tuning may be, most likely first; empty where it was told or nothing was played.
    #[serde(default)]
    pub guesses: Vec<Guess>,
    /// Whether one plucked guitar is what sounds.
    #[serde(default)]
    pub solo: one_guitar::Solo,
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
    /// The tunings that are guessed among: the player's own among them; those that come with
    /// Thumbline when none is given.
    pub tunings: Vec<NamedTuning>,
}

impl Options {
    /// A guitar tuned so.
    pub fn tuned(tuning: Tuning) -> Self {
        Self {
            tuning: Some(tuning),
            ..Self::default()
        }
    }
}

impl Analysis {
    /// What was written rather than heard, so that all of it is certain: `notes` in order of time, on
    /// `grid`, in `tuning`, in a sound that lasts until `end`.
    pub fn told(notes: Vec<Note>, grid: Grid, tuning: Tuning, end: Seconds) -> Self {
        Self {
            notes,
            grid,
            tuning_offset: Some(Cents(0.0)),
            tuning_course: Vec::new(),
            tuning,
            guesses: Vec::new(),
            solo: one_guitar::Solo::default(),
            end,
            alternatives: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Bars `first` to `last` (both included) as a piece of their own that begins with them, and where they
    /// lie in the recording; none where there are no such bars. A note a little before the first bar's
    /// line is meant for it.
    pub fn phrase(&self, first: i32, last: i32) -> Option<(Self, Seconds, Seconds)> {
        /// How little.
        const SLACK: Span = Span::from_ms(60.0);
        let (from, to) = self.grid.bar_range(first, last)?;
        let held = |n: &&Note| n.time >= from - SLACK && n.time < to - SLACK;
        let moved = |time: Seconds| Seconds((time.0 - from.0).max(0.0));
        let notes = self.notes.iter().filter(held).map(|n| Note {
            time: moved(n.time),
            end: Seconds(
                moved(n.end)
                    .0
                    .clamp(moved(n.time).0, moved(to).0.max(moved(n.time).0)),
            ),
            ..n.clone()
        });
        let phrase = Self {
            notes: notes.collect(),
            grid: self.grid.part(from, to),
            tuning_course: Vec::new(),
            end: moved(to),
            alternatives: Vec::new(),
            ..self.clone()
        };
        Some((phrase, from, to))
    }

    /// Whether strings and frets may be told as known: the tuning was told, or its guess is sure.
    pub fn tuning_known(&self) -> bool {
        self.guesses.first().is_none_or(|g| g.odds >= guess::SURE)
    }

    /// The same notes on the strings of `tuning`, as if it had been told; roles that a player gave
    /// are kept by whoever holds them (see [`reconsider`]).
    #[must_use]
    pub fn tuned(&self, tuning: &Tuning) -> Self {
        let mut after = Self {
            tuning: tuning.clone(),
            guesses: Vec::new(),
            ..self.clone()
        };
        if *tuning != self.tuning {
            after = reconsider(&after, &[]);
        }
        after
    }
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
    let mono = Mono::new(recording);
    let Plucked {
        heard,
        events,
        rings,
        offset,
        tuning_offset,
        tuning_course,
    } = plucked(&mono, observer)?;
    go_on(observer, Stage::Roles, 0.0)?;
    let guesses = match (&options.tuning, options.tunings.as_slice()) {
        (Some(_), _) => Vec::new(),
        (None, []) => string_assignment::guesses(&events, &rings, NamedTuning::built_in()),
        (None, known) => string_assignment::guesses(&events, &rings, known),
    };
    let tuning = options.tuning.clone().unwrap_or_else(|| {
        let first = guesses.first().map(|g| g.tuning.clone());
        first.unwrap_or_else(Tuning::standard)
    });
    let mut notes = role::notes(&events, &tuning, offset);
    kinds::describe(&mut notes, &events, &heard, &tuning);
    ring::end(&mut notes, &rings);
    notes.extend(kinds::knocks(&heard, &events));
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    notes.retain(|n| n.time < recording.end());
    notes
        .iter_mut()
        .filter(|n| n.end > recording.end())
        .for_each(|n| n.end = recording.end());
    let solo = one_guitar::judge(&mono, warnings::unnamed(&heard), observer)?;
    if !solo.is_one_guitar() {
        for note in &mut notes {
            note.confidence *= 0.5;
        }
    }
    go_on(observer, Stage::Beats, 0.0)?;
    let beats = beat::track(&notes, recording.end(), &beat::GridEdits::default());
    // The hand once more, now that its pattern in the bar can be seen.
    hands(&mut notes, &tuning, offset, &beats.grid, &[]);
    observer.notes(&notes);
    Ok(Analysis {
        notes,
        grid: beats.grid,
        tuning_offset,
        tuning_course,
        tuning,
        guesses,
        end: recording.end(),
        alternatives: beats.alternatives,
        warnings: {
            let mut said = warnings::warnings(recording, &events, &solo);
            said.extend(beats.warnings);
            said
        },
        solo,
    })
}

/// What is plucked when, and how it rings: all that comes before strings, hands and beats.
#[doc(hidden)]
#[derive(Debug)]
pub struct Plucked {
    /// What is heard at each candidate onset, in order of time.
    pub heard: Vec<features::Features>,
    /// The notes that begin, in order of time.
    pub events: Vec<note_event::NoteEvent>,
    /// How each of them rings.
    pub rings: Vec<ring::Ring>,
    /// How far the guitar lies off A4 = 440 Hz, as well as it is known; 0 where it is not.
    pub offset: Cents,
    /// The same where it is known.
    pub tuning_offset: Option<Cents>,
    /// See [`Analysis::tuning_course`].
    pub tuning_course: Vec<TuningAt>,
}

/// Candidates → features → note decision → times of close notes → ringing. `observer` is shown the
/// notes as if the guitar were in standard tuning.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when `observer` asks to stop.
#[doc(hidden)]
pub fn plucked(mono: &Mono, observer: &mut dyn Observer) -> Result<Plucked, AnalysisError> {
    let (candidates, coarse) = features::candidates(mono, observer)?;
    let roughly = coarse.unwrap_or_default();
    let heard = features::heard(mono, &candidates, roughly, observer)?;
    let mut events = note_selection::events(&heard);
    chord_onsets::part(&mut events, &heard);
    let pitched: Vec<(Seconds, f64)> = events
        .iter()
        .map(|e| (e.time, f64::from(e.midi) + roughly.0 / 100.0))
        .collect();
    observer.notes(&role::notes(&events, &Tuning::standard(), roughly));
    let deviations =
        concert_pitch::deviations(&events, &features::measured(mono, &pitched, observer)?);
    let tuning_offset = coarse.and(concert_pitch::offset(&deviations));
    let tuning_course = coarse.map_or_else(Vec::new, |_| concert_pitch::course(&deviations));
    let offset = tuning_offset.unwrap_or(roughly);
    let rings = ring::rings(mono, &events, offset, observer)?;
    Ok(Plucked {
        heard,
        events,
        rings,
        offset,
        tuning_offset,
        tuning_course,
    })
}

/// The same analysis after the player has said of some notes (by index) who plays them: strings,
/// frets and the other notes' roles are decided again around those.
pub fn reconsider(analysis: &Analysis, said: &[(usize, Role)]) -> Analysis {
    let mut after = analysis.clone();
    let offset = analysis.tuning_offset.unwrap_or_default();
    hands(
        &mut after.notes,
        &analysis.tuning,
        offset,
        &analysis.grid,
        said,
    );
    after
}

/// Roles and strings anew; ends stay as they were heard.
fn hands(notes: &mut [Note], tuning: &Tuning, offset: Cents, grid: &Grid, said: &[(usize, Role)]) {
    let ends: Vec<Seconds> = notes.iter().map(|n| n.end).collect();
    role::assign(notes, tuning, offset, grid, said);
    notes.iter_mut().zip(ends).for_each(|(n, end)| n.end = end);
}
