//! A guided first round on the built-in tune: five steps, each done in the window itself and
//! ticked off by what it shows; skipped whenever the player likes.

use crate::command::Command;
use crate::snapshot::{CaptureView, RecordingView, Snapshot};
use egui::{Frame, Ui};
use serde_json::{Value, json};
use thumbline::report::sheet::Ink;

/// The name under which it is remembered.
const PAGE: &str = "first round";

/// What each step asks for.
const STEPS: [&str; 5] = [
    "Wait until the bar sheet has appeared. Thumb notes hang below the line, finger notes stand above it.",
    "Click the number of a bar at the left: it loops.",
    "Press 60 %, then Play: the same bar, slower, at its own pitch.",
    "Press Record and play along, or just listen: it counts in, goes round four times and stops.",
    "Read what it came to under Words and Takes. Point at anything to see what it does; F1 explains the page.",
];

/// The step that is on, from 0; none when nobody is being shown round.
pub fn step(snapshot: &Snapshot) -> Option<usize> {
    let step = snapshot.pages.get(PAGE)?.get("step")?.as_u64()?;
    usize::try_from(step)
        .ok()
        .filter(|step| *step < STEPS.len())
}

fn at(step: Option<usize>) -> Command {
    let remembered = step.map_or(Value::Null, |step| json!({ "step": step }));
    Command::KeepPage(PAGE, remembered)
}

/// Begins it: the built-in tune is opened.
pub fn begin(commands: &mut Vec<Command>) {
    commands.push(at(Some(0)));
    commands.push(Command::OpenDemo);
}

/// Has what the step asks for been done?
fn done(step: usize, snapshot: &Snapshot) -> bool {
    match step {
        0 => snapshot.analysis.ready().is_some(),
        1 => snapshot.practice.loop_on && snapshot.practice.region.is_some(),
        2 => snapshot.transport.playing && snapshot.heard_speed() < 0.99,
        3 => !snapshot.takes.is_empty() && snapshot.capture == CaptureView::Off,
        _ => false,
    }
}

/// Draws the step, where somebody is being shown round.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let Some(step) = step(snapshot) else { return };
    if matches!(snapshot.recording, RecordingView::Empty) && step > 0 {
        commands.push(at(None));
        return;
    }
    if done(step, snapshot) {
        commands.push(at(Some(step + 1)));
    }
    let wash = super::theme::ink(snapshot.look.ground, Ink::Wash);
    Frame::new().fill(wash).inner_margin(6.0).show(ui, |ui| {
        ui.horizontal(|ui| {
            ui.strong(format!("First round, {} of {}", step + 1, STEPS.len()));
            let last = step + 1 == STEPS.len();
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                if ui
                    .button(if last { "Done" } else { "Leave the round" })
                    .clicked()
                {
                    commands.push(at(None));
                }
                if !last && ui.button("Skip this step").clicked() {
                    commands.push(at(Some(step + 1)));
                }
                ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                    ui.add(egui::Label::new(STEPS[step]).wrap());
                });
            });
        });
    });
}
