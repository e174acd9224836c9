//! Behind the other mouse button: what can be done at a place of the sheet, or with a note.

use super::View;
use crate::command::{Command, GridEdit};
use crate::editor::keys::{self, Deed};
use crate::editor::note::other_hand;
use crate::editor::sight::Sight;
use egui::Ui;
use thumbline::music::note::Note;
use thumbline::unit::Seconds;

impl View<'_> {
    /// Behind the other mouse button, or a long press: what can be done with a note. It is the chosen one.
    pub(super) fn what_a_note_is(
        &self,
        head: &egui::Response,
        note: &Note,
        sight: &mut Sight,
        commands: &mut Vec<Command>,
    ) {
        head.context_menu(|ui| {
            for (deed, label) in [
                (Deed::Hear, "Hear it"),
                (Deed::CloseUp, "Its bar close up"),
                (Deed::Swap, other_hand(note.role)),
                (Deed::SlotBefore, "Meant for the slot before"),
                (Deed::SlotAfter, "Meant for the slot after"),
                (Deed::Remove, "Not a note"),
            ] {
                let button = egui::Button::new(label).shortcut_text(keys::name(deed));
                if ui.add(button).clicked() {
                    if deed == Deed::CloseUp {
                        // The deed by itself would put an open one away.
                        sight.show_close_up(&self.scene.heard.analysis, note.time);
                    } else {
                        keys::perform(deed, self.snapshot, sight, commands);
                    }
                    ui.close();
                }
            }
        });
    }

    /// Behind the other mouse button, or a long press: what can be done at a place.
    pub(super) fn what_can_be_done(
        &self,
        ui: &Ui,
        ground: &egui::Response,
        sight: &mut Sight,
        commands: &mut Vec<Command>,
    ) {
        if ground.secondary_clicked() || ground.long_touched() {
            let at = ui.input(|i| i.pointer.interact_pos());
            sight.asked = at.map(|at| self.on_page(at));
        }
        let Some(asked) = sight.asked else {
            return;
        };
        let piece = self.scene.heard.piece();
        let time = self.scene.sheet.time_at(&piece, asked);
        let bar = self.scene.sheet.bar_at(asked).copied();
        let region = self.snapshot.practice.region.as_ref();
        ground.context_menu(|ui| {
            let mut chosen: Vec<Command> = Vec::new();
            if let Some(time) = time {
                if ui.button("Play from here").clicked() {
                    chosen.extend([Command::Seek(time), Command::Play(true)]);
                }
                let to = region.map(|r| r.to).filter(|to| *to > time);
                let to = to.unwrap_or(piece.end);
                if ui.button("Loop from here").clicked() && time < to {
                    chosen.extend([Command::SetRegion(Some((time, to))), Command::SetLoop(true)]);
                }
                let from = region.map_or(Seconds(0.0), |r| r.from);
                if ui.button("Loop up to here").clicked() && from < time {
                    chosen.extend([
                        Command::SetRegion(Some((from, time))),
                        Command::SetLoop(true),
                    ]);
                }
            }
            if let Some(bar) = bar {
                if ui.button(format!("Loop bar {}", bar.number)).clicked() {
                    chosen.extend([
                        Command::SetBars(bar.number, bar.number),
                        Command::SetLoop(true),
                    ]);
                }
                if ui.button(format!("Bar {} close up", bar.number)).clicked() {
                    sight.close_up = Some(bar.number);
                    ui.close();
                }
            }
            if let Some(time) = time
                && ui.button("Bar 1 starts here").clicked()
            {
                chosen.push(Command::EditGrid(GridEdit::BarOne { at: time }));
            }
            if ui.button("A note was missed here").clicked() {
                let at = egui::pos2(
                    self.origin.x + asked.x as f32,
                    self.origin.y + asked.y as f32,
                );
                chosen.extend(self.new_note(at).map(Command::EditNote));
            }
            if !chosen.is_empty() {
                commands.extend(chosen);
                ui.close();
            }
        });
    }
}
