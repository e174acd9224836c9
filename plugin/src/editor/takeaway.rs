//! Taking it away: the loop, or all of it, in every format, and the lesson page. A file is written at
//! once, under a name that is free; where it went is said below.

use super::fields::{aside, choice, field};
use super::sight::Sight;
use super::theme;
use super::transport::large;
use crate::command::Command;
use crate::page_state::TakeAwayPage;
use crate::snapshot::Snapshot;
use egui::{CursorIcon, Grid, Label, Sense, Ui};
use thumbline::report::export::Format;

/// Draws the page.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    page: &mut TakeAwayPage,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) {
    if snapshot.analysis.ready().is_none() {
        ui.label("Open a recording, and wait until it is analysed: then you can export it in any of these forms.");
        return;
    }
    ui.horizontal(|ui| {
        ui.label("Take away");
        choice(
            ui,
            &mut page.whole,
            &[
                (
                    false,
                    "The loop",
                    "The bars of the loop; a short phrase where nothing is looped",
                ),
                (true, "All of it", "The whole recording"),
            ],
        );
        match (page.whole, snapshot.study.bars) {
            (false, Some((first, last))) if first == last => {
                aside(ui, snapshot, &format!("bar {first}"));
            }
            (false, Some((first, last))) => aside(ui, snapshot, &format!("bars {first} to {last}")),
            _ => {}
        }
    });
    ui.add_space(6.0);
    let grid = Grid::new("formats").num_columns(4).spacing([14.0, 8.0]);
    grid.show(ui, |ui| {
        for (i, format) in Format::ALL.into_iter().enumerate() {
            let (name, what) = format.words();
            if large(ui, false, name, "Write the file now", None) {
                commands.push(Command::Export(format, false));
            }
            ui.label(what);
            if i % 2 == 1 {
                ui.end_row();
            }
        }
        if large(
            ui,
            false,
            "Lesson page…",
            "One file for a student, for any browser",
            None,
        ) {
            commands.push(Command::MakePage);
        }
        ui.label("the loop slowly, with tablature, for a student");
        let hint = "Write the bar sheet as PDF and open it, to print from there";
        if large(ui, false, "Print…", hint, None) {
            commands.push(Command::Export(Format::Pdf, true));
        }
        ui.label("the bar sheet, from the program that shows PDF");
        ui.end_row();
    });
    ui.add_space(6.0);
    ui.horizontal_wrapped(|ui| {
        ui.label("In the lesson page besides");
        let lesson = &mut page.lesson;
        for (on, name, hint) in [
            (
                &mut lesson.steps,
                "the pattern, step by step",
                "From the thumb alone to all of it, with goals and rests",
            ),
            (
                &mut lesson.scale,
                "the neck’s scale",
                "Along a path that rings",
            ),
            (
                &mut lesson.chords,
                "the neck’s chords",
                "As boxes with fingers, and one after the other",
            ),
            (
                &mut lesson.techniques,
                "hammer-ons, pull-offs, slides",
                "On the neck’s scale, one at a time and in a row",
            ),
            (
                &mut lesson.harmonics,
                "harmonics",
                "Across the strings at the 12th, 7th and 5th fret",
            ),
            (
                &mut lesson.plan,
                "a plan for the week",
                "What the journal says about this recording",
            ),
        ] {
            ui.checkbox(on, name).on_hover_text(hint);
        }
    });
    ui.horizontal_wrapped(|ui| {
        let folder = snapshot.study.folder.display().to_string();
        if let Some(typed) = field(ui, "Folder", &folder, 360.0) {
            page.folder = (!typed.is_empty()).then(|| typed.into());
        }
    });
    for path in snapshot.study.written.iter().rev().take(6) {
        ui.horizontal_wrapped(|ui| {
            let name = theme::letters(&path.display().to_string());
            let file = ui.add(Label::new(name).selectable(false).sense(Sense::drag()));
            if file.drag_started() {
                sight.leaving = vec![path.clone()];
            }
            file.on_hover_cursor(CursorIcon::Grab)
                .on_hover_text("Drag it into the host or a folder");
            let hint = "Put the path on the clipboard, for another program's dialog";
            if ui.button("Copy the path").on_hover_text(hint).clicked() {
                ui.ctx().copy_text(path.display().to_string());
            }
        });
    }
}
