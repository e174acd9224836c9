//! The picking pattern: the recording's own cell, a known one or one of the player's; heard alone,
//! changed stroke by stroke, and drilled stage by stage.

use super::fields::{aside, field, tempo};
use super::transport::large;
use super::{strip, theme};
use crate::command::Command;
use crate::page_state::{OfPattern, PatternPage};
use crate::services::drill;
use crate::services::study::PatternView;
use crate::snapshot::{For, Snapshot};
use egui::{ComboBox, DragValue, Ui};
use thumbline::music::drill::Stage;
use thumbline::unit::Beats;

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, page: &mut PatternPage, commands: &mut Vec<Command>) {
    let Some(view) = snapshot.study.pattern.clone() else {
        ui.label("One moment …");
        return;
    };
    ui.horizontal_wrapped(|ui| choose(ui, snapshot, &view, page, commands));
    ui.horizontal_wrapped(|ui| hear(ui, snapshot, &view, page, commands));
    let wide = ui.available_width();
    if wide < SIDE_BY_SIDE {
        of_cell(ui, snapshot, &view, page, commands);
        ui.separator();
        of_drill(ui, snapshot, &view, page, commands);
        return;
    }
    ui.horizontal_top(|ui| {
        ui.vertical(|ui| {
            ui.set_width(0.48 * wide);
            of_cell(ui, snapshot, &view, page, commands);
        });
        ui.separator();
        ui.vertical(|ui| of_drill(ui, snapshot, &view, page, commands));
    });
}

/// Width from which the cell and its drill stand side by side.
const SIDE_BY_SIDE: f32 = 760.0;

/// The cell and what is to be said of it.
fn of_cell(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &PatternView,
    page: &mut PatternPage,
    commands: &mut Vec<Command>,
) {
    let at = sounding(snapshot, view);
    let cell = (&view.cell, page.division.max(view.cell.division));
    let strings = view.tuning.strings();
    if let Some((string, at)) = strip::show(ui, snapshot, cell, strings, at) {
        page.edit(&view.cell.toggled(string, at));
    }
    ui.horizontal_wrapped(|ui| edit(ui, view, page, commands));
    for sentence in &view.sentences {
        ui.label(theme::letters(sentence));
    }
}

/// Its stages.
fn of_drill(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &PatternView,
    page: &mut PatternPage,
    commands: &mut Vec<Command>,
) {
    ui.strong("Drill it");
    ui.horizontal_wrapped(|ui| {
        pace(ui, &mut page.speed, &mut page.bars);
        aside(ui, snapshot, "looped, with ladder and click");
    });
    stages(
        ui,
        snapshot,
        (&view.stages, false),
        |stage| {
            Command::Drill(
                Box::new(drill::Job {
                    what: view.what.clone(),
                    tuning: view.tuning.clone(),
                    tempo: view.tempo,
                    bars: page.bars,
                    stage,
                }),
                page.speed,
            )
        },
        commands,
    );
}

/// Which pattern is shown.
fn choose(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &PatternView,
    page: &mut PatternPage,
    commands: &mut Vec<Command>,
) {
    ui.heading(theme::letters(&view.name));
    let presets = &snapshot.study.presets;
    let combo = ComboBox::from_id_salt("which pattern")
        .selected_text("another…")
        .width(110.0);
    combo.show_ui(ui, |ui| {
        if view.reading.is_some() {
            let on = page.of == OfPattern::Recording;
            if ui.selectable_label(on, "the recording’s").clicked() {
                page.of = OfPattern::Recording;
            }
        }
        if !page.own.bars.is_empty() {
            let on = page.of == OfPattern::Own;
            if ui.selectable_label(on, "your own").clicked() {
                page.of = OfPattern::Own;
            }
        }
        if let Some(file) = &page.file {
            let on = page.of == OfPattern::File;
            let name = crate::data::name_of(file);
            if ui.selectable_label(on, theme::letters(&name)).clicked() {
                page.of = OfPattern::File;
            }
        }
        for pattern in &presets.patterns {
            let on = page.of == OfPattern::Named(pattern.name.clone());
            let hint = theme::letters(&pattern.about);
            let label = ui.selectable_label(on, theme::letters(&pattern.name));
            if label.on_hover_text(hint).clicked() {
                page.of = OfPattern::Named(pattern.name.clone());
            }
        }
    });
    for (name, distance) in &view.nearest {
        let alike = 100.0 * (1.0 - distance);
        let hint = format!("{alike:.0} of 100 strokes are the same");
        let label = theme::letters(name);
        if ui
            .selectable_label(false, label)
            .on_hover_text(hint)
            .clicked()
        {
            page.of = OfPattern::Named(name.clone());
        }
    }
    let hint = "A MIDI or MusicXML file: what it repeats becomes the pattern";
    if ui.button("From a file…").on_hover_text(hint).clicked() {
        commands.push(Command::AskForNotes(For::Pattern));
    }
}

