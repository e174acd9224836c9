//! The whole recording as a thin strip: outline, loop, kept regions, position.
//!
//! Click to go there, drag to loop; with the keyboard, arrows step through it.

use super::ends::{self, looped, ordered};
use super::sight::{Scene, Sight};
use super::theme;
use crate::command::Command;
use crate::snapshot::{AnalysisView, End, Snapshot};
use egui::{
    Align2, CursorIcon, EventFilter, FontId, Key, Painter, Rect, Role, Sense, Stroke, StrokeKind,
    Ui, WidgetInfo, pos2, vec2,
};
use thumbline::report::sheet::{BarCell, Ground, Ink};
use thumbline::unit::{Seconds, Span};

/// Height of the strip.
const HEIGHT: f32 = 46.0;
/// What an arrow key steps by.
const STEP: Span = Span(2.0);

/// Draws the strip.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let Some(end) = snapshot.end() else {
        return;
    };
    let size = vec2(ui.available_width(), HEIGHT);
    let (strip, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
    let position = snapshot.transport.position;
    response.widget_info(|| WidgetInfo::slider(true, position.0, "Place in the recording"));
    let ground = snapshot.look.ground;
    let x = |time: Seconds| strip.left() + strip.width() * (time.0 / end.0).clamp(0.0, 1.0) as f32;
    let painter = ui.painter_at(strip);
    painter.rect_filled(strip, 3.0, theme::ink(ground, Ink::Wash));

    let practice = &snapshot.practice;
    let dragging = sight.loop_from.filter(|_| response.dragged());
    let pointer = response.interact_pointer_pos();
    let under = |at: egui::Pos2| {
        let share = ((at.x - strip.left()) / strip.width()).clamp(0.0, 1.0);
        Seconds(f64::from(share) * end.0)
    };
    let region = looped(practice, sight);
    let drawn = dragging.zip(pointer.map(under)).map(ordered);
    if let Some((from, to)) = drawn.or(region.filter(|_| practice.loop_on)) {
        let area = Rect::from_x_y_ranges(x(from)..=x(to).max(x(from) + 2.0), strip.y_range());
        painter.rect_filled(area, 0.0, theme::ink(ground, Ink::Hair));
        let stroke = Stroke::new(2.0, theme::ink(ground, Ink::Position));
        painter.vline(area.left(), strip.y_range(), stroke);
        painter.vline(area.right(), strip.y_range(), stroke);
    }
    let columns = (strip.width() / 3.0) as usize;
    let outline = sight.outline(&snapshot.peaks);
    let foot = strip.bottom() - 6.0;
    let stroke = Stroke::new(1.5, theme::ink(ground, Ink::Tick));
    for (i, height) in outline.heights(columns).into_iter().enumerate() {
        let at = strip.left() + 3.0 * i as f32 + 1.5;
        // Square root: soft passages stay visible beside loud ones.
        let reach = height.sqrt() * (HEIGHT - 16.0);
        painter.vline(at, foot - reach..=foot, stroke);
    }
    if let Some(scene) = sight.latest(snapshot) {
        landmarks(&painter, &scene, (strip, ground), x);
        // What is in view of the sheet.
        for (from, to) in sight.in_view(&scene) {
            let line = [
                pos2(x(from), strip.bottom() - 1.0),
                pos2(x(to), strip.bottom() - 1.0),
            ];
            painter.line_segment(line, Stroke::new(2.0, theme::ink(ground, Ink::Faint)));
        }
    }
    if let AnalysisView::Working { onsets, .. } = &snapshot.analysis {
        let stroke = Stroke::new(1.0, theme::ink(ground, Ink::Finger));
        for &onset in onsets.iter().filter(|t| t.0.is_finite()) {
            painter.vline(x(onset), strip.top()..=strip.top() + 6.0, stroke);
        }
    }
    for kept in practice.regions.iter() {
        let line = [pos2(x(kept.from), foot + 3.5), pos2(x(kept.to), foot + 3.5)];
        painter.line_segment(line, Stroke::new(3.0, theme::ink(ground, Ink::Line)));
    }
    let stroke = Stroke::new(2.0, theme::ink(ground, Ink::Position));
    painter.vline(x(position), strip.y_range(), stroke);
    if response.has_focus() {
        let stroke = Stroke::new(2.0, theme::ink(ground, Ink::Focus));
        painter.rect_stroke(strip, 3.0, stroke, StrokeKind::Inside);
    }

    if let Some(region) = region.filter(|_| practice.loop_on) {
        for (end, at) in [(End::Start, region.0), (End::Finish, region.1)] {
            let spot = Rect::from_center_size(pos2(x(at), strip.center().y), vec2(10.0, HEIGHT));
            let id = ui
                .scope_id()
                .with(("end in the overview", end == End::Start));
            let handle = ui.interact(spot, id, Sense::drag());
            let (name, _) = ends::told(end);
            handle.widget_info(|| {
                WidgetInfo::labeled(Role::Slider, true, format!("{name}, in the overview"))
            });
            let now = practice.region.as_ref().map_or(region, |r| (r.from, r.to));
            let under = |at| Some(under(at));
            ends::drag((&handle, &response), end, under, now, sight, commands);
            handle
                .on_hover_cursor(CursorIcon::ResizeHorizontal)
                .on_hover_text(name);
        }
    }
    if response.drag_started() && sight.dragged.is_none() {
        let origin = ui.input(|i| i.pointer.press_origin());
        sight.loop_from = origin.map(under);
    }
    if response.drag_stopped() {
        if let Some((from, to)) = sight.loop_from.take().zip(pointer.map(under)).map(ordered) {
            commands.push(Command::SetRegion(Some((from, to))));
            commands.push(Command::SetLoop(true));
        }
    } else if response.clicked() {
        commands.extend(pointer.map(|at| Command::Seek(under(at))));
    }
    if response.has_focus() {
        // Arrows step through the recording here instead of moving on to the next control.
        let filter = EventFilter {
            horizontal_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let step = ui.input(|i| {
            f64::from(i.num_presses(Key::ArrowRight) as i32 - i.num_presses(Key::ArrowLeft) as i32)
        });
        if step != 0.0 {
            let to = (position + STEP * step).0.clamp(0.0, end.0);
            commands.push(Command::Seek(Seconds(to)));
        }
    }
    response.on_hover_text("Click to go there, drag to loop");
}

/// Bars, their numbers as far as there is room, and the pattern they play where another begins.
fn landmarks(
    painter: &Painter,
    scene: &Scene,
    (strip, ground): (Rect, Ground),
    x: impl Fn(Seconds) -> f32,
) {
    let cells: Vec<&BarCell> = scene.sheet.bars().collect();
    let apart = strip.width() / cells.len().max(1) as f32;
    // Every bar, every second, every fourth …: as many numbers as can be read.
    let each = [1, 2, 4, 8, 16, 32]
        .into_iter()
        .find(|n| apart * *n as f32 >= 26.0)
        .unwrap_or(64);
    let font = FontId::proportional(10.0);
    let mut letter = None;
    for cell in cells {
        let at = x(cell.start);
        let numbered = (cell.number - 1).rem_euclid(each) == 0;
        if numbered || apart >= 5.0 {
            let tall = if numbered { 7.0 } else { 4.0 };
            let stroke = Stroke::new(1.0, theme::ink(ground, Ink::Line));
            painter.vline(at, strip.top()..=strip.top() + tall, stroke);
        }
        let here = cell.pattern.map(|p| p.letter);
        let begins = here.is_some() && here != letter;
        letter = here.or(letter);
        let mut text = String::new();
        if numbered {
            text = cell.number.to_string();
        }
        if begins && let Some(pattern) = cell.pattern {
            let name = char::from(b'A' + pattern.letter % 26);
            text = format!("{text} {name}");
        }
        if !text.is_empty() {
            let place = pos2(at + 2.5, strip.top() + 1.0);
            let ink = theme::ink(ground, if begins { Ink::Text } else { Ink::Faint });
            painter.text(place, Align2::LEFT_TOP, text.trim(), font.clone(), ink);
        }
    }
}
