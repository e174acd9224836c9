//! What the middle of the window shows while there is no bar sheet: what to do first, what is under
//! way, what failed and what still works.

use super::guide;
use super::sight::{Side, Sight};
use super::transport::large;
use crate::command::Command;
use crate::snapshot::{AnalysisView, RecordingView, Snapshot};
use egui::{ProgressBar, TextEdit, Ui, vec2};
use std::path::PathBuf;

/// Draws the state; says whether there is a bar sheet to draw instead.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) -> bool {
    match (&snapshot.recording, &snapshot.analysis) {
        (RecordingView::Empty | RecordingView::Ready { .. }, AnalysisView::Ready(_)) => true,
        (RecordingView::Empty, _) => {
            empty(ui, snapshot, sight, commands);
            false
        }
        (RecordingView::Loading { name, progress }, _) => {
            page(ui, |ui| {
                ui.heading(format!("Reading {name}"));
                bar(ui, *progress, "Reading the file");
                ui.label("What has been read already plays.");
                cancel(ui, commands);
            });
            false
        }
        (RecordingView::Missing { name, path, .. }, _) => {
            page(ui, |ui| {
                ui.heading(format!("{name} is not where it was"));
                ui.label(format!("It was at {}.", path.display()));
                ui.label("Your loops, corrections and takes are kept. Say where the file is now:");
                if large(ui, false, "Find it…", "Choose the file", None) {
                    commands.push(Command::AskForRecording);
                }
                path_field(ui, sight, "Use this file", Command::Locate, commands);
            });
            false
        }
        (RecordingView::Failed { name, reason }, _) => {
            page(ui, |ui| {
                ui.heading(format!("{name} could not be opened"));
                ui.label(reason);
                ui.label("Nothing you marked is lost. Try another file, or the demo.");
                first_steps(ui, snapshot, sight, commands);
            });
            false
        }
        (
            RecordingView::Ready { .. },
            AnalysisView::Working {
                progress,
                so_far: Some(_),
                ..
            },
        ) => {
            ui.horizontal(|ui| {
                bar(ui, Some(*progress), "Finding the beat");
                cancel(ui, commands);
            });
            true
        }
        (RecordingView::Ready { name, .. }, AnalysisView::Working { progress, .. }) => {
            page(ui, |ui| {
                ui.heading(format!("Listening to {name}"));
                bar(ui, Some(*progress), "Finding notes and beats");
                ui.label("It plays, loops and slows already; the sheet follows.");
                cancel(ui, commands);
            });
            false
        }
        (RecordingView::Ready { .. }, AnalysisView::Failed(reason)) => {
            page(ui, |ui| {
                ui.heading("The notes could not be found");
                ui.label(reason);
                ui.label("The recording still plays, loops and slows.");
                if large(ui, false, "Try again", "Analyse it again", None) {
                    commands.push(Command::Analyse);
                }
            });
            false
        }
        (RecordingView::Ready { name, .. }, AnalysisView::None) => {
            page(ui, |ui| {
                ui.heading(name);
                ui.label("Not analysed yet.");
                if large(ui, false, "Find the notes", "Analyse it", None) {
                    commands.push(Command::Analyse);
                }
            });
            false
        }
    }
}

fn page(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    let room = ui.available_size();
    egui::ScrollArea::vertical()
        .id_salt("state")
        .auto_shrink(false)
        .show(ui, |ui| {
            ui.add_space((room.y * 0.18).min(120.0));
            ui.horizontal(|ui| {
                ui.add_space((room.x * 0.12).min(140.0));
                ui.vertical(|ui| {
                    ui.set_max_width((room.x * 0.76).clamp(120.0, 640.0));
                    ui.spacing_mut().item_spacing.y = 10.0;
                    content(ui);
                });
            });
        });
}

fn empty(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    page(ui, |ui| {
        ui.heading("Open a recording of a guitar to see thumb and fingers against the beat.");
        first_steps(ui, snapshot, sight, commands);
        ui.label(
            "Press 60 % and Play: it is slower, at its own pitch. Click the number of a bar: it \
             loops. Press Record and play along: your take appears on the same rows.",
        );
    });
}

fn first_steps(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        let hint = thumbline::load::FORMATS;
        if large(ui, false, "Open a recording…", hint, None) {
            commands.push(Command::AskForRecording);
        }
        if large(
            ui,
            false,
            "Open the demo",
            "A tune played by the program itself",
            None,
        ) {
            commands.push(Command::OpenDemo);
        }
        let hint = "Five steps on the built-in tune: see, loop, slow down, record, read";
        if large(ui, false, "Show me round", hint, None) {
            guide::begin(commands);
        }
        let hint = "Three steps: device, delay, level; at any time later too";
        if large(ui, false, "Set up the sound", hint, None) {
            sight.side = Side::Sound;
        }
    });
    let silent = snapshot.sound.as_ref().filter(|s| s.silent);
    if let Some(fault) = silent.and_then(|s| s.fault.as_ref()) {
        ui.colored_label(ui.visuals().error_fg_color, fault);
    }
    path_field(ui, sight, "Open this path", Command::Load, commands);
    recent(ui, snapshot, commands);
}

/// Recordings opened lately.
pub fn recent(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    if snapshot.recent.is_empty() {
        ui.weak("Nothing was opened yet.");
        return;
    }
    ui.weak("Opened lately");
    for path in snapshot.recent.iter() {
        let name = crate::data::name_of(path);
        let button = ui.button(name).on_hover_text(path.display().to_string());
        if button.clicked() {
            commands.push(Command::Load(path.clone()));
            ui.close();
        }
    }
}

/// A place to type a path.
pub fn path_field(
    ui: &mut Ui,
    sight: &mut Sight,
    label: &str,
    command: fn(PathBuf) -> Command,
    commands: &mut Vec<Command>,
) {
    ui.horizontal_wrapped(|ui| {
        let name = ui.label("or its path:");
        let field = TextEdit::singleline(&mut sight.path).desired_width(260.0);
        let field = ui.add(field).labelled_by(name.id);
        let entered = field.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
        let there = !sight.path.trim().is_empty();
        let pressed = ui.add_enabled(there, egui::Button::new(label)).clicked();
        if there && (entered || pressed) {
            let path = std::mem::take(&mut sight.path);
            commands.push(command(PathBuf::from(path.trim())));
        }
    });
}

fn bar(ui: &mut Ui, progress: Option<f32>, what: &str) {
    let share = progress
        .filter(|p| p.is_finite())
        .map(|p| p.clamp(0.0, 1.0));
    let text = share.map_or_else(
        || what.to_owned(),
        |p| format!("{what}: {:.0} %", 100.0 * p),
    );
    let bar = ProgressBar::new(share.unwrap_or(0.0)).text(text);
    ui.add_sized(vec2(320.0_f32.min(ui.available_width()), 24.0), bar);
}

fn cancel(ui: &mut Ui, commands: &mut Vec<Command>) {
    if large(ui, false, "Cancel", "Stop; what is there stays", None) {
        commands.push(Command::Cancel);
    }
}
