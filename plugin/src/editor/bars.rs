//! The bar sheet: rows of bars with every note, painted from the same layout as the printed page.
//!
//! Only visible rows are laid out. Notes, bar numbers and (while beats are moved) beats are
//! widgets of their own, so that keyboard and screen reader reach them in order of time.

use super::along;
use super::keys::{self, Deed};
use super::sight::{Scene, Side, Sight};
use super::theme::{self, Brush};
use super::{proof, repeats};
use crate::snapshot::Snapshot;
use crate::wish::{GridEdit, NoteAt, NoteEdit, Wish};
use egui::{CursorIcon, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};
use thumbline::music::note::{Note, Role as Hand};
use thumbline::report::sheet::{Ink, Mark, Point, Rect, RowKind, describe, describe_taken};
use thumbline::unit::{Beats, Seconds};

/// Draws the sheet.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    proof::show(ui, snapshot, sight, wishes);
    along::sentence(ui, snapshot);
    let width = f64::from(ui.available_width() - 14.0).max(200.0);
    let Some(scene) = sight.scene(snapshot, width) else {
        return;
    };
    repeats::show(ui, snapshot, sight, &scene, wishes);
    zoom(ui, snapshot, wishes);
    let mut area = ScrollArea::vertical()
        .id_salt("bar sheet")
        .auto_shrink(false);
    if let Some(top) = jump(snapshot, sight, &scene, f64::from(ui.available_height())) {
        area = area.vertical_scroll_offset(top as f32);
    }
    area.show_viewport(ui, |ui, viewport| {
        let height = scene.sheet.height() + 12.0;
        let size = vec2(width as f32, height as f32);
        let (page, ground) = ui.allocate_exact_size(size, Sense::click_and_drag());
        let sheet = View {
            scene: &scene,
            snapshot,
            origin: page.min,
        };
        let rows = scene
            .sheet
            .visible(f64::from(viewport.min.y), f64::from(viewport.max.y));
        sheet.ground(ui, &ground, sight, wishes);
        for row in rows.clone() {
            sheet.loop_wash(ui, row, sight);
        }
        for row in rows.clone() {
            sheet.row(ui, row, sight, wishes);
        }
        sheet.edges(ui, &rows, sight, wishes);
        sheet.position(ui, &rows);
    });
}

/// Pinching, or the wheel with Ctrl, makes the notes larger or smaller.
fn zoom(ui: &Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    let by = f64::from(ui.input(egui::InputState::zoom_delta));
    if by != 1.0 && ui.rect_contains_pointer(ui.max_rect()) {
        wishes.push(Wish::SetLook(snapshot.look.larger(by)));
    }
}

/// Where to scroll: to a row that was asked for, or after the sound.
fn jump(snapshot: &Snapshot, sight: &mut Sight, scene: &Scene, room: f64) -> Option<f64> {
    let row = if let Some(row) = sight.reveal.take() {
        row
    } else {
        if !(snapshot.transport.playing && snapshot.look.follow) {
            sight.followed = None;
            return None;
        }
        let piece = scene.heard.piece();
        let row = scene.sheet.place(&piece, snapshot.transport.position)?.row;
        if sight.followed == Some(row) {
            return None;
        }
        row
    };
    sight.followed = Some(row);
    let row = scene.sheet.rows().get(row)?;
    // A third down the page: what comes next matters more than what was.
    Some((row.top - (room - row.height) / 3.0).max(0.0))
}

struct View<'a> {
    scene: &'a Scene,
    snapshot: &'a Snapshot,
    origin: egui::Pos2,
}

