//! A melody on the neck: every note with its places, the one taken lit; another is pressed, and the rest is
//! fingered anew around it.

use crate::command::Command;
use crate::editor::fields::aside;
use crate::editor::offbeat;
use crate::editor::theme;
use crate::page_state::{NeckPage, PageState};
use crate::services::study::{MelodyView, NeckView};
use crate::snapshot::Snapshot;
use egui::{Align, Layout, Role, Ui, WidgetInfo, vec2};
use thumbline::music::melody::Choice;

/// Draws what is to be known and chosen below the picture.
pub(super) fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    pages: &mut PageState,
    commands: &mut Vec<Command>,
) {
    match &view.melody {
        Some(Ok(melody)) => {
            whole(ui, melody, commands);
            notes(ui, melody, &mut pages.neck);
        }
        Some(Err(why)) => {
            ui.label(theme::letters(why));
        }
        None => {
            ui.label("One moment …");
        }
    }
    let text = "The melody is what the fingers play in the loop, or comes from a file.";
    aside(ui, snapshot, text);
    offbeat::file(ui, &mut pages.off_beat, commands);
}

fn whole(ui: &mut Ui, melody: &MelodyView, commands: &mut Vec<Command>) {
    let path = &melody.found.path;
    ui.horizontal_wrapped(|ui| {
        let hear = ui.button("Hear it");
        if hear
            .on_hover_text("On these strings, each note ringing as long as its string is free")
            .clicked()
        {
            commands.push(Command::Sound(melody.sound()));
        }
        ui.label(theme::letters(&format!(
            "{}: {} of {} notes are open strings, {:.0} of 100 ring on into the next.",
            melody.melody.title,
            path.open_notes(),
            path.places.len(),
            100.0 * path.ringing()
        )));
    });
}

/// Room of one note: as wide as its longest line, as tall as the note with the most places.
const WIDTH: f32 = 92.0;
const LINE: f32 = 22.0;

/// Every note, and its places to choose from.
fn notes(ui: &mut Ui, melody: &MelodyView, page: &mut NeckPage) {
    let most = melody.found.choices.iter().map(Vec::len).max();
    let room = vec2(WIDTH, LINE * (2 + most.unwrap_or(0)) as f32);
    let along = Layout::left_to_right(Align::TOP).with_main_wrap(true);
    ui.with_layout(along, |ui| {
        let notes = melody.found.choices.iter().zip(&melody.found.path.places);
        for (i, (choices, taken)) in notes.enumerate() {
            let place = melody.place(i);
            let name = melody.melody.key.pitch_name(melody.melody.notes[i].midi);
            let wanted = melody.wanted.contains(&i);
            // Room of a known size: what is only grown into does not go on in the next line.
            ui.allocate_ui_with_layout(room, Layout::top_down(Align::LEFT), |ui| {
                ui.set_min_size(room);
                ui.spacing_mut().item_spacing.y = 1.0;
                ui.weak(&place);
                ui.strong(theme::letters(&name));
                for choice in choices {
                    let on = (choice.string, choice.fret) == (taken.string, taken.fret);
                    let told = format!("{place}, {name}: {}", told(*choice));
                    if one(ui, *choice, (on, wanted), &told) {
                        let string = (!(on && wanted)).then_some(choice.string);
                        page.wanted.set(&melody.of, i, string);
                    }
                }
            });
        }
    });
}

fn told(choice: Choice) -> String {
    match choice.fret {
        0 => format!("string {} open", choice.string),
        fret => format!("string {}, fret {fret}", choice.string),
    }
}

/// One place; was it pressed?
fn one(ui: &mut Ui, choice: Choice, (on, wanted): (bool, bool), told: &str) -> bool {
    let mark = if on && wanted { " •" } else { "" };
    let text = match choice.fret {
        0 => format!("{} open{mark}", choice.string),
        fret => format!("{} fret {fret}{mark}", choice.string),
    };
    let hint = match (on, wanted) {
        (true, true) => "You want it here. Press again, and it goes where it rings best",
        (true, false) => "It rings best here. Press to keep it here",
        _ => "Play it here; the other notes are fingered anew around it",
    };
    let button = ui.selectable_label(on, text);
    button.widget_info(|| {
        let told = theme::letters(told);
        WidgetInfo::selected(Role::RadioButton, true, on, told)
    });
    button.on_hover_text(hint).clicked()
}
