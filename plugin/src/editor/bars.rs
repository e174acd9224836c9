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
use crate::command::{Command, NoteAt, NoteEdit};
use crate::snapshot::{CaptureView, Snapshot};
use egui::{CursorIcon, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};
use thumbline::music::note::{Note, Role as Hand};
use thumbline::report::sheet::{Alike, Ink, Mark, Point, RowKind};
use thumbline::unit::{Beats, Seconds, Span};

/// Draws the sheet.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    proof::show(ui, snapshot, sight, commands);
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
        repeats::show(ui, snapshot, sight, &scene, commands);
    }
    zoom(ui, snapshot, commands);
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
        sheet.ground(ui, &ground, sight, commands);
        drag_on(ui, sight);
        for row in rows.clone() {
            sheet.loop_wash(ui, row, sight);
        }
        for row in rows.clone() {
            sheet.row(ui, row, sight, commands);
        }
        sheet.edges(ui, (&rows, &ground), sight, commands);
        sheet.position(ui, &rows);
    });
}

/// Pinching, or the wheel with Ctrl, makes the notes larger or smaller.
fn zoom(ui: &Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let by = f64::from(ui.input(egui::InputState::zoom_delta));
    if by != 1.0 && ui.rect_contains_pointer(ui.max_rect()) {
        commands.push(Command::SetLook(snapshot.look.larger(by)));
    }
}

