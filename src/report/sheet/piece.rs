//! What a sheet shows: the notes, how they stand to the grid, the take over them.

use crate::analysis::Analysis;
use crate::music::grid::Grid;
use crate::music::note::Note;
use crate::music::tuning::Tuning;
use crate::timing::{Drift, NoteDrift, Slot, Standing};
use crate::unit::{Beats, Seconds, Span};

/// Where a note lies on the page's grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Its slot, in beats after the grid's first beat; none in free time and between slots.
    pub at: Option<Beats>,
    /// Which place of the bar that is.
    pub slot: Slot,
    /// Does its drift count? Not that of the later notes of a rolled chord, nor of a grace note.
    pub counts: bool,
    /// Played minus slot: above 0 is behind, below 0 ahead.
    pub drift: Span,
    /// What nobody could hear or measure: drift within ± this is no drift.
    pub floor: Span,
}

impl Placed {
    /// A note that belongs to no slot.
    const FREE: Self = Self {
        at: None,
        slot: Slot {
            beat: 1,
            part: 0,
            parts: 1,
        },
        counts: false,
        drift: Span(0.0),
        floor: Span(0.0),
    };

    /// A measured note; free where a number is none.
    fn of(measured: Option<&NoteDrift>) -> Self {
        let Some((measured, drift)) = measured.and_then(|m| Some((m, m.drift?))) else {
            return Self::FREE;
        };
        if !(measured.at.0 + drift.0 + measured.floor.0).is_finite() || measured.slot.parts == 0 {
            return Self::FREE;
        }
        Self {
            at: Some(measured.at),
            slot: measured.slot,
            counts: measured.standing == Standing::Plain,
            drift,
            floor: measured.floor,
        }
    }

    /// Is its drift beyond the floor, so that it may be called ahead or behind?
    pub fn audible(&self) -> bool {
        self.counts && self.at.is_some() && self.drift.abs() > self.floor
    }
}

/// Everything a sheet shows.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Heading: the recording's name.
    pub title: &'a str,
    /// Notes in order of time.
    pub notes: &'a [Note],
    /// How they stand to the grid.
    pub drift: &'a Drift,
    /// Beats and bars.
    pub grid: &'a Grid,
    /// Strings of the guitar.
    pub tuning: &'a Tuning,
    /// Is that how the guitar was tuned? Where it is only guessed and unsure, notes carry the names of
    /// their pitches instead of frets, and no string is named.
    pub fretted: bool,
    /// Length of the recording.
    pub end: Seconds,
    /// A second take of the same bars, drawn as hollow heads.
    pub second: Option<Take<'a>>,
}

/// Notes of a second take on the same grid.
#[derive(Debug, Clone, Copy)]
pub struct Take<'a> {
    /// Its notes.
    pub notes: &'a [Note],
    /// How they stand to the grid.
    pub drift: &'a Drift,
}

impl<'a> Piece<'a> {
    /// What was heard in a recording and how it stands to its own grid.
    pub fn of(title: &'a str, heard: &'a Analysis, drift: &'a Drift) -> Self {
        Self {
            title,
            notes: &heard.notes,
            drift,
            grid: &heard.grid,
            tuning: &heard.tuning,
            fretted: heard.tuning_known() && heard.solo.is_one_guitar(),
            end: heard.end,
            second: None,
        }
    }

    /// The notes that everything speaks of, by index, and where they lie: the take's where there is
    /// one, else the recording's.
    pub(in crate::report) fn spoken(&self) -> impl Iterator<Item = (usize, Placed)> + use<'a> {
        let drift = self.told();
        let notes = drift.notes.iter().map(Option::as_ref);
        notes.map(Placed::of).enumerate()
    }

    /// Where a note lies that everything speaks of.
    pub(in crate::report) fn spoken_at(&self, index: usize) -> Option<Placed> {
        let notes = &self.told().notes;
        Some(Placed::of(notes.get(index)?.as_ref()))
    }

    /// The figures that everything speaks of.
    pub fn told(&self) -> &'a Drift {
        self.second.map_or(self.drift, |take| take.drift)
    }

    /// A note that everything speaks of.
    pub(in crate::report) fn spoken_note(&self, index: usize) -> Option<&'a Note> {
        self.second.map_or(self.notes, |take| take.notes).get(index)
    }

    /// Where note `index` lies.
    pub fn placed(&self, index: usize) -> Placed {
        Placed::of(self.drift.notes.get(index).and_then(Option::as_ref))
    }

    /// A note of the second take and where it lies.
    pub fn second(&self, index: usize) -> Option<(&'a Note, Placed)> {
        let take = self.second?;
        let measured = take.drift.notes.get(index).and_then(Option::as_ref);
        Some((take.notes.get(index)?, Placed::of(measured)))
    }
}
