//! A melody that somebody has, put on the neck again: every note's places, and the whole fingered so
//! that it rings, on open strings where that helps.
//!
//! Owns the melody and the choice; files are read by `load::melody`, the path is `fingering`'s.

use super::fingering::{Costs, Path, Place, paths_where};
use super::grid::Grid;
use super::meter::Meter;
use super::note::{Note, Role};
use super::pitch::Key;
use super::score::Score;
use super::tuning::Tuning;
use crate::unit::{Beats, Bpm};

/// One note of a melody.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MelodyNote {
    /// Beats after the first beat of bar 1.
    pub at: Beats,
    /// Written length in beats, above 0.
    pub length: Beats,
    /// Sounding pitch (MIDI).
    pub midi: i32,
}

/// A melody: one note at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Melody {
    /// What it is called.
    pub title: String,
    /// Time signature.
    pub meter: Meter,
    /// Tempo.
    pub tempo: Bpm,
    /// Key signature.
    pub key: Key,
    /// Notes in order, no two beginning together.
    pub notes: Vec<MelodyNote>,
}

/// Why a melody cannot be put on the neck.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RefingerError {
    /// There is nothing to play.
    #[error("there is no note in this melody")]
    Empty,
    /// A note that no string reaches.
    #[error(
        "no string of this tuning reaches {name}: transpose the melody or choose another tuning"
    )]
    OutOfReach {
        /// Its name with octave.
        name: String,
    },
}

/// A place of a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    /// String, 1 = highest.
    pub string: u8,
    /// Fret above the capo, 0 = open.
    pub fret: i32,
}

/// A melody on the neck.
#[derive(Debug, Clone, PartialEq)]
pub struct Refingered {
    /// Every place of every note, open strings first.
    pub choices: Vec<Vec<Choice>>,
    /// The path that rings most for its effort.
    pub path: Path,
    /// The whole on the page, with left-hand fingers.
    pub score: Score,
}

impl Melody {
    /// The highest of the notes that begin together, in order.
    pub fn top_line(mut notes: Vec<MelodyNote>) -> Vec<MelodyNote> {
        notes.retain(|n| n.at.0.is_finite() && n.length.0 > 0.0);
        notes.sort_by(|a, b| a.at.total_cmp(&b.at).then(b.midi.cmp(&a.midi)));
        notes.dedup_by(|later, first| (later.at.0 - first.at.0).abs() < 1e-6);
        notes
    }

    /// The melody of a recording's bars `from` to `to` (both included): what the fingers play, at the
    /// nearest of `division` parts of a beat. None without a pulse or without such bars.
    pub fn of_recording(
        title: &str,
        notes: &[Note],
        grid: &Grid,
        key: Key,
        division: u8,
        (from, to): (i32, i32),
    ) -> Option<Self> {
        let (start, end) = grid.bar_range(from, to)?;
        let first = grid.beat_at(start)?.0.round();
        let parts = f64::from(division.max(1));
        let line = notes
            .iter()
            .filter(|n| n.role == Role::Melody && n.time >= start - SLACK && n.time < end - SLACK)
            .filter_map(|n| {
                let at = ((grid.beat_at(n.time)?.0 - first) * parts).round() / parts;
                Some(MelodyNote {
                    at: Beats(at.max(0.0)),
                    length: Beats(1.0 / parts),
                    midi: n.pitch?.nearest(),
                })
            })
            .collect();
        Some(Self {
            title: title.to_owned(),
            meter: grid.meter,
            tempo: grid.tempo()?,
            key,
            notes: Self::top_line(line),
        })
    }

    /// The melody on `tuning` up to fret `highest`.
    ///
    /// # Errors
    /// [`RefingerError`] names the first note that no string reaches.
    pub fn refinger(
        &self,
        tuning: &Tuning,
        highest: i32,
        costs: &Costs,
    ) -> Result<Refingered, RefingerError> {
        self.refinger_on(tuning, highest, costs, &[])
    }

    /// The same with some notes, by their index, on a string that the player wants: `(note, string)`.
    /// A string that does not have the note is not heeded.
    ///
    /// # Errors
    /// As [`Self::refinger`].
    pub fn refinger_on(
        &self,
        tuning: &Tuning,
        highest: i32,
        costs: &Costs,
        wanted: &[(usize, u8)],
    ) -> Result<Refingered, RefingerError> {
        let line: Vec<i32> = self.notes.iter().map(|n| n.midi).collect();
        if line.is_empty() {
            return Err(RefingerError::Empty);
        }
        let choices: Vec<Vec<Choice>> = line
            .iter()
            .map(|midi| {
                let mut places: Vec<Choice> = tuning
                    .places(*midi, highest)
                    .into_iter()
                    .map(|(string, fret)| Choice { string, fret })
                    .collect();
                places.sort_by_key(|c| (c.fret > 0, c.fret, c.string));
                places
            })
            .collect();
        let missing = choices.iter().position(Vec::is_empty);
        let on = |note: usize, string: u8| choices[note].iter().any(|c| c.string == string);
        let allowed = |note: usize, place: Place| {
            let mut strings = wanted.iter().filter(|(n, s)| *n == note && on(note, *s));
            strings.next_back().is_none_or(|(_, s)| *s == place.string)
        };
        let path = paths_where(tuning, &line, highest, costs, 1, allowed);
        let path = path.into_iter().next();
        let (None, Some(path)) = (missing, path) else {
            let midi = missing
                .and_then(|i| line.get(i))
                .copied()
                .unwrap_or(line[0]);
            return Err(RefingerError::OutOfReach {
                name: self.key.pitch_name(midi),
            });
        };
        let at: Vec<Beats> = self.notes.iter().map(|n| n.at).collect();
        let mut score = Score::of_line(&self.title, tuning, self.key, &path, &at);
        score.meter = self.meter;
        score.tempo = self.tempo;
        score.settle();
        Ok(Refingered {
            choices,
            path,
            score,
        })
    }
}

/// A note this little before a bar's line still belongs to the bar.
const SLACK: crate::unit::Span = crate::unit::Span::from_ms(60.0);
