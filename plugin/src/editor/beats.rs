//! Beats and bars: tapping along, moving beats, bar one, meter, subdivision, swing, free time.
//!
//! Every button appends one correction to the grid's list; everything drawn follows from it.

use super::keys::{self, Deed};
use super::note;
use super::sight::Sight;
use super::transport::large;
use crate::command::{Command, GridEdit};
use crate::snapshot::Snapshot;
use egui::{ComboBox, Ui};
use thumbline::analysis::Analysis;
use thumbline::music::grid::long_to_short;
use thumbline::music::meter::Meter;
use thumbline::unit::Seconds;

/// Meters offered first; any other can be set by its two figures.
const METERS: [Meter; 8] = [
    Meter { count: 4, unit: 4 },
    Meter { count: 3, unit: 4 },
    Meter { count: 2, unit: 4 },
    Meter { count: 6, unit: 8 },
    Meter { count: 12, unit: 8 },
    Meter { count: 9, unit: 8 },
    Meter { count: 5, unit: 4 },
    Meter { count: 7, unit: 8 },
];

/// Below this mean confidence other readings are offered, and so many.
const SURE_ENOUGH: f32 = 0.85;
const OFFERED: usize = 2;

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    note::undo(ui, snapshot, commands);
    ui.separator();
    let Some(analysis) = snapshot.analysis.ready() else {
        ui.label("Not analysed yet.");
        return;
    };
    let grid = &analysis.grid;
    let edit = |commands: &mut Vec<Command>, edit| commands.push(Command::EditGrid(edit));
    match grid.tempo() {
        Some(bpm) => ui.label(format!(
            "{:.0} beats a minute, {}, {} bars",
            bpm.0,
            grid.meter,
            grid.bars().len()
        )),
        None => ui.label("No steady beat was found."),
    };
    readings(ui, snapshot, analysis, commands);
    let position = snapshot.transport.position;
    ui.horizontal_wrapped(|ui| {
        let hint = "Tap on every beat while the recording plays";
        if large(ui, false, "Tap", hint, Some(Deed::Tap)) {
            keys::perform(Deed::Tap, snapshot, sight, commands);
        }
        let hint = "Drag beats on the sheet to where they belong";
        if large(ui, sight.moving_beats, "Move beats", hint, None) {
            sight.moving_beats = !sight.moving_beats;
        }
        if large(ui, false, "Half", "Half as many beats", None) {
            edit(commands, GridEdit::Halve);
        }
        if large(ui, false, "Double", "Twice as many beats", None) {
            edit(commands, GridEdit::Double);
        }
        let hint = "Bar 1 starts at the beat nearest to the current place";
        if large(ui, false, "Bar 1 here", hint, None) {
            edit(commands, GridEdit::BarOne { at: position });
        }
        let hint = "A bar starts at the beat nearest to the current place";
        if large(ui, false, "Bar starts here", hint, None) {
            edit(commands, GridEdit::BarStart { at: position });
        }
    });
    ui.separator();
    meter(ui, grid.meter, commands);
    ui.separator();
    swing(ui, grid.off_beat, commands);
    ui.separator();
    stretch(ui, snapshot, analysis.end, commands);
}

/// What else the beat may be, one click away, wherever it is not sure enough.
fn readings(ui: &mut Ui, snapshot: &Snapshot, analysis: &Analysis, commands: &mut Vec<Command>) {
    let beats = analysis.grid.beats();
    let sure = beats.iter().map(|b| b.confidence).sum::<f32>() / beats.len().max(1) as f32;
    let chosen = snapshot.practice.reading;
    if analysis.alternatives.is_empty() || (chosen.is_none() && sure >= SURE_ENOUGH) {
        return;
    }
    ui.label("The beat is not sure. It may also be:");
    ui.horizontal_wrapped(|ui| {
        let hint = "Read the whole recording so";
        for other in analysis.alternatives.iter().take(OFFERED) {
            let on = chosen == Some(other.edit);
            if large(ui, on, &other.label, hint, None) && !on {
                commands.push(Command::ChooseReading(Some(other.edit)));
            }
        }
        let hint = "Go back to what was heard first";
        if chosen.is_some() && large(ui, false, "As first heard", hint, None) {
            commands.push(Command::ChooseReading(None));
        }
    });
}

