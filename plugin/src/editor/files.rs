//! The program's own list of a folder, for desktops without a file dialog.

use super::sight::Sight;
use super::transport::large;
use crate::command::Command;
use crate::data::name_of;
use crate::snapshot::{FolderView, For};
use egui::{Key, ScrollArea, TextEdit, Ui};
use std::path::{Path, PathBuf};

/// Draws the list.
pub fn show(ui: &mut Ui, folder: &FolderView, sight: &mut Sight, commands: &mut Vec<Command>) {
    let purpose = folder.purpose;
    let chosen = |path: PathBuf| match purpose {
        For::Recording => Command::Load(path),
        For::Take => Command::LoadTake(path),
        For::Pattern | For::Melody => Command::Notes(purpose, path),
    };
    ui.horizontal(|ui| {
        ui.heading(purpose.heading());
        if large(ui, false, "Close", "Close the list (Escape)", None)
            || ui.input(|i| i.key_pressed(Key::Escape))
        {
            commands.push(Command::LeaveFolder);
        }
        if let Some(up) = folder.path.parent()
            && large(
                ui,
                false,
                "Folder above",
                "To the folder that this one lies in",
                None,
            )
        {
            commands.push(Command::LookThrough(purpose, Some(up.to_owned())));
        }
    });
    ui.weak("A simple list, for desktops without a file dialog.");
    ui.horizontal(|ui| {
        let name = ui.label("Path");
        let hint = folder.path.display().to_string();
        let field = TextEdit::singleline(&mut sight.path)
            .desired_width(360.0)
            .hint_text(hint);
        let field = ui.add(field).labelled_by(name.id);
        // A list that has just come is typed into at once.
        let (shown, now) = (
            ui.make_persistent_id("folder"),
            ui.ctx().cumulative_frame_nr(),
        );
        let before = ui.data(|d| d.get_temp::<(PathBuf, u64)>(shown));
        if !before.is_some_and(|(path, frame)| path == folder.path && frame + 1 >= now) {
            field.request_focus();
        }
        ui.data_mut(|d| d.insert_temp(shown, (folder.path.clone(), now)));
        let entered = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        if entered && !sight.path.trim().is_empty() {
            let typed = std::mem::take(&mut sight.path);
            let path = folder.path.join(typed.trim());
            commands.push(if names_a_file(&path) {
                chosen(path)
            } else {
                Command::LookThrough(purpose, Some(path))
            });
        }
    });
    if let Some(fault) = &folder.fault {
        ui.colored_label(ui.visuals().error_fg_color, fault);
    }
    ScrollArea::vertical().id_salt("folder").show(ui, |ui| {
        for path in &folder.folders {
            if ui.button(format!("{} /", name_of(path))).clicked() {
                commands.push(Command::LookThrough(purpose, Some(path.clone())));
            }
        }
        for path in &folder.files {
            if ui.button(name_of(path)).clicked() {
                commands.push(chosen(path.clone()));
            }
        }
        if folder.folders.is_empty() && folder.files.is_empty() {
            ui.weak("Nothing here that can be opened.");
        }
    });
}

/// By its name alone: whether it is there is looked at elsewhere.
fn names_a_file(path: &Path) -> bool {
    path.extension().is_some()
}
