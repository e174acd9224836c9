//! The bar sheet: rows of bars with every note, painted from the same layout as the printed page.
//!
//! Only visible rows are laid out. Notes, bar numbers and (while beats are moved) beats are
//! widgets of their own, so that keyboard and screen reader reach them in order of time.

mod asked;
mod dragged;
mod looped;

use super::along;
use super::sight::{Scene, Side, Sight};
use super::theme::{self, Brush};
use super::{proof, repeats};
use crate::snapshot::Snapshot;
use crate::wish::{NoteAt, NoteEdit, Wish};
use egui::{CursorIcon, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};
use thumbline::music::note::{Note, Role as Hand};
use thumbline::report::sheet::{Ink, Mark, Point, RowKind, describe, describe_taken};
use thumbline::unit::{Beats, Seconds};

/// Draws the sheet.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    proof::show(ui, snapshot, sight, wishes);
    let width = f64::from(ui.available_width() - 14.0).max(200.0);
    if sight.far {
        sight.close_up = None;
        sight.far_zoom = f64::from((ui.available_height() - 90.0) / 150.0).clamp(1.0, 4.0);
    }
    let Some(scene) = sight.scene(snapshot, width) else {
        return;
    };
    along::sentence(ui, snapshot, &scene, sight.far);
    if !sight.far {
        repeats::show(ui, snapshot, sight, &scene, wishes);
    }
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
        sight.view = (f64::from(viewport.min.y), f64::from(viewport.max.y));
        sight.pointed = None;
        sight.pointed_at = ground.hover_pos().and_then(|at| sheet.time_under(at));
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

/// Where to scroll: to a row that was asked for, after the sound while it runs, and to the place it
/// was brought to while it stands, where that is not in view.
fn jump(snapshot: &Snapshot, sight: &mut Sight, scene: &Scene, room: f64) -> Option<f64> {
    let (transport, rows) = (&snapshot.transport, scene.sheet.rows());
    let moved = sight.stood.replace(transport.position) != Some(transport.position);
    let row = if let Some(row) = sight.reveal.take() {
        row
    } else {
        if !snapshot.look.follow || !(transport.playing || moved) {
            sight.followed = None;
            return None;
        }
        let piece = scene.heard.piece();
        let row = scene.sheet.place(&piece, transport.position)?.row;
        let (top, bottom) = sight.view;
        let area = rows.get(row)?;
        let seen = area.top >= top && area.top + area.height <= bottom;
        let stays = if transport.playing {
            sight.followed == Some(row)
        } else {
            seen
        };
        if stays {
            return None;
        }
        row
    };
    sight.followed = Some(row);
    let row = rows.get(row)?;
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
        if head.contains_pointer() {
            sight.pointed = Some(NoteAt::of(note));
            sight.pointed_at = Some(note.time);
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
