//! What is looped, in the bar at the bottom: the stretch, typed or chosen among those that were
//! kept, and what its ends hold on to.

use super::place;
use super::sight::Sight;
use crate::command::Command;
use crate::snapshot::{RegionView, Snap, Snapshot};
use egui::{ComboBox, Key, TextEdit, Ui, vec2};
use thumbline::music::grid::Grid;

/// Draws the controls.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let grid = snapshot.analysis.ready().map(|a| &a.grid);
    stretch(ui, snapshot, grid, sight, commands);
    holds(ui, snapshot, commands);
    kept(ui, snapshot, grid, sight, commands);
}

/// What a loop is called where it has no name.
pub fn told(grid: Option<&Grid>, region: Option<&RegionView>) -> String {
    region.map_or_else(|| "all".to_owned(), |r| place::stretch(grid, r.from, r.to))
}

/// The looped stretch as text that can be typed over.
fn stretch(
    ui: &mut Ui,
    snapshot: &Snapshot,
    grid: Option<&Grid>,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) {
    let now = told(grid, snapshot.practice.region.as_ref());
    let mut text = sight.loop_text.take().unwrap_or_else(|| now.clone());
    let height = ui.spacing().interact_size.y;
    let field = ui.add_sized(
        vec2(96.0, height),
        TextEdit::singleline(&mut text).id_salt("looped stretch"),
    );
    let field = field.on_hover_text(
        "What is looped. Type 9 for a bar, 9-10 for bars, 9.3-10.2 for beats; or drag over the sheet",
    );
    field.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::TextInput, true, format!("Looped: {now}"))
    });
    if field.has_focus() {
        sight.loop_text = Some(text);
    } else if field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter)) {
        if let Some((from, to)) = grid.and_then(|grid| place::typed(grid, &text)) {
            commands.push(Command::LoopFromTo(from, to));
            commands.push(Command::SetLoop(true));
        } else if text.trim() == "all" || text.trim().is_empty() {
            commands.push(Command::SetRegion(None));
        }
    }
}

/// What the ends of a loop hold on to while they are dragged.
fn holds(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let name = |snap: Snap| match snap {
        Snap::Bar => "by bars",
        Snap::Beat => "by beats",
        Snap::Slot => "by slots",
        Snap::Free => "freely",
    };
    let now = snapshot.practice.snap;
    let chosen = ComboBox::from_id_salt("ends hold on to")
        .selected_text(name(now))
        .width(76.0)
        .show_ui(ui, |ui| {
            for snap in Snap::ALL {
                if ui.selectable_label(now == snap, name(snap)).clicked() {
                    commands.push(Command::SetSnap(snap));
                }
            }
        });
    chosen
        .response
        .on_hover_text("What dragged ends of a loop hold on to: bars, beats, slots, or nothing");
}

/// Kept loops: one to be looped again, or this one to be kept.
fn kept(
    ui: &mut Ui,
    snapshot: &Snapshot,
    grid: Option<&Grid>,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) {
    let practice = &snapshot.practice;
    let menu = ui.menu_button("Kept loops", |ui| {
        for (i, region) in practice.regions.iter().enumerate() {
            let on = practice.current_region == Some(i);
            let stretch = place::stretch(grid, region.from, region.to);
            let text = if region.name == stretch {
                stretch
            } else {
                format!("{} ({stretch})", region.name)
            };
            if ui.selectable_label(on, text).clicked() {
                commands.push(Command::UseRegion(i));
                commands.push(Command::SetLoop(true));
                ui.close();
            }
        }
        if practice.regions.is_empty() {
            ui.weak("None kept yet for this recording.");
        }
        ui.separator();
        let now = told(grid, practice.region.as_ref());
        if practice.region.is_some() && practice.current_region.is_none() {
            if ui.button(format!("Keep {now}")).clicked() {
                commands.push(Command::KeepRegion(now));
                ui.close();
            }
            if ui.button("Keep it under a name…").clicked() {
                sight.side = super::sight::Side::Takes;
                ui.close();
            }
        }
        if practice.region.is_some() && ui.button("Loop all of it again").clicked() {
            commands.push(Command::SetRegion(None));
            ui.close();
        }
    });
    menu.response
        .on_hover_text("Loops you kept of this recording, to find again");
}
