//! Corrections by hand: of notes, by key and dragged; of the beat; taken back.

use super::scenes::{heard, tune};
use super::{click, commanded, press, usual};
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use std::sync::Arc;
use thumbline::analysis::beat::Alternative;
use thumbline::music::grid::{Beat, Grid};
use thumbline::music::note::Role as Hand;
use thumbline::unit::{Bpm, Seconds};
use thumbline_plugin::command::{Command, GridEdit, NoteEdit};
use thumbline_plugin::editor::sight::Side;
use thumbline_plugin::snapshot::AnalysisView;

#[test]
fn a_chosen_note_can_be_corrected_by_key() {
    let mut harness = usual(heard(2));
    let none = Modifiers::NONE;
    press(&mut harness, none, Key::Period);
    press(&mut harness, none, Key::Period);
    let chosen = harness.state().sight.chosen.expect("the second note");
    let commands = press(&mut harness, none, Key::T);
    let role = Hand::Bass;
    let which = chosen;
    let (first, second) = (Hand::Bass, Hand::Melody);
    let swapped = |role| Command::EditNote(NoteEdit::SetRole { which, role });
    assert!(
        commands == [swapped(first)] || commands == [swapped(second)],
        "{commands:?} {role:?}"
    );
    let commands = press(&mut harness, none, Key::CloseBracket);
    let slot = Seconds(0.5 + 0.3);
    let [Command::EditNote(NoteEdit::MeantFor { slot: found, .. })] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!((*found - slot).abs().0 < 1e-6, "{found:?}");
    let commands = press(&mut harness, none, Key::H);
    assert!(matches!(commands[..], [Command::HearOnce(_, _)]));
    let commands = press(&mut harness, none, Key::Delete);
    assert_eq!(commands, [Command::EditNote(NoteEdit::Remove { which })]);
    assert!(harness.state().sight.chosen.is_none());
    let commands = press(&mut harness, none, Key::A);
    assert!(
        matches!(&commands[..], [Command::EditNote(NoteEdit::Add { note })] if note.time == Seconds(0.0))
    );
}

#[test]
fn corrections_can_be_undone_from_the_panel() {
    let mut snapshot = heard(2);
    snapshot.practice.undoable = 3;
    snapshot.practice.redoable = 1;
    let mut harness = usual(snapshot);
    harness.state_mut().sight.side = Side::Note;
    harness.run_steps(2);
    assert_eq!(click(&mut harness, "Undo (3)"), [Command::Undo]);
    assert_eq!(click(&mut harness, "Redo (1)"), [Command::Redo]);
}

#[test]
fn a_note_dragged_along_its_row_is_meant_for_another_slot() {
    let mut harness = usual(heard(2));
    let label = "bar 1, the and of 2, fingers, 25 ms late (4 % of the beat), C4, string 2 fret 3";
    let note = harness.get_by_label(label).rect().center();
    let two = harness
        .get_by_label("bar 1, beat 2, thumb, with the beat, D3, string 4 open")
        .rect()
        .center();
    let three = harness
        .get_by_label("bar 1, beat 3, thumb, with the beat, A2, string 5 open")
        .rect()
        .center();
    assert!(two.x < note.x && note.x < three.x);
    harness.hover_at(note);
    harness.run_steps(1);
    harness.drag_at(note);
    harness.run_steps(2);
    for i in 1..=6 {
        let x = note.x + (three.x - note.x) * i as f32 / 6.0;
        harness.hover_at(egui::pos2(x, note.y));
        harness.run_steps(1);
    }
    harness.drop_at(egui::pos2(three.x, note.y));
    let commands = commanded(&mut harness);
    let [Command::EditNote(NoteEdit::MeantFor { slot, .. })] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!(
        (*slot - Seconds(0.5 + 2.0 * 0.6)).abs().0 < 1e-6,
        "{slot:?}"
    );
}

/// One drag: the head goes to the other side of its row's line.
#[test]
fn a_note_dragged_across_the_line_is_the_other_hands() {
    let mut harness = usual(heard(2));
    let two = "bar 1, beat 2, thumb, with the beat, D3, string 4 open";
    let and = "bar 1, the and of 2, fingers, 25 ms late (4 % of the beat), C4, string 2 fret 3";
    for (label, by, role) in [(two, -60.0, Hand::Melody), (and, 60.0, Hand::Bass)] {
        let from = harness.get_by_label(label).rect().center();
        harness.hover_at(from);
        harness.run_steps(1);
        harness.drag_at(from);
        harness.run_steps(2);
        for i in 1..=6 {
            harness.hover_at(from + egui::vec2(0.5, by * i as f32 / 6.0));
            harness.run_steps(1);
        }
        harness.drop_at(from + egui::vec2(0.5, by));
        let commands = commanded(&mut harness);
        let [Command::EditNote(NoteEdit::SetRole { role: now, .. })] = commands.as_slice() else {
            panic!("{label}: {commands:?}");
        };
        assert_eq!(*now, role, "{label}");
    }
}

