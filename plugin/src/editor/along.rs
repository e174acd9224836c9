//! Playing along: a head for every pluck as it falls, older rounds fading, and one sentence a round.

use super::sight::Scene;
use super::theme::{self, Brush};
use crate::snapshot::{CaptureView, Snapshot};
use egui::{Color32, RichText, Role, Sense, Stroke, Ui, WidgetInfo};
use thumbline::report::sheet::{Ink, Mark, Point};

/// How strongly the heads of the round being played, the last one and the one before are drawn.
const FADE: [f32; 3] = [1.0, 0.55, 0.25];

/// The sentence of the last round, large enough for a player with the guitar in hand.
pub fn sentence(ui: &mut Ui, snapshot: &Snapshot) {
    let said = snapshot.along.said.as_deref();
    if said.is_none() && snapshot.capture == CaptureView::Off {
        return;
    }
    // Its place is kept from the beginning of the take on: nothing moves when it comes.
    let size = egui::vec2(ui.available_width(), 30.0);
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    ui.allocate_ui_with_layout(size, layout, |ui| {
        ui.set_min_size(size);
        ui.add(
            egui::Label::new(RichText::new(said.unwrap_or_default()).size(22.0).strong())
                .truncate(),
        );
    });
}

/// The heads of one row: a ring where each pluck fell, at the height of the note it answers.
pub fn heads(
    ui: &Ui,
    snapshot: &Snapshot,
    scene: &Scene,
    brush: &Brush<'_>,
    row: usize,
    marks: &[Mark],
) {
    let along = &snapshot.along;
    let piece = scene.heard.piece();
    for (k, head) in along.heads.iter().enumerate() {
        let Some(mark) = marks.iter().find(|m| !m.second && m.note == head.note) else {
            continue;
        };
        let Some(place) = scene.sheet.place(&piece, head.at).filter(|p| p.row == row) else {
            continue;
        };
        let age = along.round.saturating_sub(head.round);
        let strength = FADE.get(age).copied().unwrap_or(0.0);
        let centre = brush.at(Point::new(place.x, mark.head.y));
        let colour: Color32 = theme::ink(snapshot.look.ground, Ink::Focus).gamma_multiply(strength);
        let radius = 5.5;
        ui.painter()
            .circle_stroke(centre, radius, Stroke::new(2.2, colour));
        if age == 0 {
            let rect = egui::Rect::from_center_size(centre, egui::Vec2::splat(2.0 * radius));
            let heard = ui.interact(rect, ui.scope_id().with(("along", k)), Sense::hover());
            let late = head.late.ms();
            heard.widget_info(|| {
                let way = if late < 0.0 { "early" } else { "late" };
                WidgetInfo::labeled(
                    Role::Label,
                    true,
                    format!("you: {:.0} ms {way}", late.abs()),
                )
            });
        }
    }
}
