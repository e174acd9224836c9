//! Own takes and kept regions.

use super::keys::PEDALS;
use super::sight::Sight;
use super::{transport, ways};
use crate::command::Command;
use crate::snapshot::{Answer, CaptureView, Hear, Snapshot};
use egui::{DragValue, TextEdit, Ui};
use thumbline::unit::Span;

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.strong("Own takes");
        let hint = "Lay a file that you recorded elsewhere over this recording";
        if ui.button("Load a take…").on_hover_text(hint).clicked() {
            commands.push(Command::AskForTake);
        }
    });
    if snapshot.takes.is_empty() {
        ui.label("None yet. Press Record: it counts in, plays the loop and records you. Your notes appear on the sheet as hollow heads.");
    }
    let spoken = super::sight::shown_take(snapshot).map(std::ptr::from_ref);
    for (i, take) in snapshot.takes.iter().enumerate() {
        let speaks = spoken.is_some_and(|t| std::ptr::eq(t, take));
        ui.horizontal_wrapped(|ui| {
            let mut shown = take.shown;
            let name = if speaks {
                egui::RichText::new(&take.name).strong()
            } else {
                egui::RichText::new(&take.name)
            };
            let hint = "Draw it over the sheet. The words speak of the newest one that is drawn";
            if ui.checkbox(&mut shown, name).on_hover_text(hint).changed() {
                commands.push(Command::ShowTake(i, shown));
            }
            if take.gone {
                ui.weak("its file is not there");
            } else if take.analysis.is_none() {
                ui.spinner();
            } else if speaks {
                ui.weak("the words speak of this one");
            }
            if ui
                .button("Forget")
                .on_hover_text("Remove it from the list; its file stays")
                .clicked()
            {
                commands.push(Command::ForgetTake(i));
            }
        });
        if let Some(answer) = take.answer.as_ref().filter(|a| !a.found.rounds.is_empty()) {
            hear(ui, snapshot, i, answer, commands);
        }
        for warning in take.analysis.iter().flat_map(|a| &a.warnings) {
            ui.weak(warning);
        }
        for sentence in told(sight, snapshot, i) {
            ui.label(sentence);
        }
    }
    sound_in(ui, snapshot, commands);
    let track = snapshot.capture != CaptureView::Off;
    if !snapshot.standalone
        && ui
            .selectable_label(track, "Record this track as the recording")
            .clicked()
    {
        commands.push(Command::CaptureTrack(!track));
    }
    ui.separator();
    regions(ui, snapshot, sight, commands);
    ui.separator();
    pedals(ui, snapshot, commands);
}

/// What comes in: its level, and its delay.
fn sound_in(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.label("What comes in");
        let size = egui::vec2(120.0, 12.0);
        let (bar, _) = ui.allocate_exact_size(size, egui::Sense::hover());
        let ground = snapshot.look.ground;
        transport::meter(ui, bar, ground, "Own sound", snapshot.level.input);
    });
    ui.horizontal(|ui| {
        let mut ms = snapshot.practice.latency.ms();
        let name = ui.label("Delay of my sound");
        let field = DragValue::new(&mut ms)
            .range(-500.0..=500.0)
            .fixed_decimals(1)
            .suffix(" ms");
        if ui.add(field).labelled_by(name.id).changed() {
            commands.push(Command::SetLatency(Span::from_ms(ms)));
        }
        if ui
            .button("Measure")
            .on_hover_text("Plays clicks and listens for them: hold the microphone to the loudspeaker, turned low")
            .clicked()
        {
            commands.push(Command::Calibrate);
        }
    });
}

/// What a take comes to: of the one that is drawn over the sheet what the sheet says, of another
/// what its comparison says.
fn told(sight: &mut Sight, snapshot: &Snapshot, index: usize) -> Vec<String> {
    let take = &snapshot.takes[index];
    let drawn = super::sight::shown_take(snapshot).is_some_and(|t| std::ptr::eq(t, take));
    let answered = take.answer.as_ref();
    if let (true, Some(scene)) = (drawn, sight.latest(snapshot))
        && answered.is_none_or(|a| a.found.fault.is_none())
    {
        return scene.words.iter().map(|s| s.text.clone()).collect();
    }
    answered.map_or_else(Vec::new, |a| a.words.clone())
}

/// The ways to hear a take.
fn hear(
    ui: &mut Ui,
    snapshot: &Snapshot,
    index: usize,
    answer: &Answer,
    commands: &mut Vec<Command>,
) {
    ui.horizontal_wrapped(|ui| {
        for (way, name, hint) in [
            (
                Hear::Beside(index),
                "Hear both",
                "The recording left, your take right, together on every beat, at any speed",
            ),
            (
                Hear::InTurn(index),
                "In turn",
                "A bar of the recording, a bar of your take, at the same tempo",
            ),
            (
                Hear::Alone(index),
                "Alone",
                "Your take alone, at the recording's tempo",
            ),
        ] {
            let on = snapshot.practice.hear == way;
            if !ui.selectable_label(on, name).on_hover_text(hint).clicked() {
                continue;
            }
            if on {
                commands.push(Command::Hear(Hear::default()));
            } else {
                ways::begin(way, snapshot, answer, commands);
            }
        }
    });
}

fn regions(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    ui.strong("Kept loops");
    for (i, region) in snapshot.practice.regions.iter().enumerate() {
        ui.horizontal(|ui| {
            let on = snapshot.practice.current_region == Some(i);
            let loops = ui.selectable_label(on, &region.name);
            if loops.on_hover_text("Loop it again").clicked() {
                commands.push(Command::UseRegion(i));
                commands.push(Command::SetLoop(true));
            }
            let forget = ui.button("Forget");
            let hint = "Keep this loop no longer; the recording stays as it is";
            if forget.on_hover_text(hint).clicked() {
                commands.push(Command::ForgetRegion(i));
            }
        });
    }
    if snapshot.practice.region.is_some() {
        ui.horizontal(|ui| {
            let name = ui.label("Keep this loop as");
            ui.add(TextEdit::singleline(&mut sight.region_name).desired_width(110.0))
                .labelled_by(name.id);
            let named = !sight.region_name.trim().is_empty();
            let keep = ui.add_enabled(named, egui::Button::new("Keep"));
            let hint = "Find it again under this name, also next week";
            if keep.on_hover_text(hint).clicked() {
                let name = std::mem::take(&mut sight.region_name);
                commands.push(Command::KeepRegion(name.trim().to_owned()));
            }
        });
    } else {
        ui.weak("Mark a loop to keep it under a name.");
    }
    let hint = "One file for a student: these bars slowly, looped, with tablature, in any browser";
    if ui.button("Lesson page…").on_hover_text(hint).clicked() {
        commands.push(Command::MakePage);
    }
}

fn pedals(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.strong("Foot controller");
    for (control, name) in PEDALS {
        let learning = snapshot.practice.learning == Some(control);
        let label = if learning {
            format!("{name}: press the pedal now")
        } else {
            format!("Teach: {name}")
        };
        ui.horizontal(|ui| {
            let teach = ui.selectable_label(learning, label);
            let hint = "Then press the pedal that is to do it";
            if teach.on_hover_text(hint).clicked() {
                commands.push(Command::Learn((!learning).then_some(control)));
            }
            let forget = ui.small_button("Forget");
            if forget.on_hover_text("No pedal does it any more").clicked() {
                commands.push(Command::Unlearn(control));
            }
        });
    }
}