/// One click on the count under the strip, by mouse or by key.
#[test]
fn a_counted_beat_that_is_really_the_first_is_pressed() {
    let mut harness = usual(heard(4));
    let grid = harness
        .state()
        .snapshot
        .analysis
        .ready()
        .expect("heard")
        .grid
        .clone();
    let third = grid.beats().iter().find(|b| (b.bar, b.place) == (1, 3));
    let at = third.expect("beat 3 of bar 1").time;
    let wanted = [Command::EditGrid(GridEdit::BarOne { at })];
    assert_eq!(click(&mut harness, "Beat 3 is really beat 1"), wanted);
    harness.get_by_label("Beat 3 is really beat 1").focus();
    harness.run_steps(2);
    assert_eq!(press(&mut harness, Modifiers::NONE, Key::Enter), wanted);
    assert!(harness.query_by_label("Beat 1 is really beat 1").is_none());
}

#[test]
fn beats_can_be_tapped_and_set() {
    let mut harness = usual(heard(4));
    harness.state_mut().sight.side = Side::Beats;
    harness.run_steps(2);
    assert_eq!(
        click(&mut harness, "Double"),
        [Command::EditGrid(GridEdit::Double)]
    );
    assert_eq!(
        click(&mut harness, "Half"),
        [Command::EditGrid(GridEdit::Halve)]
    );
    harness.state_mut().snapshot.transport.position = Seconds(1.0);
    assert!(
        press(&mut harness, Modifiers::NONE, Key::B).is_empty(),
        "one tap is no beat"
    );
    harness.state_mut().snapshot.transport.position = Seconds(1.6);
    let tap = |at| Command::EditGrid(GridEdit::Tap { at: Seconds(at) });
    assert_eq!(
        press(&mut harness, Modifiers::NONE, Key::B),
        [tap(1.0), tap(1.6)]
    );
    let commands = click(&mut harness, "Bar 1 here");
    assert_eq!(
        commands,
        [Command::EditGrid(GridEdit::BarOne { at: Seconds(1.6) })]
    );
    let commands = click(&mut harness, "triplets");
    assert!(matches!(
        commands[..],
        [Command::EditGrid(GridEdit::Subdivision { parts: 3, .. })]
    ));
    let swing = |ratio| [Command::EditGrid(GridEdit::Swing { ratio })];
    assert!(click(&mut harness, "as played").is_empty());
    assert_eq!(click(&mut harness, "from triplets"), swing(Some(2.0)));
    let AnalysisView::Ready(heard) = &mut harness.state_mut().snapshot.analysis else {
        panic!("heard before");
    };
    Arc::make_mut(heard).grid.off_beat = Some(2.0 / 3.0);
    harness.run_steps(2);
    assert!(click(&mut harness, "from triplets").is_empty());
    assert_eq!(click(&mut harness, "as played"), swing(None));
    assert!(harness.query_by_label("Beat 2 of bar 1").is_none());
    click(&mut harness, "Move beats");
    harness.get_by_label("Beat 2 of bar 1");
}

/// Where the first reading is 84 % sure the two next ones are one click away, and no third; at 86 % none.
#[test]
fn the_two_next_readings_are_one_click_away_until_the_first_is_sure() {
    let edits = [
        GridEdit::Halve,
        GridEdit::Tempo { bpm: Bpm(150.0) },
        GridEdit::Double,
    ];
    let labels = ["4/4 at 50", "6/8 at 150", "4/4 at 200"];
    let window = |confidence| {
        let mut analysis = tune(4);
        let beats = analysis.grid.beats().iter().map(|beat| Beat {
            confidence,
            ..*beat
        });
        analysis.grid = Grid::from_parts(analysis.grid.meter, beats.collect(), Vec::new());
        let other = |(label, edit): (&str, GridEdit)| Alternative {
            label: label.to_owned(),
            edit,
            odds: 0.1,
        };
        analysis.alternatives = labels.into_iter().zip(edits).map(other).collect();
        let mut snapshot = heard(4);
        snapshot.analysis = AnalysisView::Ready(Arc::new(analysis));
        let mut harness = usual(snapshot);
        harness.state_mut().sight.side = Side::Beats;
        harness.run_steps(2);
        harness
    };
    let mut doubtful = window(0.84);
    let offered = labels.map(|label| doubtful.query_by_label(label).is_some());
    assert_eq!(offered, [true, true, false]);
    for (label, edit) in labels.into_iter().zip(edits).take(2) {
        let chosen = [Command::ChooseReading(Some(edit))];
        assert_eq!(click(&mut doubtful, label), chosen);
    }
    let sure = window(0.86);
    assert!(
        labels
            .iter()
            .all(|label| sure.query_by_label(label).is_none())
    );
}
