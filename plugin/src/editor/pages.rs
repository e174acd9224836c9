//! The pages in the middle of the window, and the row that turns them.

use super::keys::{self as key_list, Deed};
use super::sight::Sight;
use super::{drills, neck, offbeat, pattern, takeaway, theme, tunings};
use crate::command::Command;
use crate::page_state::{Page, PageState};
use crate::snapshot::Snapshot;
use egui::{Key, Modifiers, RichText, ScrollArea, Ui};

/// With Ctrl these turn the pages too: not every host lets the keys of functions through.
const NUMBERS: [Key; 7] = [
    Key::Num1,
    Key::Num2,
    Key::Num3,
    Key::Num4,
    Key::Num5,
    Key::Num6,
    Key::Num7,
];

/// Every page: its name, its key, and what it is for.
pub const PAGES: [(Page, &str, Key, &str); 7] = [
    (
        Page::Sheet,
        "Bars",
        Key::F2,
        "Every bar a row, thumb and fingers against the beat",
    ),
    (
        Page::Neck,
        "Neck",
        Key::F3,
        "Where a scale lies, what rings, chord shapes, harmonics",
    ),
    (
        Page::Tunings,
        "Tunings",
        Key::F4,
        "Tones to tune by, what moves, how the strings take it",
    ),
    (
        Page::Pattern,
        "Pattern",
        Key::F5,
        "The picking cell: hear it alone, change it, drill it",
    ),
    (
        Page::Drills,
        "Drills",
        Key::F6,
        "Patterns, scales, hammer-ons, slides, harmonics, stage by stage",
    ),
    (
        Page::OffBeat,
        "Off the beat",
        Key::F7,
        "A melody on the beat, half-way, and off it",
    ),
    (
        Page::TakeAway,
        "Take it away",
        Key::F8,
        "Files for other programs, for print, for a student",
    ),
];

/// Draws the row of pages.
pub fn row(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 4.0;
        for (i, (page, name, key, hint)) in PAGES.into_iter().enumerate() {
            let on = snapshot.page_state.page == page;
            let button = ui.selectable_label(on, RichText::new(name).size(15.0));
            let number = super::keys::text(Modifiers::COMMAND, NUMBERS[i]);
            let key = super::keys::text(Modifiers::NONE, key);
            let hint = format!("{hint} ({key}, {number})");
            if button.on_hover_text(hint).clicked() && !on {
                turn(snapshot, page, commands);
            }
        }
        back(ui, snapshot, commands);
        sounding(ui, snapshot, commands);
    });
}

/// Taking back what was changed on a page, and doing it again.
fn back(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    if snapshot.page_state.page == Page::Sheet {
        return;
    }
    let study = &snapshot.study;
    for (name, can, command, deed) in [
        ("Undo", study.undoable, Command::Undo, Deed::Undo),
        ("Redo", study.redoable, Command::Redo, Deed::Redo),
    ] {
        if !can {
            continue;
        }
        let hint = format!("The last change of this page ({})", key_list::name(deed));
        if ui.button(name).on_hover_text(hint).clicked() {
            commands.push(command);
        }
    }
}

/// Turns to a page.
pub fn turn(snapshot: &Snapshot, page: Page, commands: &mut Vec<Command>) {
    let page_state = (*snapshot.page_state).clone();
    commands.push(Command::SetPageState(Box::new(PageState {
        page,
        ..page_state
    })));
}

/// Keys that turn pages; not to be asked while a text is typed or a menu open.
pub fn keys(ui: &Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    for (i, (page, _, key, _)) in PAGES.into_iter().enumerate() {
        let pressed = ui.input_mut(|input| {
            let number = input.consume_key(Modifiers::COMMAND, NUMBERS[i]);
            number || input.consume_key(Modifiers::NONE, key)
        });
        if pressed && snapshot.page_state.page != page {
            turn(snapshot, page, commands);
        }
    }
}

/// What sounds beside the recording, and how to stop it.
fn sounding(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let Some(beside) = snapshot.beside.as_ref().filter(|b| b.again) else {
        return;
    };
    ui.separator();
    ui.weak(format!("Plays: {}", beside.name));
    let hint = "Silence it; the recording stays where it is";
    if ui.button("Silence").on_hover_text(hint).clicked() {
        commands.push(Command::Hush);
    }
}

/// Draws the open page; false where that is the sheet.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) -> bool {
    if snapshot.page_state.page == Page::Sheet {
        return false;
    }
    let mut page_state = (*snapshot.page_state).clone();
    ScrollArea::vertical()
        .id_salt(("page", page_state.page as u8))
        .auto_shrink(false)
        .show(ui, |ui| {
            if let Some(why) = &snapshot.study.fault {
                ui.colored_label(ui.visuals().error_fg_color, theme::letters(why));
            }
            match page_state.page {
                Page::Sheet => {}
                Page::Tunings => tunings::show(ui, snapshot, &mut page_state.tunings, commands),
                Page::Drills => drills::show(ui, snapshot, &mut page_state.drills, commands),
                Page::OffBeat => offbeat::show(ui, snapshot, &mut page_state.off_beat, commands),
                Page::TakeAway => {
                    takeaway::show(ui, snapshot, &mut page_state.take_away, sight, commands);
                }
                Page::Pattern => pattern::show(ui, snapshot, &mut page_state.pattern, commands),
                Page::Neck => neck::show(ui, snapshot, &mut page_state, commands),
            }
        });
    if page_state != *snapshot.page_state {
        commands.push(Command::SetPageState(Box::new(page_state)));
    }
    true
}
