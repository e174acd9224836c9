//! Corrections: kept apart from the analysis, found again after another one, taken back at will.

use proptest::prelude::*;
use thumbline::analysis::Analysis;
use thumbline::analysis::beat::Edit as GridEdit;
use thumbline::analysis::corrections::{Correction, Corrections, NoteAt, NoteEdit};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::music::tuning::Tuning;
use thumbline::timing::{Reference, measure_pinned};
use thumbline::unit::{Decibels, MidiNote, Seconds, Span};

fn note(time: f64, midi: f64) -> Note {
    Note {
        time: Seconds(time),
        end: Seconds(time + 0.3),
        role: Role::Melody,
        role_confidence: 0.6,
        pitch: Some(MidiNote(midi)),
        string: None,
        fret: None,
        attack: Attack::Pluck,
        strength: Decibels(-3.0),
        confidence: 0.8,
    }
}

fn heard(shift: f64) -> Analysis {
    let times: Vec<_> = (0..9).map(|i| Seconds(f64::from(i) * 0.5)).collect();
    Analysis {
        notes: vec![
            note(0.5 + shift, 62.0),
            note(1.0 + shift, 45.0),
            note(1.0 + shift, 66.1),
        ],
        grid: Grid::from_beats(&times, 0, Meter::COMMON),
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning: Tuning::dadgad(),
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: Seconds(5.0),
        alternatives: Vec::new(),
        warnings: Vec::new(),
    }
}

fn edit(edit: NoteEdit) -> Correction {
    Correction::Note(edit)
}

#[test]
fn corrections_survive_another_analysis() {
    let first = heard(0.0);
    let mut list = Corrections::default();
    let which = |i: usize| NoteAt::of(&first.notes[i]);
    list.push(edit(NoteEdit::SetRole {
        which: which(1),
        role: Role::Bass,
    }));
    list.push(edit(NoteEdit::SetString {
        which: which(2),
        string: 1,
    }));
    list.push(edit(NoteEdit::Remove { which: which(0) }));
    list.push(edit(NoteEdit::Add {
        note: note(2.0, 50.0),
    }));
    // Another analysis hears everything 12 ms later.
    let after = list.applied(&heard(0.012));
    assert_eq!(after.notes.len(), 3);
    assert_eq!(
        after.notes[0].role,
        Role::Bass,
        "of two notes at one instant, the low one"
    );
    assert_eq!(after.notes[1].string, Some(1));
    assert_eq!(after.notes[1].fret, Some(4), "F♯4 on a first string in D");
    assert_eq!(after.notes[2].time, Seconds(2.0));
    assert_eq!(list.applied(&first).notes.len(), 3);
}

#[test]
fn a_note_can_be_meant_for_another_slot() {
    let first = heard(0.09);
    let mut list = Corrections::default();
    let which = NoteAt::of(&first.notes[0]);
    list.push(edit(NoteEdit::MeantFor {
        which,
        slot: Seconds(0.51),
    }));
    let notes = list.applied(&first).notes;
    let pins = list.pins(&notes);
    assert_eq!(pins, vec![(0, Seconds(0.51))]);
    let drift = measure_pinned(&notes, &first.grid, Reference::OwnTempo, &pins);
    let measured = drift.notes[0].expect("on the grid");
    assert_eq!((measured.slot.beat, measured.slot.part), (2, 0));
    assert!((measured.drift.expect("pinned").0 - 0.09).abs() < 1e-9);
}

#[test]
fn undo_and_redo_go_all_the_way() {
    let mut list = Corrections::default();
    for i in 0..200 {
        list.push(edit(NoteEdit::Add {
            note: note(f64::from(i), 60.0),
        }));
    }
    list.push(Correction::Grid(GridEdit::Double));
    assert_eq!(list.grid_edits().list, vec![GridEdit::Double]);
    while list.undo() {}
    assert_eq!(list.applied(&heard(0.0)), heard(0.0));
    assert_eq!(list.redoable(), 201);
    while list.redo() {}
    assert_eq!(list.done().len(), 201);
    list.undo();
    list.push(Correction::Grid(GridEdit::Halve));
    assert!(!list.redo(), "a new correction forgets what was taken back");
    let text = serde_json::to_string(&list).expect("serialises");
    let back: Corrections = serde_json::from_str(&text).expect("reads back");
    assert_eq!(back, list);
}

#[test]
fn a_run_of_taps_is_one_step() {
    let tap = |at: f64| Correction::Grid(GridEdit::Tap { at: Seconds(at) });
    let mut list = Corrections::default();
    list.push(Correction::Grid(GridEdit::Halve));
    for at in [20.0, 20.5, 21.0] {
        list.push(tap(at));
    }
    for at in [3.0, 3.6, 4.1, 4.7] {
        list.push(tap(at));
    }
    let all = list.clone();
    assert!(list.undo());
    assert_eq!(list.done(), &all.done()[..4], "the last row and no more");
    assert!(list.undo());
    assert_eq!(list.done().len(), 1);
    assert!(list.redo() && list.redo());
    assert_eq!(
        list.done(),
        all.done(),
        "in the order in which they were tapped"
    );
}

proptest! {
    /// No correction, however wild, breaks the order of notes or brings in a number that is none.
    #[test]
    fn wild_corrections_do_no_harm(
        edits in prop::collection::vec((0_u8..6, prop::num::f64::ANY, prop::num::f64::ANY, any::<u8>()), 0..20)
    ) {
        let mut list = Corrections::default();
        for (kind, at, to, string) in edits {
            let which = NoteAt { at: Seconds(at % 3.0), pitch: Some(MidiNote(to)) };
            let to = Seconds(to);
            list.push(edit(match kind {
                0 => NoteEdit::Move { which, to },
                1 => NoteEdit::MeantFor { which, slot: to },
                2 => NoteEdit::SetRole { which, role: Role::Bass },
                3 => NoteEdit::SetString { which, string },
                4 => NoteEdit::Remove { which },
                _ => NoteEdit::Add { note: Note { time: to, end: to + Span(0.1), ..note(0.0, at) } },
            }));
        }
        let after = list.applied(&heard(0.0));
        prop_assert!(after.notes.iter().all(|n| n.time.0.is_finite()));
        prop_assert!(after.notes.is_sorted_by(|a, b| a.time <= b.time));
    }
}
