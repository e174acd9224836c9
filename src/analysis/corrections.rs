//! A player's corrections of what was heard: a list kept apart from the analysis and applied to it
//! anew, so that it survives another analysis and every step can be taken back.
//!
//! Owns the list, its undo and redo, and what each correction does to notes. Corrections of the
//! grid are `analysis::beat`'s own list of edits; here they only share the one undo.

use super::Analysis;
use super::beat::{Edit as GridEdit, GridEdits};
use crate::music::note::{Note, Role};
use crate::unit::{MidiNote, Seconds, Span};
use serde::{Deserialize, Serialize};

/// A note is found again when its onset lies within this of where it was: a second analysis with
/// other settings moves an onset by less, and two plucks of one pitch do not come closer.
const SAME: Span = Span::from_ms(40.0);
/// Taps closer than this are one row: slower beats than 34 a minute are not tapped.
const ROW: Span = Span(1.75);
/// Pitches further apart than this, in semitones, are other notes.
const SAME_PITCH: f64 = 0.8;

/// Which note: where it was and how high, so that notes of one instant stay apart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteAt {
    /// Its onset.
    pub at: Seconds,
    /// Its pitch, where it has one.
    #[serde(default)]
    pub pitch: Option<MidiNote>,
}

impl NoteAt {
    /// The address of a note.
    pub fn of(note: &Note) -> Self {
        Self {
            at: note.time,
            pitch: note.pitch,
        }
    }

    /// Index of the note meant: the nearest of about the same pitch, or of any pitch where either
    /// has none.
    pub fn find(&self, notes: &[Note]) -> Option<usize> {
        let away = |note: &Note| (note.time - self.at).abs().0;
        let alike = |note: &Note| match (note.pitch, self.pitch) {
            (Some(a), Some(b)) => (a.0 - b.0).abs() < SAME_PITCH,
            _ => true,
        };
        (0..notes.len())
            .filter(|&i| away(&notes[i]) <= SAME.0 && alike(&notes[i]))
            .min_by(|&a, &b| away(&notes[a]).total_cmp(&away(&notes[b])))
    }
}

/// A correction of one note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "edit", rename_all = "snake_case")]
pub enum NoteEdit {
    /// It starts elsewhere.
    Move {
        /// The note.
        which: NoteAt,
        /// Its true start.
        to: Seconds,
    },
    /// It is meant for another slot; its start stays.
    MeantFor {
        /// The note.
        which: NoteAt,
        /// Where that slot lies.
        slot: Seconds,
    },
    /// The other part of the hand plays it.
    SetRole {
        /// The note.
        which: NoteAt,
        /// The right role.
        role: Role,
    },
    /// It lies on another string; the fret follows from the pitch.
    SetString {
        /// The note.
        which: NoteAt,
        /// The right string, 1 = highest.
        string: u8,
    },
    /// It is not a note.
    Remove {
        /// The note.
        which: NoteAt,
    },
    /// A note was missed.
    Add {
        /// It.
        note: Note,
    },
}

impl NoteEdit {
    /// Changes `notes`, which stay in order of time; a correction whose note is no longer there
    /// changes nothing.
    fn apply(&self, analysis: &mut Analysis) {
        let notes = &mut analysis.notes;
        match self {
            Self::Move { which, to } if to.0.is_finite() => {
                if let Some(i) = which.find(notes) {
                    let shift = *to - notes[i].time;
                    notes[i].time = *to;
                    notes[i].end += shift;
                }
            }
            Self::SetRole { which, role } => {
                if let Some(i) = which.find(notes) {
                    notes[i].role = *role;
                    notes[i].role_confidence = 1.0;
                }
            }
            Self::SetString { which, string } => {
                if let Some(i) = which.find(notes) {
                    let fret = notes[i]
                        .pitch
                        .and_then(|p| analysis.tuning.fret(*string, p.nearest(), 24));
                    notes[i].string = Some(*string);
                    notes[i].fret = fret.and_then(|f| u8::try_from(f).ok());
                }
            }
            Self::Remove { which } => {
                if let Some(i) = which.find(notes) {
                    notes.remove(i);
                }
            }
            Self::Add { note } if note.time.0.is_finite() => notes.push(note.clone()),
            Self::Move { .. } | Self::Add { .. } | Self::MeantFor { .. } => {}
        }
        notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    }
}

/// One correction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Correction {
    /// Of a note.
    Note(NoteEdit),
    /// Of the grid.
    Grid(GridEdit),
}

/// All corrections of one recording, and those that were taken back.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Corrections {
    /// In force, oldest first.
    done: Vec<Correction>,
    /// Taken back, the last one taken back at the end.
    undone: Vec<Correction>,
}

impl Corrections {
    /// In force, oldest first.
    pub fn done(&self) -> &[Correction] {
        &self.done
    }

    /// How many can be done again.
    pub fn redoable(&self) -> usize {
        self.undone.len()
    }

    /// Adds a correction; what was taken back before is forgotten.
    pub fn push(&mut self, correction: Correction) {
        self.done.push(correction);
        self.undone.clear();
    }

    /// Takes the last correction back, or the last run of taps as one. Was there one?
    pub fn undo(&mut self) -> bool {
        carry(&mut self.done, &mut self.undone)
    }

    /// Does again what was taken back last. Was there one?
    pub fn redo(&mut self) -> bool {
        carry(&mut self.undone, &mut self.done)
    }

    /// What was heard, with the notes corrected. Its grid is as it was: give
    /// [`Corrections::grid_edits`] to the beat tracker for that.
    pub fn applied(&self, heard: &Analysis) -> Analysis {
        let mut analysis = heard.clone();
        for correction in &self.done {
            if let Correction::Note(edit) = correction {
                edit.apply(&mut analysis);
            }
        }
        analysis
    }

    /// The grid's corrections, for the beat tracker.
    pub fn grid_edits(&self) -> GridEdits {
        let edits = self.done.iter().filter_map(|c| match c {
            Correction::Grid(edit) => Some(*edit),
            Correction::Note(_) => None,
        });
        GridEdits {
            list: edits.collect(),
        }
    }

    /// Notes (of [`Corrections::applied`]) whose slot the player named, with that slot's instant;
    /// for `timing::measure_pinned`. The last word holds.
    pub fn pins(&self, notes: &[Note]) -> Vec<(usize, Seconds)> {
        let mut pins: Vec<(usize, Seconds)> = Vec::new();
        for correction in &self.done {
            let Correction::Note(NoteEdit::MeantFor { which, slot }) = correction else {
                continue;
            };
            if let Some(i) = which.find(notes).filter(|_| slot.0.is_finite()) {
                pins.retain(|(known, _)| *known != i);
                pins.push((i, *slot));
            }
        }
        pins
    }
}

/// Carries the last step of one list over to another: a correction, or taps that followed each other
/// in one go. Was there one?
fn carry(from: &mut Vec<Correction>, to: &mut Vec<Correction>) -> bool {
    let Some(last) = from.pop() else {
        return false;
    };
    let mut step = vec![last];
    while let Some(next) = from.pop_if(|next| one_go(next, &step[step.len() - 1])) {
        step.push(next);
    }
    to.append(&mut step);
    true
}

/// Are these two taps of one row?
fn one_go(a: &Correction, b: &Correction) -> bool {
    let (Correction::Grid(GridEdit::Tap { at: a }), Correction::Grid(GridEdit::Tap { at: b })) =
        (a, b)
    else {
        return false;
    };
    (*a - *b).abs() < ROW
}
