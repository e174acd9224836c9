//! The top of the window: opening a recording, its name and tuning, and the pages beside the sheet.

use super::sight::{self, Side, Sight};
use super::{keys, pages, states, theme, transport, tuned};
use crate::command::Command;
use crate::page_state::Page;
use crate::snapshot::{For, Snapshot};
use egui::containers::menu::MenuButton;
use egui::{Align, Button, Label, Layout, RichText, Ui, Vec2};

/// Narrower than this, the pages at the right are behind one button.
const TABS: f32 = 890.0;
/// A name that had less room than this would say nothing.
const NAMED: f32 = 48.0;

/// Name of the recording and its tuning, and the pages of the side panel.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    sight: &mut Sight,
    commands: &mut Vec<Command>,
    wide: bool,
) {
    ui.horizontal(|ui| {
        if transport::large(ui, false, "Open…", "Open a recording", None) {
            commands.push(Command::AskForRecording);
        }
        recent(ui, snapshot, sight, commands);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let help = "What the page in view is about";
            if transport::large(ui, sight.help, "?", help, Some(keys::Deed::Help)) {
                sight.help = !sight.help;
            }
            if wide && ui.ctx().content_rect().width() >= TABS {
                let last_first = sight::PAGES.iter().rev();
                tabs(ui, snapshot, sight, last_first, commands);
            } else if wide {
                let now = sight::PAGES.iter().find(|(page, ..)| *page == sight.side);
                let now = now.map_or("Words", |(_, name, _)| *name);
                let button = Button::new(now).min_size(Vec2::splat(theme::TARGET));
                let (menu, _) = MenuButton::from_button(button).ui(ui, |ui| {
                    tabs(ui, snapshot, sight, sight::PAGES.iter(), commands);
                });
                menu.on_hover_text("Words, note, beats, takes, journal, sound and look");
            }
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                if let Some(name) = snapshot.recording.name() {
                    tuned::show(ui, snapshot, sight, commands);
                    if ui.available_width() < NAMED {
                        return;
                    }
                    ui.add(Label::new(RichText::new(name).heading()).truncate());
                }
            });
        });
    });
}

/// A button for each of these pages.
fn tabs<'a>(
    ui: &mut Ui,
    snapshot: &Snapshot,
    sight: &mut Sight,
    shown: impl Iterator<Item = &'a (Side, &'a str, &'a str)>,
    commands: &mut Vec<Command>,
) {
    let sheet = snapshot.page_state.page == Page::Sheet;
    for (page, name, hint) in shown {
        if transport::large(ui, sheet && sight.side == *page, name, hint, None) {
            sight.side = *page;
            if !sheet {
                pages::turn(snapshot, Page::Sheet, commands);
            }
            if *page == Side::Journal {
                commands.push(Command::ReadPage);
            }
        }
    }
}

/// Recordings opened lately, a path to type, the program's own list; and closing this one.
fn recent(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let button = Button::new("Recent").min_size(Vec2::splat(theme::TARGET));
    let (menu, _) = MenuButton::from_button(button).ui(ui, |ui| {
        states::recent(ui, snapshot, commands);
        ui.separator();
        states::path_field(ui, sight, "Open this path", Command::Load, commands);
        if ui.button("Look through a folder").clicked() {
            commands.push(Command::LookThrough(For::Recording, None));
            ui.close();
        }
        if snapshot.recording.name().is_some() && ui.button("Close this recording").clicked() {
            commands.push(Command::Close);
            ui.close();
        }
    });
    menu.on_hover_text("Recordings opened lately, a path to type, or close this one");
}
