//! Beats that are dragged to where they belong.

use super::View;
use crate::command::{Command, GridEdit};
use egui::{CursorIcon, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use thumbline::report::sheet::{Ink, Point, RowKind};

impl View<'_> {
    /// Beats that can be dragged to where they belong.
    pub(super) fn beats(&self, ui: &Ui, row: usize, commands: &mut Vec<Command>) {
        let heard = &self.scene.heard;
        let (piece, sheet) = (heard.piece(), &self.scene.sheet);
        let RowKind::Bars(cells) = &sheet.rows()[row].kind else {
            return;
        };
        let line = sheet.line(row).unwrap_or_default();
        for cell in cells {
            for beat in 0..cell.beats as usize {
                let index = cell.first_beat as usize + beat;
                let Some(at) = heard.analysis.grid.beats().get(index) else {
                    continue;
                };
                let Some(place) = sheet.place(&piece, at.time) else {
                    continue;
                };
                let centre = self.brush(ui).at(Point::new(place.x, line));
                let rect = egui::Rect::from_center_size(centre, vec2(16.0, 30.0));
                let handle = ui.interact(rect, ui.scope_id().with(("beat", index)), Sense::drag());
                let label = format!("Beat {} of bar {}", at.place, at.bar);
                handle.widget_info(|| WidgetInfo::labeled(Role::Slider, true, &label));
                let width = if handle.hovered() || handle.dragged() {
                    4.0
                } else {
                    2.5
                };
                let stroke = Stroke::new(width, self.ink(Ink::Focus));
                ui.painter().vline(centre.x, rect.y_range(), stroke);
                if handle.drag_stopped()
                    && let Some(to) = handle
                        .interact_pointer_pos()
                        .and_then(|p| self.time_under(pos2(p.x, centre.y)))
                {
                    let from = at.time;
                    commands.push(Command::EditGrid(GridEdit::DragBeat { from, to }));
                }
                handle.on_hover_cursor(CursorIcon::ResizeHorizontal);
            }
        }
    }
}
