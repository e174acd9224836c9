//! Drills: patterns, scales, techniques of the left hand and harmonics, stage by stage, each opened as a
//! recording with loop, ladder and click.

use super::fields::{aside, choice, combo, field, tunings};
use super::{pattern, theme};
use crate::command::Command;
use crate::page_state::{DrillsPage, Exercise};
use crate::services::drill;
use crate::snapshot::Snapshot;
use egui::{DragValue, Ui};
use thumbline::music::drill::CAUTION;
use thumbline::music::harmonics::TOUCH;
use thumbline::unit::Bpm;

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, page: &mut DrillsPage, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        choice(
            ui,
            &mut page.what,
            &[
                (
                    Exercise::Pattern,
                    "A pattern",
                    "Thumb alone, said, on the beat, off the beat",
                ),
                (
                    Exercise::Scale,
                    "A scale",
                    "Up and down so that every note rings on",
                ),
                (
                    Exercise::HammerOns,
                    "Hammer-ons",
                    "The finger comes down on a ringing string",
                ),
                (
                    Exercise::PullOffs,
                    "Pull-offs",
                    "The finger plucks as it leaves",
                ),
                (
                    Exercise::Slides,
                    "Slides",
                    "The finger keeps its pressure on the way",
                ),
                (
                    Exercise::Harmonics,
                    "Harmonics",
                    "A light touch, to relax with",
                ),
            ],
        );
    });
    ui.horizontal_wrapped(|ui| which(ui, snapshot, page));
    ui.horizontal_wrapped(|ui| {
        let name = ui.label("Tempo");
        let drag = DragValue::new(&mut page.tempo)
            .range(20.0..=300.0)
            .fixed_decimals(0);
        ui.add(drag.suffix(" beats a minute")).labelled_by(name.id);
        pattern::pace(ui, &mut page.speed, &mut page.bars);
        aside(ui, snapshot, "looped, with ladder and click");
    });
    if page.what == Exercise::Harmonics {
        ui.label(TOUCH);
    }
    aside(ui, snapshot, CAUTION);
    ui.add_space(4.0);
    let Some(view) = snapshot.study.drills.clone() else {
        return;
    };
    let (tempo, bars, speed) = (Bpm(page.tempo), page.bars, page.speed);
    let open = |stage| {
        let job = drill::Job {
            what: view.what.clone(),
            tuning: view.tuning.clone(),
            tempo,
            bars,
            stage,
        };
        Command::Drill(Box::new(job), speed)
    };
    pattern::stages(ui, snapshot, (&view.stages, true), open, commands);
    if view.stages.is_empty() {
        ui.label("The strings of this tuning do not reach every note of it: choose another scale or tuning.");
    }
}

/// Which pattern or scale, in which tuning.
fn which(ui: &mut Ui, snapshot: &Snapshot, page: &mut DrillsPage) {
    let presets = &snapshot.study.presets;
    match page.what {
        Exercise::Pattern => {
            let shown = page.pattern.clone();
            combo(ui, "Pattern", &shown, 190.0, |ui| {
                for known in &presets.patterns {
                    let on = page.pattern == known.name;
                    let label = ui.selectable_label(on, theme::letters(&known.name));
                    if label.on_hover_text(theme::letters(&known.about)).clicked() {
                        page.pattern.clone_from(&known.name);
                    }
                }
            });
            if let Some(typed) = field(ui, "On chords", &page.chords, 140.0) {
                page.chords = typed;
            }
        }
        Exercise::Harmonics => {}
        _ => {
            if let Some(typed) = field(ui, "Scale", &page.scale, 150.0) {
                page.scale = typed;
            }
        }
    }
    let own = snapshot
        .analysis
        .ready()
        .map(|a| presets.tuning_name(&a.tuning));
    let own = own.unwrap_or_else(|| "standard".to_owned());
    let shown = page.tuning.clone().unwrap_or_else(|| own.clone());
    combo(ui, "Tuning", &shown, 130.0, |ui| {
        if ui
            .selectable_label(page.tuning.is_none(), theme::letters(&own))
            .clicked()
        {
            page.tuning = None;
        }
        if let Some(name) = tunings(ui, &presets.tunings, page.tuning.as_deref()) {
            page.tuning = Some(name);
        }
    });
}
