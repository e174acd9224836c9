//! What was found, in plain sentences; resting on one lights up its notes.

use super::bars;
use super::sight::Sight;
use super::theme;
use crate::command::Command;
use crate::snapshot::Snapshot;
use egui::{Frame, Role, Sense, Stroke, Ui, WidgetInfo};
use thumbline::report::capitalised;
use thumbline::report::sheet::Ink;
use thumbline::timing::Reference;

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    sight.lit.clear();
    // The width only matters to the page; the words are the same at any.
    let ready = snapshot.analysis.ready().is_some();
    let Some(scene) = sight.latest(snapshot).filter(|_| ready) else {
        ui.label("Not analysed yet.");
        return;
    };
    ui.strong("What to know, what to practise");
    if let Some(take) = super::sight::shown_take(snapshot) {
        let against = scene.heard.piece().told().reference;
        let what = match against {
            Reference::Recording => "against the recording",
            Reference::Thumb => "against its own thumb",
            _ => "against the beat",
        };
        ui.weak(capitalised(&format!("{} {what}", take.name)));
        if take
            .analysis
            .as_ref()
            .is_some_and(|heard| heard.notes.is_empty())
        {
            ui.label("No note was heard in it. The input is shown under Takes.");
            return;
        }
    }
    let ground = snapshot.look.ground;
    for sentence in &scene.words {
        let frame = Frame::new()
            .fill(theme::ink(ground, Ink::Wash))
            .inner_margin(8.0)
            .corner_radius(3.0);
        let inside = frame.show(ui, |ui| {
            ui.set_width(ui.available_width());
            ui.label(&sentence.text);
            if let Some(bar) = sentence.bar {
                let label = format!("Loop bar {bar} at 60 %");
                if super::transport::large(ui, false, &label, "Loop it, slow it, play it", None) {
                    commands.push(Command::SetBars(bar, bar));
                    commands.push(Command::SetLoop(true));
                    commands.push(Command::SetSpeed(0.6));
                    commands.push(Command::Play(true));
                    bars::go_to_bar(bar, sight, &scene);
                }
            }
        });
        let id = ui.scope_id().with(&sentence.text);
        let whole = ui.interact(inside.response.rect, id, Sense::focusable_noninteractive());
        whole.widget_info(|| WidgetInfo::labeled(Role::Note, true, &sentence.text));
        if whole.contains_pointer() || whole.has_focus() {
            sight.lit.clone_from(&sentence.notes);
            sight.lit_take = sentence.take;
            let stroke = Stroke::new(2.0, theme::ink(ground, Ink::Focus));
            let kind = egui::StrokeKind::Inside;
            ui.painter().rect_stroke(whole.rect, 3.0, stroke, kind);
        }
    }
    for warning in &scene.heard.analysis.warnings {
        ui.weak(warning);
    }
}
