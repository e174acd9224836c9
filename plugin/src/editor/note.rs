//! The chosen note: what is known of it, and how to correct it.

use super::keys::{self, Deed};
use super::sight::{Heard, Sight};
use super::theme;
use crate::command::{Command, NoteAt, NoteEdit};
use crate::snapshot::Snapshot;
use egui::{ComboBox, Grid, Ui};
use thumbline::music::note::{Attack, Note, Role};
use thumbline::report::sheet::{describe, pitch_name};

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    undo(ui, snapshot, commands);
    ui.separator();
    let Some(heard) = sight.heard(snapshot) else {
        ui.label("Not analysed yet.");
        return;
    };
    let Some(index) = sight.chosen_in(&heard.analysis) else {
        ui.label("Choose a note on the sheet to see and correct it. Double-click an empty place to add one.");
        return;
    };
    facts(ui, &heard, index);
    ui.separator();
    corrections(ui, snapshot, &heard.analysis.notes[index], sight, commands);
}

/// Undo and redo, with how many steps are left.
pub fn undo(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let practice = &snapshot.practice;
    ui.horizontal(|ui| {
        for (deed, left, label, action) in [
            (Deed::Undo, practice.undoable, "Undo", Command::Undo),
            (Deed::Redo, practice.redoable, "Redo", Command::Redo),
        ] {
            let text = if left > 0 {
                format!("{label} ({left})")
            } else {
                label.to_owned()
            };
            let button = egui::Button::new(text).min_size(egui::vec2(80.0, 32.0));
            if ui
                .add_enabled(left > 0, button)
                .on_hover_text(format!("{label} a correction ({})", keys::name(deed)))
                .clicked()
            {
                commands.push(action);
            }
        }
    });
}

fn facts(ui: &mut Ui, heard: &Heard, index: usize) {
    let note = &heard.analysis.notes[index];
    let piece = heard.piece();
    let placed = piece.placed(index);
    let hand = match note.role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    };
    let mut rows: Vec<(&str, String)> = vec![
        ("Time", format!("{:.3} s", note.time.0)),
        (
            "Hand",
            format!("{hand}, {:.0} % sure", 100.0 * note.role_confidence),
        ),
    ];
    match placed.at {
        Some(_) => {
            rows.push(("Slot", placed.slot.name(heard.analysis.grid.meter)));
            let reference = heard.drift.reference;
            let words = if placed.audible() {
                reference.off(placed.drift)
            } else {
                format!("{} (within {:.0} ms)", reference.with(), placed.floor.ms())
            };
            rows.push(("Drift", words));
            let share = heard.drift.notes[index].and_then(|d| d.share);
            if let Some(share) = share.filter(|_| placed.audible()) {
                rows.push(("", format!("{:.1} % of the beat", 100.0 * share.abs())));
            }
            if !placed.counts {
                rows.push((
                    "",
                    "of a rolled chord or a grace note: not counted".to_owned(),
                ));
            }
        }
        None => rows.push(("Slot", "none near enough".to_owned())),
    }
    if let Some(pitch) = note.pitch.filter(|p| p.0.is_finite()) {
        let cents = 100.0 * (pitch.0 - pitch.0.round());
        rows.push(("Pitch", format!("{}, {cents:+.0} cents", pitch_name(pitch))));
    }
    if let Some(string) = note.string {
        let fret = note
            .fret
            .map_or_else(String::new, |f| format!(", fret {f}"));
        // Where the tuning is only guessed, so is the place on the neck.
        let guessed = if piece.fretted { "" } else { "perhaps " };
        rows.push(("String", format!("{guessed}{string}{fret}")));
    }
    rows.push(("Begins", attack(note.attack).to_owned()));
    rows.push(("Certainty", format!("{:.0} %", 100.0 * note.confidence)));
    Grid::new("facts").num_columns(2).show(ui, |ui| {
        for (name, value) in rows {
            ui.weak(name);
            ui.label(theme::letters(&value));
            ui.end_row();
        }
    });
    ui.small(theme::letters(&describe(&piece, note, &placed)));
}

fn attack(attack: Attack) -> &'static str {
    match attack {
        Attack::Pluck => "plucked",
        Attack::HammerOn => "hammered on",
        Attack::PullOff => "pulled off",
        Attack::Slide => "slid into",
        Attack::Harmonic => "a natural harmonic",
        Attack::Dead => "on a damped string",
        Attack::Tap => "a knock, not a note",
    }
}

/// What a player says who gives a note to the other hand.
pub(super) fn other_hand(role: Role) -> &'static str {
    match role {
        Role::Bass => "It was a finger",
        Role::Melody => "It was the thumb",
    }
}

fn corrections(
    ui: &mut Ui,
    snapshot: &Snapshot,
    note: &Note,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) {
    let buttons = [
        (Deed::Hear, "Hear it"),
        (Deed::CloseUp, "Close up"),
        (Deed::Swap, other_hand(note.role)),
        (Deed::SlotBefore, "Slot before"),
        (Deed::SlotAfter, "Slot after"),
        (Deed::Remove, "Not a note"),
    ];
    ui.horizontal_wrapped(|ui| {
        for (deed, label) in buttons {
            let hint = keys::KEYS
                .iter()
                .find(|(d, ..)| *d == deed)
                .map_or("", |(.., hint)| hint);
            if super::transport::large(ui, false, label, hint, Some(deed)) {
                keys::perform(deed, snapshot, sight, commands);
            }
        }
    });
    let which = NoteAt::of(note);
    let strings = snapshot.analysis.ready().map_or(6, |a| a.tuning.strings());
    let shown = note
        .string
        .map_or_else(|| "unknown".to_owned(), |s| s.to_string());
    ComboBox::from_label("String")
        .selected_text(shown)
        .show_ui(ui, |ui| {
            for string in 1..=strings {
                let on = note.string == Some(string);
                if ui.selectable_label(on, string.to_string()).clicked() {
                    commands.push(Command::EditNote(NoteEdit::SetString { which, string }));
                }
            }
        });
    if ui
        .button("Missed a note here")
        .on_hover_text(format!(
            "Add a note at the current place ({})",
            keys::name(Deed::Add)
        ))
        .clicked()
    {
        let note = Note::by_hand(snapshot.transport.position, note.role);
        commands.push(Command::EditNote(NoteEdit::Add { note }));
    }
}
