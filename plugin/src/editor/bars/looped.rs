//! The looped stretch on the rows, and its ends, to be dragged.

use super::View;
use crate::command::Command;
use crate::editor::ends::{self, drag, told};
use crate::editor::keys;
use crate::editor::sight::Sight;
use crate::snapshot::End;
use egui::{CursorIcon, Response, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use std::ops::Range;
use thumbline::report::sheet::{Ink, Point, Rect};
use thumbline::unit::Seconds;

impl View<'_> {
    /// The ends of the loop, to be dragged.
    pub(super) fn edges(
        &self,
        ui: &Ui,
        (rows, ground): (&Range<usize>, &Response),
        sight: &mut Sight,
        commands: &mut Vec<Command>,
    ) {
        let practice = &self.snapshot.practice;
        let Some(region) = practice.region.as_ref().filter(|_| practice.loop_on) else {
            return;
        };
        for end in [End::Start, End::Finish] {
            // The end belongs to the row that it ends.
            let shown = match end {
                End::Start => Seconds(region.from.0 + 1e-4),
                End::Finish => Seconds((region.to.0 - 1e-4).max(region.from.0)),
            };
            let (piece, sheet) = (self.scene.heard.piece(), &self.scene.sheet);
            let place = sheet.place(&piece, shown).filter(|p| rows.contains(&p.row));
            let area = place.and_then(|place| sheet.row_area(place.row));
            let (Some(place), Some(area)) = (place, area) else {
                continue;
            };
            let top = self.brush(ui).at(Point::new(place.x, area.top + 3.0));
            let rect = egui::Rect::from_center_size(
                pos2(top.x, top.y + area.height() as f32 / 2.0 - 3.0),
                vec2(12.0, area.height() as f32 - 6.0),
            );
            let id = ui.scope_id().with(("loop end", end == End::Start));
            let handle = ui.interact(rect, id, Sense::drag());
            let (label, deed) = told(end);
            handle.widget_info(|| WidgetInfo::labeled(Role::Slider, true, label));
            // Over the row, so that no strip of a slot covers it.
            let held = handle.hovered() || handle.dragged() || handle.has_focus();
            let width = if held { 4.0 } else { 2.0 };
            let stroke = Stroke::new(width, self.ink(Ink::Position));
            ui.painter().vline(top.x, rect.y_range(), stroke);
            let under = |at| self.time_under(at);
            let ends = (region.from, region.to);
            drag((&handle, ground), end, under, ends, sight, commands);
            handle
                .on_hover_cursor(CursorIcon::ResizeHorizontal)
                .on_hover_text(format!("{label}; a beat later with {}", keys::name(deed)));
        }
    }

    /// Under a row, where it is looped (or being looped).
    pub(super) fn loop_wash(&self, ui: &Ui, row: usize, sight: &Sight) {
        let practice = &self.snapshot.practice;
        let mut region = ends::looped(practice, sight);
        let pointer = ui.input(|i| i.pointer.interact_pos());
        let drawn = sight.loop_from.is_some() || sight.bars_from.is_some();
        if let Some(from) = sight.loop_from {
            let to = pointer.and_then(|at| self.time_under(at));
            region = to.map(|to| ends::ordered((from, to)));
        } else if let Some(from) = sight.bars_from {
            let grid = &self.scene.heard.analysis.grid;
            let to = pointer.and_then(|at| self.bar_under(at)).unwrap_or(from);
            region = grid.bar_range(from.min(to), from.max(to));
        }
        let Some((from, to)) = region.filter(|_| practice.loop_on || drawn) else {
            return;
        };
        let sheet = &self.scene.sheet;
        let piece = self.scene.heard.piece();
        let Some(area) = sheet.row_area(row) else {
            return;
        };
        // The ends are lines; where it goes on in another row there is none.
        // A hair inside: a bar's line belongs to both bars.
        let first = Seconds((from.0 + 1e-3).min(to.0));
        let begins = sheet.place(&piece, first).filter(|p| p.row == row);
        let last = Seconds((to.0 - 1e-4).max(from.0));
        let ends = sheet.place(&piece, last).filter(|p| p.row == row);
        let inner = 3.0;
        for (left, right) in sheet.stretches(&piece, row, (from, to)) {
            let wash = Rect {
                left,
                right,
                top: area.top + inner,
                bottom: area.bottom - inner,
            };
            let rect = self.brush(ui).area(&wash);
            ui.painter().rect_filled(rect, 4.0, self.ink(Ink::Wash));
            let stroke = Stroke::new(2.0, self.ink(Ink::Position));
            if begins.is_some_and(|p| (p.x - left).abs() < 1.0) {
                ui.painter().vline(rect.left(), rect.y_range(), stroke);
            }
            if ends.is_some_and(|p| p.x <= right + 1.0 && p.x >= left) {
                ui.painter().vline(rect.right(), rect.y_range(), stroke);
            }
        }
    }
}