fn meter(ui: &mut Ui, meter: Meter, commands: &mut Vec<Command>) {
    let set = |meter| Command::EditGrid(GridEdit::Meter { meter });
    ComboBox::from_label("Meter")
        .selected_text(meter.to_string())
        .show_ui(ui, |ui| {
            for choice in METERS {
                let on = choice == meter;
                if ui.selectable_label(on, choice.to_string()).clicked() && !on {
                    commands.push(set(choice));
                }
            }
        });
    let mut count = meter.count;
    ui.horizontal(|ui| {
        let name = ui.label("Beats in a bar, 1 to 15");
        let field = egui::DragValue::new(&mut count).range(1..=15).speed(0.05);
        if ui.add(field).labelled_by(name.id).changed() {
            commands.push(set(Meter { count, ..meter }));
        }
    });
}

/// Corrections of a stretch: the loop where there is one, else the whole recording.
fn stretch(ui: &mut Ui, snapshot: &Snapshot, end: Seconds, commands: &mut Vec<Command>) {
    let region = snapshot.practice.region.as_ref();
    let (from, to, name) = match region.filter(|_| snapshot.practice.loop_on) {
        Some(region) => (region.from, region.to, "in the loop"),
        None => (Seconds(0.0), end, "in the whole recording"),
    };
    ui.label(format!("The beat divides {name} into"));
    ui.horizontal_wrapped(|ui| {
        for (parts, label) in [
            (1, "nothing"),
            (2, "two"),
            (3, "triplets"),
            (4, "sixteenths"),
            (6, "six"),
        ] {
            if large(ui, false, label, &format!("{parts} to the beat"), None) {
                let edit = GridEdit::Subdivision { from, to, parts };
                commands.push(Command::EditGrid(edit));
            }
        }
    });
    if region.is_some() && snapshot.practice.loop_on {
        ui.horizontal_wrapped(|ui| {
            if large(ui, false, "Free time", "No beat in the loop", None) {
                commands.push(Command::EditGrid(GridEdit::FreeTime { from, to }));
            }
            if large(
                ui,
                false,
                "There is a beat",
                "Look for a beat in the loop",
                None,
            ) {
                commands.push(Command::EditGrid(GridEdit::Pulse { from, to }));
            }
        });
    } else {
        ui.weak("Loop a passage to mark it as free time.");
    }
}

/// Where the off-beats are held to be: as they are played, or long and short as the player says.
fn swing(ui: &mut Ui, set: Option<f64>, commands: &mut Vec<Command>) {
    let command = |ratio| Command::EditGrid(GridEdit::Swing { ratio });
    let long = set.map(long_to_short);
    ui.label("Drift of the off-beats is measured");
    ui.horizontal_wrapped(|ui| {
        let hint = "At the recording's usual swing";
        if large(ui, long.is_none(), "as played", hint, None) && long.is_some() {
            commands.push(command(None));
        }
        for (ratio, label, hint) in [
            (1.0, "from straight", "Half way between the beats"),
            (2.0, "from triplets", "Long and short, 2 to 1"),
        ] {
            let on = long.is_some_and(|long| (long - ratio).abs() < 0.005);
            if large(ui, on, label, hint, None) && !on {
                commands.push(command(Some(ratio)));
            }
        }
    });
    let mut ratio = long.unwrap_or(1.0);
    ui.horizontal(|ui| {
        let name = ui.label("Long to short, 1 to 3");
        let field = egui::DragValue::new(&mut ratio)
            .range(1.0..=3.0)
            .speed(0.01)
            .fixed_decimals(2);
        if ui.add(field).labelled_by(name.id).changed() {
            commands.push(command(Some(ratio)));
        }
    });
}
