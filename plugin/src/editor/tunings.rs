//! Tunings: which one this is, a tone a string to tune by, what moves from one tuning to another and
//! how the strings take it; own ones are kept.

use super::fields::{aside, combo, field, tunings};
use super::theme;
use super::transport::large;
use crate::command::{Command, Sound};
use crate::page_state::TuningsPage;
use crate::services::study::TuningsView;
use crate::snapshot::Snapshot;
use egui::{DragValue, Grid, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use thumbline::music::tuning::HIGHEST_CAPO;
use thumbline::report::sheet::Ink;

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, page: &mut TuningsPage, commands: &mut Vec<Command>) {
    let Some(view) = snapshot.study.tunings.clone() else {
        ui.label("One moment …");
        return;
    };
    ui.heading(theme::letters(&view.title));
    if let Some(odds) = &view.guessed {
        aside(ui, snapshot, odds);
    }
    ui.horizontal_wrapped(|ui| {
        pick(ui, snapshot, "Tuning", &view.to_name, &mut page.to);
        if let Some(typed) = field(
            ui,
            "or its strings from the lowest",
            &view.to.clone().with_capo(0).to_string(),
            150.0,
        ) {
            page.to = (!typed.is_empty()).then_some(typed);
        }
        pick(ui, snapshot, "coming from", &view.from_name, &mut page.from);
        let mut capo = view.to.capo();
        let name = ui.label("Capo");
        let drag = DragValue::new(&mut capo)
            .range(0..=HIGHEST_CAPO)
            .speed(0.05);
        if ui.add(drag).labelled_by(name.id).changed() {
            page.capo = Some(capo);
        }
    });
    ui.horizontal(|ui| tune(ui, snapshot, &view, commands));
    ui.add_space(6.0);
    ui.horizontal_top(|ui| {
        ui.vertical(|ui| strings(ui, snapshot, &view, commands));
        ui.add_space(16.0);
        ui.vertical(|ui| {
            if !view.moves.is_empty() {
                ui.strong(theme::letters(&format!("Coming from {}", view.from_name)));
            }
            for sentence in view.moves.iter().chain(&view.strain) {
                ui.label(theme::letters(sentence));
            }
        });
    });
    ui.separator();
    ui.horizontal(|ui| {
        if let Some(name) = field(ui, "Keep it as", "", 150.0)
            && !name.is_empty()
        {
            commands.push(Command::KeepTuning(name, view.to.clone()));
        }
        if snapshot.recording.name().is_some() {
            let on = snapshot.practice.tuning.as_ref() == Some(&view.to);
            let hint = "Strings and frets of the recording are told in this tuning";
            let is = ui.selectable_label(on, "The recording is in it");
            if is.on_hover_text(hint).clicked() && !on {
                commands.push(Command::SetTuning(Some(view.to.clone())));
            }
            if snapshot.practice.tuning.is_some() && ui.button("Find it by ear").clicked() {
                commands.push(Command::SetTuning(None));
            }
        }
    });
}

/// How far the string that is played is off: words and a needle that holds still.
fn tune(ui: &mut Ui, snapshot: &Snapshot, view: &TuningsView, commands: &mut Vec<Command>) {
    let on = snapshot.study.strings.is_some();
    let hint = "Listens to the input that takes are recorded from";
    if large(ui, on, "Tune my strings", hint, None) {
        commands.push(Command::HearStrings(!on));
    }
    let Some(heard) = snapshot.study.strings else {
        return;
    };
    let near = heard.and_then(|pitch| view.to.nearest_string(pitch));
    let Some((string, off)) = near else {
        aside(ui, snapshot, "Play one string by itself.");
        return;
    };
    let name = view.strings.iter().find(|r| r.string == string);
    let name = theme::letters(name.map_or("", |r| &r.name));
    let cents = off.0.round();
    let said = match cents {
        c if c.abs() < IN_TUNE => format!("String {string}, {name}: in tune"),
        c if c < 0.0 => format!("String {string}, {name}: {:.0} cents flat, tighten it", -c),
        c => format!("String {string}, {name}: {c:.0} cents sharp, slacken it"),
    };
    needle(ui, snapshot, cents);
    ui.label(said);
}