/// While a loop is drawn beyond the upper or lower edge, the page goes on under it.
fn drag_on(ui: &Ui, sight: &Sight) {
    /// Points a frame, and how near to the edge.
    const STEP: f32 = 14.0;
    const EDGE: f32 = 18.0;
    let drawn = sight.loop_from.is_some() || sight.bars_from.is_some();
    let Some(at) = ui.input(|i| i.pointer.interact_pos()).filter(|_| drawn) else {
        return;
    };
    let seen = ui.clip_rect();
    if at.y < seen.top() + EDGE {
        ui.scroll_with_delta(vec2(0.0, STEP));
    } else if at.y > seen.bottom() - EDGE {
        ui.scroll_with_delta(vec2(0.0, -STEP));
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
    fn ground(
        &self,
        ui: &Ui,
        ground: &egui::Response,
        sight: &mut Sight,
        commands: &mut Vec<Command>,
    ) {
        ground.widget_info(|| WidgetInfo::labeled(Role::Group, true, "Bar sheet"));
        let under = ground
            .interact_pointer_pos()
            .and_then(|at| self.time_under(at));
        self.what_can_be_done(ui, ground, sight, commands);
        if ground.drag_started() {
            let origin = ui.input(|i| i.pointer.press_origin());
            sight.loop_from = origin.and_then(|at| self.time_under(at));
        }
        if ground.drag_stopped() {
            if let (Some(from), Some(to)) = (sight.loop_from.take(), under) {
                let (from, to) = if from < to { (from, to) } else { (to, from) };
                commands.push(Command::SetRegion(Some((from, to))));
                commands.push(Command::SetLoop(true));
            }
        } else if ground.double_clicked() {
            let at = ground.interact_pointer_pos();
            // The first of the two clicks has set it going.
            commands.push(Command::Play(false));
            commands.extend(at.and_then(|at| self.new_note(at)).map(Command::EditNote));
        } else if ground.clicked() {
            sight.chosen = None;
            if let Some(time) = under {
                commands.extend([Command::Seek(time), Command::Play(true)]);
            }
        }
    }

    /// The number of the bar under a place on the screen, its own number at the left included.
    fn bar_under(&self, at: egui::Pos2) -> Option<i32> {
        let cell = self.scene.sheet.bar_at(self.on_page(at))?;
        Some(cell.number)
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

    fn row(&self, ui: &mut Ui, row: usize, sight: &mut Sight, commands: &mut Vec<Command>) {
        let piece = self.scene.heard.piece();
        let (shapes, marks) = self.scene.sheet.row_shapes(&piece, row);
        let brush = self.brush(ui);
        for shape in &shapes {
            brush.paint(shape);
        }
        match &self.scene.sheet.rows()[row].alike {
            Some(alike) => self.letter(ui, row, alike, sight),
            None => self.bar_number(ui, row, sight, commands),
        }
        if sight.moving_beats {
            self.beats(ui, row, commands);
        }
        for mark in marks.iter().filter(|m| !m.second) {
            self.note(ui, (row, mark), sight, commands);
        }
        for mark in marks.iter().filter(|m| m.second) {
            self.taken(ui, (row, mark), sight);
        }
        along::heads(ui, self.snapshot, self.scene, &brush, row, &marks);
    }

    /// The letter of bars in one row: opens and closes them.
    fn letter(&self, ui: &Ui, row: usize, alike: &Alike, sight: &mut Sight) {
        let Some(line) = self.scene.sheet.line(row) else {
            return;
        };
        let rect = egui::Rect::from_min_size(
            pos2(self.origin.x, self.origin.y + line as f32 - 22.0),
            vec2(64.0, 44.0),
        );
        let id = ui.scope_id().with(("letter", alike.place));
        let button = ui.interact(rect, id, Sense::click());
        let label = theme::letters(&alike.name());
        button.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, alike.open, &label));
        if button.has_focus() || button.hovered() {
            let stroke = Stroke::new(2.0, self.ink(Ink::Focus));
            ui.painter()
                .rect_stroke(rect.shrink(4.0), 4.0, stroke, StrokeKind::Inside);
        }
        if button.clicked() && alike.place < 32 {
            sight.opened ^= 1 << alike.place;
        }
        let hint = if alike.open {
            "Hide its bars"
        } else {
            "Show its bars below it"
        };
        button
            .on_hover_cursor(CursorIcon::PointingHand)
            .on_hover_text(hint);
    }

    /// The number at the left: loops its bar, and drawn over others all of them.
    fn bar_number(&self, ui: &Ui, row: usize, sight: &mut Sight, commands: &mut Vec<Command>) {
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
        let button = ui.interact(rect, id, Sense::click_and_drag());
        button.widget_info(|| WidgetInfo::labeled(Role::Button, true, &label));
        let button = button
            .on_hover_cursor(CursorIcon::PointingHand)
            .on_hover_text(
                "Loop this bar. Drag: loop several. Twice: loop it at 60 % and play. With Shift: up to here.",
            );
        if button.drag_started() {
            sight.bars_from = Some(first.number);
        }
        if button.drag_stopped()
            && let Some(from) = sight.bars_from.take()
        {
            let at = ui.input(|i| i.pointer.interact_pos());
            let to = at.and_then(|at| self.bar_under(at)).unwrap_or(last.number);
            let last = to.max(if to >= from { last.number } else { from });
            commands.push(Command::SetBars(from.min(to), last.max(to)));
            commands.push(Command::SetLoop(true));
        }
        if button.has_focus() || button.hovered() {
            let stroke = Stroke::new(2.0, self.ink(Ink::Focus));
            ui.painter()
                .rect_stroke(rect.shrink(4.0), 4.0, stroke, StrokeKind::Inside);
        }
        if button.double_clicked() {
            commands.push(Command::SetSpeed(0.6));
            commands.push(Command::Play(true));
        } else if button.clicked() {
            let shift = ui.input(|i| i.modifiers.shift);
            let start = self.snapshot.practice.region.as_ref().map(|r| r.from);
            match start.filter(|&from| shift && from < first.start) {
                Some(from) => commands.push(Command::SetRegion(Some((from, last.end)))),
                None => commands.push(Command::SetBars(first.number, last.number)),
            }
            commands.push(Command::SetLoop(true));
            sight.chosen = None;
        }
    }

    fn note(
        &self,
        ui: &Ui,
        (row, mark): (usize, &Mark),
        sight: &mut Sight,
        commands: &mut Vec<Command>,
    ) {
        let heard = &self.scene.heard;
        let (piece, brush) = (heard.piece(), self.brush(ui));
        let note = &heard.analysis.notes[mark.note];
        let rect = brush.area(&mark.area);
        let folded = self.scene.sheet.rows()[row].alike.is_some();
        let id = ui.scope_id().with(("note", folded, mark.note));
        let sense = if folded {
            Sense::click()
        } else {
            Sense::click_and_drag()
        };
        let head = ui.interact(rect, id, sense);
        let label = || self.scene.sheet.describe(&piece, row, mark);
        head.widget_info(|| WidgetInfo::labeled(Role::Button, true, label()));
        let chosen = sight
            .chosen_in(&heard.analysis)
            .is_some_and(|i| mark.holds(i));
        let asked = head.secondary_clicked() || head.long_touched();
        if (head.gained_focus() || head.clicked() || asked) && !chosen {
            sight.choose(&heard.analysis, mark.note);
        }
        let still = !self.snapshot.transport.playing && self.snapshot.capture == CaptureView::Off;
        if head.double_clicked() {
            sight.show_close_up(&heard.analysis, note.time);
        } else if head.clicked() && still {
            commands.push(Command::hear(note));
        }
        self.what_a_note_is(&head, note, sight, commands);
        if head.contains_pointer() {
            sight.pointed = Some(NoteAt::of(note));
            sight.pointed_at = Some(note.time);
        }
        self.drag_note(ui, &head, (row, note), commands);
        let ring = if chosen || head.has_focus() || head.hovered() {
            Some(2.0)
        } else {
            (!sight.lit_take && sight.lit.iter().any(|i| mark.holds(*i))).then_some(2.5)
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

    /// A head that is dragged: along its row to the slot it is meant for, across the line to the other
    /// hand.
    fn drag_note(
        &self,
        ui: &Ui,
        head: &egui::Response,
        (row, note): (usize, &Note),
        commands: &mut Vec<Command>,
    ) {
        let Some(at) = head.interact_pointer_pos() else {
            return;
        };
        let from = head.rect.center();
        let which = NoteAt::of(note);
        let stroke = Stroke::new(2.0, self.ink(Ink::Focus));
        if let Some(role) = self.across(row, note.role, from, at) {
            if head.dragged() {
                ui.painter().line_segment([from, at], stroke);
                ui.painter().circle_stroke(pos2(from.x, at.y), 6.0, stroke);
                ui.ctx().set_cursor_icon(CursorIcon::ResizeVertical);
            }
            if head.drag_stopped() {
                commands.push(Command::EditNote(NoteEdit::SetRole { which, role }));
            }
        } else if let Some((slot, x)) = self.slot_under(at) {
            if head.dragged() {
                let top = pos2(x, head.rect.top());
                ui.painter().line_segment([top, at], stroke);
                ui.painter().circle_stroke(top, 4.0, stroke);
                ui.ctx().set_cursor_icon(CursorIcon::ResizeHorizontal);
            }
            if head.drag_stopped() {
                commands.push(Command::EditNote(NoteEdit::MeantFor { which, slot }));
            }
        }
    }

    /// The hand on the other side of the row's line, where a head of `role` was dragged there.
    fn across(&self, row: usize, role: Hand, from: egui::Pos2, at: egui::Pos2) -> Option<Hand> {
        let line = self.origin.y + self.scene.sheet.line(row)? as f32;
        let now = if at.y < line {
            Hand::Melody
        } else {
            Hand::Bass
        };
        let away = (at - from).abs();
        let here = self.scene.sheet.row_at(self.on_page(at).y) == Some(row);
        (here && now != role && away.y > away.x).then_some(now)
    }

    /// A note of a take: told about, not changed.
    fn taken(&self, ui: &Ui, (row, mark): (usize, &Mark), sight: &Sight) {
        let piece = self.scene.heard.piece();
        let folded = self.scene.sheet.rows()[row].alike.is_some();
        let rect = self.brush(ui).area(&mark.area);
        let head = ui.interact(
            rect,
            ui.scope_id().with(("take", folded, mark.note)),
            Sense::hover(),
        );
        let label = || self.scene.sheet.describe(&piece, row, mark);
        if sight.lit_take && sight.lit.iter().any(|i| mark.holds(*i)) {
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
        // As near to the next bar as nobody hears, it is there: that is what its count says.
        let Some(place) = self.scene.sheet.place(&piece, position + Span(1e-3)) else {
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
    sight.reveal = scene.sheet.row_of(bar);
    sight.side = Side::Words;
}