/// Hears it alone.
fn hear(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &PatternView,
    page: &mut PatternPage,
    commands: &mut Vec<Command>,
) {
    let plays = snapshot.beside.as_ref().is_some_and(|b| b.again);
    let label = if plays { "Silence it" } else { "Play it alone" };
    if large(ui, plays, label, "Round and round, by a string model", None) {
        commands.push(if plays {
            Command::Hush
        } else {
            Command::Sound(view.sound())
        });
    }
    tempo(ui, view.tempo.0, &mut page.tempo);
    if view.reading.is_some() {
        ui.checkbox(&mut page.on_chords, "On the recording’s chords");
    }
    if let Some(typed) = field(ui, "or on these", &page.chords, 120.0) {
        page.chords = typed;
    }
    if !view.chords.is_empty() {
        aside(ui, snapshot, &view.chords.join("  "));
    }
}

/// Where the cell sounds now.
fn sounding(snapshot: &Snapshot, view: &PatternView) -> Option<Beats> {
    let beside = snapshot
        .beside
        .as_ref()
        .filter(|b| b.again && b.name == view.name)?;
    view.alone.place(beside.at?, view.tempo, view.cell.beats())
}

/// Slots, and keeping it.
fn edit(ui: &mut Ui, view: &PatternView, page: &mut PatternPage, commands: &mut Vec<Command>) {
    ui.label("Slots a beat");
    for slots in [1u8, 2, 3, 4] {
        let now = page.division.max(view.cell.division);
        if ui
            .selectable_label(now == slots, slots.to_string())
            .clicked()
        {
            page.division = slots;
        }
    }
    if let Some(name) = field(ui, "Keep it as", "", 150.0)
        && !name.is_empty()
    {
        commands.push(Command::KeepPattern(name, Box::new(view.cell.clone())));
    }
}

/// Speed and bars of a drill.
pub fn pace(ui: &mut Ui, speed: &mut f64, bars: &mut usize) {
    let mut percent = 100.0 * *speed;
    let name = ui.label("Begin at");
    let drag = DragValue::new(&mut percent)
        .range(25.0..=150.0)
        .fixed_decimals(0)
        .suffix(" %");
    if ui.add(drag).labelled_by(name.id).changed() {
        *speed = percent / 100.0;
    }
    ui.label("of the tempo.");
    let name = ui.label("Bars a stage");
    let drag = DragValue::new(bars).range(1..=16).speed(0.05);
    ui.add(drag).labelled_by(name.id);
}

/// The stages of a lesson, each to be opened as a recording.
pub fn stages(
    ui: &mut Ui,
    snapshot: &Snapshot,
    (stages, said): (&[Stage], bool),
    command: impl Fn(usize) -> Command,
    commands: &mut Vec<Command>,
) {
    if snapshot.study.making {
        ui.label("The drill is being written …");
    }
    for (i, stage) in stages.iter().enumerate() {
        let label = format!("{}. {}", i + 1, theme::letters(&stage.title));
        let told = theme::letters(&stage.sentences().join(" "));
        let hint = "It opens looped; the other stages are its kept loops.";
        if ui
            .button(label)
            .on_hover_text(format!("{told} {hint}"))
            .clicked()
        {
            commands.push(command(i));
        }
        if said {
            ui.indent(("stage", i), |ui| aside(ui, snapshot, &told));
        }
    }
}
