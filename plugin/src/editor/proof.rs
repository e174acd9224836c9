//! The proof: a bar close up, from any of its notes, seen and heard.
//!
//! Waveform, where the sound rises and each onset with the error it may have, painted from the same
//! shapes that the command line draws. Made anew only when what it shows changes.

use super::sight::{Proof, Sight};
use super::theme::{self, Brush};
use super::transport;
use crate::command::Command;
use crate::snapshot::{RecordingView, Snapshot};
use egui::{Panel, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, vec2};
use std::sync::Arc;
use thumbline::report::bar_picture;
use thumbline::report::sheet::{Ink, describe};
use thumbline::unit::Seconds;

/// Height of the picture.
const HEIGHT: f32 = 210.0;

/// Draws the close-up at the foot of `ui`, where one is asked for.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let Some(bar) = sight.close_up else {
        return;
    };
    // Its usual height, so that it stands where it stays from its first frame on.
    let panel = Panel::bottom("proof").default_size(HEIGHT + 58.0);
    panel.show(ui, |ui| {
        let size = vec2(ui.available_width(), HEIGHT);
        let proof = made(snapshot, sight, bar, (f64::from(size.x), f64::from(size.y)));
        ui.horizontal(|ui| {
            ui.strong(format!("Bar {bar} close up, at true scale"));
            let heard = proof.as_ref().map(|p| (p.from, p.to));
            if let Some((from, to)) = heard
                && transport::large(ui, false, "Hear the bar", "Hear this bar once", None)
            {
                commands.push(Command::HearOnce(from, to));
            }
            for (name, to, hint) in [
                ("Bar before", bar - 1, "The bar before, close up"),
                ("Bar after", bar + 1, "The bar after, close up"),
            ] {
                if transport::large(ui, false, name, hint, None) {
                    sight.close_up = Some(to);
                }
            }
            if transport::large(ui, false, "Close", "Close the close-up", None) {
                sight.close_up = None;
            }
        });
        let Some(proof) = proof else {
            ui.label("There is no such bar.");
            return;
        };
        let (area, response) = ui.allocate_exact_size(size, Sense::click());
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &proof.told));
        let brush = Brush {
            painter: ui.painter(),
            origin: area.min,
            ground: snapshot.look.ground,
        };
        for shape in &proof.shapes {
            brush.paint(shape);
        }
        let stretch = (proof.from, proof.to);
        let width = f64::from(size.x);
        let chosen = sight.chosen_in(&proof.heard.analysis);
        if let Some(note) = chosen.and_then(|i| proof.heard.analysis.notes.get(i))
            && stretch.0.0 - 0.1 <= note.time.0
            && note.time < stretch.1
        {
            let x = area.left() + bar_picture::across(stretch, width, note.time) as f32;
            let stroke = Stroke::new(1.5, theme::ink(snapshot.look.ground, Ink::Focus));
            let about = egui::Rect::from_x_y_ranges(x - 9.0..=x + 9.0, area.y_range());
            ui.painter()
                .rect_stroke(about, 3.0, stroke, StrokeKind::Inside);
        }
        if response.clicked()
            && let Some(at) = response.interact_pointer_pos()
        {
            let x = f64::from(at.x - area.left());
            let from = bar_picture::time_at(stretch, width, x);
            commands.extend(from.map(|from| Command::HearOnce(from, proof.to)));
        }
        response.on_hover_text("Click to hear the bar from there");
    });
}

/// The close-up, made anew where another bar, size or reading is asked for.
fn made(snapshot: &Snapshot, sight: &mut Sight, bar: i32, size: (f64, f64)) -> Option<Arc<Proof>> {
    let heard = sight.heard(snapshot)?;
    let same = |p: &&Arc<Proof>| Arc::ptr_eq(&p.heard, &heard) && p.bar == bar && p.size == size;
    if let Some(proof) = sight.proof.as_ref().filter(same) {
        return Some(proof.clone());
    }
    let RecordingView::Ready { sound, .. } = &snapshot.recording else {
        return None;
    };
    let (from, to) = heard.analysis.grid.bar_range(bar, bar)?;
    // Of the recording, also while a take is drawn over the rows: its sound is what is shown.
    let piece = thumbline::report::sheet::Piece {
        second: None,
        ..heard.piece()
    };
    let inside = |time: Seconds| time >= from && time < to;
    let notes = piece.notes.iter().enumerate();
    let told: Vec<String> = notes
        .filter(|(_, note)| inside(note.time))
        .map(|(i, note)| describe(&piece, note, &piece.placed(i)))
        .collect();
    let proof = Arc::new(Proof {
        shapes: bar_picture::shapes(sound, &piece, (from, to), size, 1.0),
        told: format!("Bar {bar} close up. {}", told.join("; ")),
        heard,
        bar,
        size,
        from,
        to,
    });
    sight.proof = Some(proof.clone());
    Some(proof)
}