/// A string nearer than this is in tune, in cents: about what a listener tells apart.
const IN_TUNE: f64 = 3.0;

/// Cents to either side of the middle.
const REACH: f64 = 50.0;

fn needle(ui: &mut Ui, snapshot: &Snapshot, cents: f64) {
    let ink = |i| theme::ink(snapshot.look.ground, i);
    let (area, response) = ui.allocate_exact_size(vec2(220.0, 30.0), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Meter, true, format!("{cents:.0} cents")));
    let painter = ui.painter_at(area);
    let x = |cents: f64| {
        let share = (cents / REACH).clamp(-1.0, 1.0) as f32;
        area.center().x + 0.47 * area.width() * share
    };
    let right = egui::Rect::from_x_y_ranges(x(-IN_TUNE)..=x(IN_TUNE), area.y_range());
    painter.rect_filled(right, 2.0, ink(Ink::Band));
    for mark in [-50.0, -25.0, 0.0, 25.0, 50.0] {
        let half = if mark == 0.0 { 15.0 } else { 5.0 };
        let high = area.center().y - half..=area.center().y + half;
        painter.vline(x(mark), high, Stroke::new(1.0, ink(Ink::Tick)));
    }
    painter.vline(
        x(cents),
        area.y_range(),
        Stroke::new(4.0, ink(Ink::Position)),
    );
}

/// One of the known tunings, the recording's first.
fn pick(ui: &mut Ui, snapshot: &Snapshot, label: &str, shown: &str, chosen: &mut Option<String>) {
    let presets = &snapshot.study.presets;
    combo(ui, label, shown, 130.0, |ui| {
        if let Some(name) = tunings(ui, &presets.tunings, Some(shown)) {
            *chosen = Some(name);
        }
    });
}

/// A row a string: its note, a tone to tune by, where it comes from, how hard it pulls.
fn strings(ui: &mut Ui, snapshot: &Snapshot, view: &TuningsView, commands: &mut Vec<Command>) {
    Grid::new("strings")
        .num_columns(6)
        .spacing([18.0, 6.0])
        .striped(true)
        .show(ui, |ui| {
            for name in ["string", "note", "Hz", "tone", "from there", "pull"] {
                ui.weak(name);
            }
            ui.end_row();
            for row in &view.strings {
                ui.label(row.string.to_string());
                ui.strong(theme::letters(&row.name));
                ui.label(format!("{:.1}", row.hz));
                let hint = "Hear this string, to tune yours by";
                let label = format!("Hear {}", theme::letters(&row.name));
                if ui.button(label).on_hover_text(hint).clicked() {
                    commands.push(Command::Sound(Sound {
                        name: format!("string {}, {}", row.string, row.name),
                        strokes: row.tone.clone(),
                        length: row.rings,
                        again: false,
                    }));
                }
                ui.label(theme::letters(&row.moved));
                pull(ui, snapshot, row.pull);
                ui.end_row();
            }
        });
}

/// How hard a string pulls against what it is made for: a bar from the middle, slack to the left.
fn pull(ui: &mut Ui, snapshot: &Snapshot, share: f64) {
    let ground = snapshot.look.ground;
    let (area, response) = ui.allocate_exact_size(vec2(90.0, 18.0), Sense::hover());
    let told = format!("{:.0} % of its pull in standard tuning", 100.0 * share);
    response.widget_info(|| WidgetInfo::labeled(Role::Meter, true, &told));
    let painter = ui.painter_at(area);
    let middle = area.center();
    let end = middle.x + (100.0 * (share - 1.0)).clamp(-40.0, 40.0) as f32;
    let ink = if (0.72..=1.2).contains(&share) {
        Ink::Line
    } else {
        Ink::Alarm
    };
    let line = [pos2(middle.x, middle.y), pos2(end, middle.y)];
    painter.line_segment(line, Stroke::new(6.0, theme::ink(ground, ink)));
    painter.vline(
        middle.x,
        area.y_range(),
        Stroke::new(1.0, theme::ink(ground, Ink::Tick)),
    );
    response.on_hover_text(told);
}
