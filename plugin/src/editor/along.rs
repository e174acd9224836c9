//! Playing along: a head for every pluck as it falls, what was left out, wrong or too many, older
//! rounds fading; one sentence a round, and the place it speaks of lit.

use super::sight::Scene;
use super::theme::{self, Brush};
use crate::snapshot::{AlongView, CaptureView, Snapshot};
use egui::{Align2, Color32, FontId, Painter, Pos2, RichText, Role, Sense, Stroke, Ui, WidgetInfo};
use thumbline::report::sheet::{Ink, Mark, Point};
use thumbline::unit::Span;

/// How strongly the heads of the round being played, the last one and the one before are drawn.
const FADE: [f32; 3] = [1.0, 0.55, 0.25];
/// Half of the 95 % interval of a pluck that is heard as it falls, as in `thumbline::along::round`.
const MEASURED: Span = Span::from_ms(12.0);
/// Size of a head where the notes are drawn at 100 %.
const RADIUS: f32 = 5.5;

/// The sentence of the last round, large enough for a player with the guitar in hand; from far away
/// the word of the last pluck beside it.
pub fn sentence(ui: &mut Ui, snapshot: &Snapshot, scene: &Scene, far: bool) {
    let said = snapshot.along.said.as_deref();
    if said.is_none() && snapshot.capture == CaptureView::Off && !far {
        return;
    }
    // Its place is kept from the beginning of the take on: nothing moves when it comes.
    let tall = if far { 64.0 } else { 30.0 };
    let size = egui::vec2(ui.available_width(), tall);
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    let place = ui.allocate_ui_with_layout(size, layout, |ui| {
        ui.set_min_size(size);
        let letters = if far { 34.0 } else { 22.0 };
        let text = RichText::new(said.unwrap_or_default())
            .size(letters)
            .strong();
        ui.add(egui::Label::new(text).truncate());
    });
    if far && snapshot.capture != CaptureView::Off {
        let word = word(snapshot, scene).unwrap_or_default();
        let at = place.response.rect.right_center();
        let ink = theme::ink(snapshot.look.ground, Ink::Text);
        let font = FontId::proportional(44.0);
        ui.painter().text(at, Align2::RIGHT_CENTER, word, font, ink);
    }
}

/// What the newest pluck was: told only where it could be heard.
fn word(snapshot: &Snapshot, scene: &Scene) -> Option<&'static str> {
    let head = snapshot.along.heads.last()?;
    let piece = scene.heard.piece();
    Some(if !off(head.late, piece.placed(head.note).floor) {
        "in time"
    } else if head.late.0 < 0.0 {
        "early"
    } else {
        "late"
    })
}

/// Is one pluck, heard as it falls, surely so far off that a listener notices?
fn off(late: Span, floor: Span) -> bool {
    late.abs() > floor && late.abs() > MEASURED
}

fn strength(along: &AlongView, round: usize) -> f32 {
    let age = along.round.saturating_sub(round);
    FADE.get(age).copied().unwrap_or(0.0)
}

fn cross(painter: &Painter, at: Pos2, reach: f32, stroke: Stroke) {
    for (a, b) in [((-1.0, -1.0), (1.0, 1.0)), ((-1.0, 1.0), (1.0, -1.0))] {
        let corner = |(x, y): (f32, f32)| at + reach * egui::vec2(x, y);
        painter.line_segment([corner(a), corner(b)], stroke);
    }
}

/// The heads of one row: a ring where each pluck fell, at the height of the note it answers, crossed
/// where the pitch was another; a stroke through a note that was left out; a cross on the line for a
/// pluck too many.
pub fn heads(
    ui: &Ui,
    snapshot: &Snapshot,
    scene: &Scene,
    brush: &Brush<'_>,
    row: usize,
    marks: &[Mark],
) {
    let along = &snapshot.along;
    if **along == AlongView::default() {
        return;
    }
    let piece = scene.heard.piece();
    let focus = theme::ink(snapshot.look.ground, Ink::Focus);
    let alarm = theme::ink(snapshot.look.ground, Ink::Alarm);
    let zoom = scene.sheet.options().zoom as f32;
    let radius = RADIUS * zoom;
    let of = |note: usize| marks.iter().find(|m| !m.second && m.holds(note));
    if let Some((slot, hand)) = along.slot {
        // What the sentence speaks of.
        for mark in marks.iter().filter(|m| !m.second) {
            let time = piece.notes[mark.note].time.0 + 0.03;
            let region = snapshot.practice.region.as_ref();
            let looped = region.is_none_or(|r| r.from.0 <= time && time < r.to.0);
            let spoken_of =
                piece.placed(mark.note).slot == slot && piece.notes[mark.note].role == hand;
            if looped && spoken_of {
                let stroke = Stroke::new(2.0, alarm.gamma_multiply(0.7));
                ui.painter()
                    .circle_stroke(brush.at(mark.head), 12.0 * zoom, stroke);
            }
        }
    }
    for (k, head) in along.heads.iter().enumerate() {
        let Some(mark) = of(head.note) else { continue };
        // Beside the recording's own head, as far as drift is drawn; on it where nobody hears a difference.
        let note = &piece.notes[head.note];
        let heard = off(head.late, piece.placed(head.note).floor);
        let later = if heard {
            head.at - note.time
        } else {
            Span(0.0)
        };
        let away = scene.sheet.beside(&piece, head.note, later);
        let centre = brush.at(Point::new(mark.head.x + away, mark.head.y));
        let colour: Color32 = focus.gamma_multiply(strength(along, head.round));
        ui.painter()
            .circle_stroke(centre, radius, Stroke::new(2.2 * zoom.sqrt(), colour));
        let wrong = along.wrong.contains(&(head.note, head.round));
        if wrong {
            let stroke = Stroke::new(2.0, alarm.gamma_multiply(strength(along, head.round)));
            cross(ui.painter(), centre, radius + 2.0, stroke);
        }
        if head.round == along.round {
            let late = head.late.ms();
            let way = if late < 0.0 { "early" } else { "late" };
            let pitch = if wrong { ", another pitch" } else { "" };
            let text = format!("you: {:.0} ms {way}{pitch}", late.abs());
            tell(ui, centre, ("along", k), &text);
        }
    }
    let settled = |round: usize| alarm.gamma_multiply(strength(along, round));
    for (k, (note, round)) in along.missed.iter().enumerate() {
        let Some(mark) = of(*note) else { continue };
        let centre = brush.at(mark.head);
        let reach = egui::Vec2::splat(radius + 3.0);
        let stroke = Stroke::new(2.0, settled(*round));
        ui.painter()
            .line_segment([centre - reach, centre + reach], stroke);
        tell(ui, centre, ("left out", k), "you left this out");
    }
    for (k, (at, round)) in along.extra.iter().enumerate() {
        let place = scene.sheet.place(&piece, *at).filter(|p| p.row == row);
        let (Some(place), Some(line)) = (place, scene.sheet.line(row)) else {
            continue;
        };
        let centre = brush.at(Point::new(place.x, line));
        cross(
            ui.painter(),
            centre,
            4.0 * zoom,
            Stroke::new(2.0, settled(*round)),
        );
        tell(ui, centre, ("too many", k), "you: a note too many");
    }
}

/// Says a sign to those who do not see it.
fn tell(ui: &Ui, centre: Pos2, id: (&str, usize), text: &str) {
    let rect = egui::Rect::from_center_size(centre, egui::Vec2::splat(2.0 * RADIUS));
    let sign = ui.interact(rect, ui.scope_id().with(id), Sense::hover());
    sign.widget_info(|| WidgetInfo::labeled(Role::Label, true, text));
}