impl View<'_> {
    fn brush<'b>(&self, ui: &'b Ui) -> Brush<'b> {
        Brush {
            painter: ui.painter(),
            origin: self.origin,
            ground: self.snapshot.look.ground,
        }
    }

    fn ink(&self, ink: Ink) -> egui::Color32 {
        theme::ink(self.snapshot.look.ground, ink)
    }

    fn on_page(&self, at: egui::Pos2) -> Point {
        Point::new(
            f64::from(at.x - self.origin.x),
            f64::from(at.y - self.origin.y),
        )
    }

    fn time_under(&self, at: egui::Pos2) -> Option<Seconds> {
        let piece = self.scene.heard.piece();
        self.scene.sheet.time_at(&piece, self.on_page(at))
    }

    /// The page itself: click to go there, drag to loop, double-click to add a note.
    fn ground(&self, ui: &Ui, ground: &egui::Response, sight: &mut Sight, wishes: &mut Vec<Wish>) {
        ground.widget_info(|| WidgetInfo::labeled(Role::Group, true, "Bar sheet"));
        let under = ground
            .interact_pointer_pos()
            .and_then(|at| self.time_under(at));
        self.what_can_be_done(ui, ground, sight, wishes);
        if ground.drag_started() {
            let origin = ui.input(|i| i.pointer.press_origin());
            sight.loop_from = origin.and_then(|at| self.time_under(at));
        }
        if ground.drag_stopped() {
            if let (Some(from), Some(to)) = (sight.loop_from.take(), under) {
                let (from, to) = if from < to { (from, to) } else { (to, from) };
                wishes.push(Wish::SetRegion(Some((from, to))));
                wishes.push(Wish::SetLoop(true));
            }
        } else if ground.double_clicked() {
            let at = ground.interact_pointer_pos();
            wishes.extend(at.and_then(|at| self.new_note(at)).map(Wish::EditNote));
        } else if ground.clicked() {
            sight.chosen = None;
            wishes.extend(under.map(Wish::Seek));
        }
    }

    /// Behind the other mouse button, or a long press: what can be done at a place.
    fn what_can_be_done(
        &self,
        ui: &Ui,
        ground: &egui::Response,
        sight: &mut Sight,
        wishes: &mut Vec<Wish>,
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
            let mut chosen: Vec<Wish> = Vec::new();
            if let Some(time) = time {
                if ui.button("Play from here").clicked() {
                    chosen.extend([Wish::Seek(time), Wish::Play(true)]);
                }
                let to = region.map(|r| r.to).filter(|to| *to > time);
                let to = to.unwrap_or(piece.end);
                if ui.button("Loop from here").clicked() && time < to {
                    chosen.extend([Wish::SetRegion(Some((time, to))), Wish::SetLoop(true)]);
                }
                let from = region.map_or(Seconds(0.0), |r| r.from);
                if ui.button("Loop up to here").clicked() && from < time {
                    chosen.extend([Wish::SetRegion(Some((from, time))), Wish::SetLoop(true)]);
                }
            }
            if let Some(bar) = bar {
                if ui.button(format!("Loop bar {}", bar.number)).clicked() {
                    chosen.extend([Wish::SetBars(bar.number, bar.number), Wish::SetLoop(true)]);
                }
                if ui.button(format!("Bar {} close up", bar.number)).clicked() {
                    sight.close_up = Some(bar.number);
                    ui.close();
                }
            }
            if ui.button("A note was missed here").clicked() {
                let at = egui::pos2(
                    self.origin.x + asked.x as f32,
                    self.origin.y + asked.y as f32,
                );
                chosen.extend(self.new_note(at).map(Wish::EditNote));
            }
            if !chosen.is_empty() {
                wishes.extend(chosen);
                ui.close();
            }
        });
    }

    /// The ends of the loop, to be dragged.
    fn edges(
        &self,
        ui: &Ui,
        rows: &std::ops::Range<usize>,
        sight: &mut Sight,
        wishes: &mut Vec<Wish>,
    ) {
        let practice = &self.snapshot.practice;
        let Some(region) = practice.region.as_ref().filter(|_| practice.loop_on) else {
            return;
        };
        let (piece, sheet) = (self.scene.heard.piece(), &self.scene.sheet);
        for (start, time) in [(true, region.from), (false, region.to)] {
            // The end belongs to the row that it ends.
            let shown = if start {
                time
            } else {
                Seconds((time.0 - 1e-4).max(region.from.0))
            };
            let Some(place) = sheet.place(&piece, shown).filter(|p| rows.contains(&p.row)) else {
                continue;
            };
            let Some(area) = sheet.row_area(place.row) else {
                continue;
            };
            let top = self.brush(ui).at(Point::new(place.x, area.top + 3.0));
            let rect = egui::Rect::from_center_size(
                pos2(top.x, top.y + area.height() as f32 / 2.0 - 3.0),
                vec2(12.0, area.height() as f32 - 6.0),
            );
            let id = ui.scope_id().with(("loop end", start));
            let handle = ui.interact(rect, id, Sense::drag());
            let label = if start {
                "Start of the loop"
            } else {
                "End of the loop"
            };
            handle.widget_info(|| WidgetInfo::labeled(Role::Slider, true, label));
            if handle.hovered() || handle.dragged() {
                let stroke = Stroke::new(4.0, self.ink(Ink::Position));
                ui.painter().vline(top.x, rect.y_range(), stroke);
            }
            if handle.dragged() {
                sight.edge = Some(start);
            }
            if handle.drag_stopped() {
                sight.edge = None;
                let to = handle
                    .interact_pointer_pos()
                    .and_then(|at| self.time_under(at));
                let ends = to.map(|to| {
                    if start {
                        (to, region.to)
                    } else {
                        (region.from, to)
                    }
                });
                if let Some(ends) = ends.filter(|e| e.0 < e.1) {
                    wishes.push(Wish::SetRegion(Some(ends)));
                }
            }
            let hint = if start {
                Deed::StartLater
            } else {
                Deed::EndLater
            };
            handle
                .on_hover_cursor(CursorIcon::ResizeHorizontal)
                .on_hover_text(format!("{label}; a beat later with {}", keys::name(hint)));
        }
    }

    /// A note at a place of a row: above its line a finger's, below it the thumb's.
    fn new_note(&self, at: egui::Pos2) -> Option<NoteEdit> {
        let time = self.time_under(at)?;
        let page = self.on_page(at);
        let row = self.scene.sheet.row_at(page.y)?;
        let area = self.scene.sheet.row_area(row)?;
        let upper = page.y < self.scene.sheet.line(row).unwrap_or(area.top);
        let role = if upper { Hand::Melody } else { Hand::Bass };
        Some(NoteEdit::Add {
            note: Note::by_hand(time, role),
        })
    }

    /// Under a row, where it is looped (or being looped).
    fn loop_wash(&self, ui: &Ui, row: usize, sight: &Sight) {
        let practice = &self.snapshot.practice;
        let mut region = practice.region.as_ref().map(|r| (r.from, r.to));
        let pointer = ui.input(|i| i.pointer.interact_pos());
        if let Some(from) = sight.loop_from {
            let to = pointer.and_then(|at| self.time_under(at));
            region = to.map(|to| if from < to { (from, to) } else { (to, from) });
        }
        let Some((from, to)) = region.filter(|_| practice.loop_on || sight.loop_from.is_some())
        else {
            return;
        };
        let sheet = &self.scene.sheet;
        let piece = self.scene.heard.piece();
        let Some(area) = sheet.row_area(row) else {
            return;
        };
        let edge = |time: Seconds| sheet.place(&piece, time).filter(|p| p.row == row);
        let start = sheet.rows()[row].from();
        let next = sheet
            .rows()
            .get(row + 1)
            .map_or(piece.end, thumbline::report::sheet::Row::from);
        if to <= start || from >= next {
            return;
        }
        let left = edge(from).map_or(area.left, |p| p.x);
        let right = match edge(to) {
            Some(p) if to < next => p.x,
            _ => area.right,
        };
        let inner = 3.0;
        let wash = Rect {
            left,
            right,
            top: area.top + inner,
            bottom: area.bottom - inner,
        };
        let brush = self.brush(ui);
        let rect = brush.area(&wash);
        ui.painter().rect_filled(rect, 4.0, self.ink(Ink::Wash));
        let stroke = Stroke::new(2.0, self.ink(Ink::Position));
        for (shown, x) in [
            (edge(from).is_some(), rect.left()),
            (right < area.right || to <= next, rect.right()),
        ] {
            if shown {
                ui.painter().vline(x, rect.y_range(), stroke);
            }
        }
    }

    fn row(&self, ui: &mut Ui, row: usize, sight: &mut Sight, wishes: &mut Vec<Wish>) {
        let piece = self.scene.heard.piece();
        let (shapes, marks) = self.scene.sheet.row_shapes(&piece, row);
        let brush = self.brush(ui);
        for shape in &shapes {
            brush.paint(shape);
        }
        self.bar_number(ui, row, sight, wishes);
        if sight.moving_beats {
            self.beats(ui, row, wishes);
        }
        for mark in marks.iter().filter(|m| !m.second) {
            self.note(ui, mark, sight, wishes);
        }
        for mark in marks.iter().filter(|m| m.second) {
            self.taken(ui, mark, sight);
        }
        along::heads(ui, self.snapshot, self.scene, &brush, row, &marks);
    }

    /// The number at the left: loops its bar.
    fn bar_number(&self, ui: &Ui, row: usize, sight: &mut Sight, wishes: &mut Vec<Wish>) {
        let sheet = &self.scene.sheet;
        let RowKind::Bars(cells) = &sheet.rows()[row].kind else {
            return;
        };
        let (Some(first), Some(last), Some(area)) =
            (cells.first(), cells.last(), sheet.row_area(row))
        else {
            return;
        };
        let line = sheet.line(row).unwrap_or(area.top);
        let rect = egui::Rect::from_min_size(
            pos2(self.origin.x, self.origin.y + line as f32 - 22.0),
            vec2(44.0, 44.0),
        );
        let id = ui.scope_id().with(("bar", first.first_beat as i64));
        let label = if first.number == last.number {
            format!("Bar {}", first.number)
        } else {
            format!("Bars {} to {}", first.number, last.number)
        };
        let button = ui.interact(rect, id, Sense::click());
        button.widget_info(|| WidgetInfo::labeled(Role::Button, true, &label));
        let button = button
            .on_hover_cursor(CursorIcon::PointingHand)
            .on_hover_text(
                "Loop this bar. Twice: loop it at 60 % and play. With Shift: up to here.",
            );
        if button.has_focus() || button.hovered() {
            let stroke = Stroke::new(2.0, self.ink(Ink::Focus));
            ui.painter()
                .rect_stroke(rect.shrink(4.0), 4.0, stroke, StrokeKind::Inside);
        }
        if button.double_clicked() {
            wishes.push(Wish::SetSpeed(0.6));
            wishes.push(Wish::Play(true));
        } else if button.clicked() {
            let shift = ui.input(|i| i.modifiers.shift);
            let start = self.snapshot.practice.region.as_ref().map(|r| r.from);
            match start.filter(|&from| shift && from < first.start) {
                Some(from) => wishes.push(Wish::SetRegion(Some((from, last.end)))),
                None => wishes.push(Wish::SetBars(first.number, last.number)),
            }
            wishes.push(Wish::SetLoop(true));
            sight.chosen = None;
        }
    }

    fn note(&self, ui: &Ui, mark: &Mark, sight: &mut Sight, wishes: &mut Vec<Wish>) {
        let heard = &self.scene.heard;
        let (piece, brush) = (heard.piece(), self.brush(ui));
        let note = &heard.analysis.notes[mark.note];
        let rect = brush.area(&mark.area);
        let id = ui.scope_id().with(("note", mark.note));
        let head = ui.interact(rect, id, Sense::click_and_drag());
        let label = || describe(&piece, note, &piece.placed(mark.note));
        head.widget_info(|| WidgetInfo::labeled(Role::Button, true, label()));
        let chosen = sight.chosen_in(&heard.analysis) == Some(mark.note);
        if head.gained_focus() || (head.clicked() && !chosen) {
            sight.choose(&heard.analysis, mark.note);
        }
        if head.double_clicked() {
            wishes.push(Wish::hear(note));
        }
        if head.dragged()
            && let Some(at) = head.interact_pointer_pos()
            && let Some((_, x)) = self.slot_under(at)
        {
            let top = pos2(x, rect.top());
            let stroke = Stroke::new(2.0, self.ink(Ink::Focus));
            ui.painter().line_segment([top, at], stroke);
            ui.painter().circle_stroke(top, 4.0, stroke);
            ui.ctx().set_cursor_icon(CursorIcon::ResizeHorizontal);
        }
        if head.drag_stopped()
            && let Some(at) = head.interact_pointer_pos()
            && let Some((slot, _)) = self.slot_under(at)
        {
            let which = NoteAt::of(note);
            wishes.push(Wish::EditNote(NoteEdit::MeantFor { which, slot }));
        }
        let ring = if chosen || head.has_focus() || head.hovered() {
            Some(2.0)
        } else {
            (!sight.lit_take && sight.lit.contains(&mark.note)).then_some(2.5)
        };
        if let Some(width) = ring {
            let stroke = Stroke::new(width, self.ink(Ink::Focus));
            ui.painter()
                .circle_stroke(rect.center(), rect.width() / 2.0 + 1.5, stroke);
        }
        if head.hovered() && !head.dragged() {
            head.on_hover_text(theme::letters(&label()));
        }
    }

    /// A note of a take: told about, not changed.
    fn taken(&self, ui: &Ui, mark: &Mark, sight: &Sight) {
        let piece = self.scene.heard.piece();
        let Some((note, placed)) = piece.second(mark.note) else {
            return;
        };
        let rect = self.brush(ui).area(&mark.area);
        let head = ui.interact(
            rect,
            ui.scope_id().with(("take", mark.note)),
            Sense::hover(),
        );
        let label = || describe_taken(&piece, note, &placed);
        if sight.lit_take && sight.lit.contains(&mark.note) {
            let stroke = Stroke::new(2.5, self.ink(Ink::Focus));
            let radius = rect.width() / 2.0 + 1.5;
            ui.painter().circle_stroke(rect.center(), radius, stroke);
        }
        head.widget_info(|| WidgetInfo::labeled(Role::Label, true, label()));
        if head.hovered() {
            head.on_hover_text(theme::letters(&label()));
        }
    }

    /// The slot nearest to a place: its instant, and where it stands on the screen.
    fn slot_under(&self, at: egui::Pos2) -> Option<(Seconds, f32)> {
        let heard = &self.scene.heard;
        let grid = &heard.analysis.grid;
        let beats = self.scene.sheet.beats_at(self.on_page(at))?.0;
        let index = beats.floor().max(0.0);
        let parts = grid.beats().get(index as usize)?.parts.max(1);
        let part = ((beats - index) * f64::from(parts)).round();
        let slot = grid.time_at(Beats(index + part / f64::from(parts)))?;
        let place = self.scene.sheet.place(&heard.piece(), slot)?;
        Some((slot, self.origin.x + place.x as f32))
    }

    /// Beats that can be dragged to where they belong.
    fn beats(&self, ui: &Ui, row: usize, wishes: &mut Vec<Wish>) {
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
                    wishes.push(Wish::EditGrid(GridEdit::DragBeat { from, to }));
                }
                handle.on_hover_cursor(CursorIcon::ResizeHorizontal);
            }
        }
    }

    /// A line through the row in play.
    fn position(&self, ui: &Ui, rows: &std::ops::Range<usize>) {
        let piece = self.scene.heard.piece();
        let position = self.snapshot.transport.position;
        let Some(place) = self.scene.sheet.place(&piece, position) else {
            return;
        };
        if let Some(area) = self.scene.sheet.row_area(place.row)
            && rows.contains(&place.row)
        {
            let x = self.origin.x + place.x as f32;
            let (top, bottom) = (area.top as f32 + 4.0, area.bottom as f32 - 4.0);
            let range = self.origin.y + top..=self.origin.y + bottom;
            let stroke = Stroke::new(2.0, self.ink(Ink::Position));
            ui.painter().vline(x, range, stroke);
        }
    }
}

/// Scrolls to a bar and loops it.
pub fn go_to_bar(bar: i32, sight: &mut Sight, scene: &Scene) {
    let holds = |kind: &RowKind| match kind {
        RowKind::Bars(cells) => cells.iter().any(|c| c.number == bar),
        RowKind::Free { .. } => false,
    };
    sight.reveal = scene.sheet.rows().iter().position(|r| holds(&r.kind));
    sight.side = Side::Words;
}
