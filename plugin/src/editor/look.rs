//! How the page looks, the keys, and what the program says about itself and about safe use.

use super::help;
use crate::command::Command;
use crate::snapshot::{Look, Snapshot};
use egui::{DragValue, Ui};
use thumbline::report::sheet::Ground;

/// What is said once about hands and ears, and kept on the page about the program. General
/// advice: WHO-ITU H.870 (2019) for level and time; breaks and sudden increases after Chan &
/// Ackermann 2014, Front. Psychol. 5:706.
pub const CAUTIONS: [&str; 2] = [
    "Hands: warm up, rest between rounds, add playing time little by little. If it hurts, stop; if it goes on hurting, see a professional.",
    "Ears: keep the level moderate, the more so the longer you listen. This program cannot measure how loud it is where you are.",
];

/// Draws the cautions until they were read.
pub fn cautions(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    for caution in CAUTIONS {
        ui.label(caution);
    }
    let cautioned = true;
    if super::transport::large(
        ui,
        false,
        "I have read this",
        "It stays on the page Look",
        None,
    ) {
        let look = snapshot.look;
        commands.push(Command::SetLook(Look { cautioned, ..look }));
    }
}

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let mut look = snapshot.look;
    ui.strong("The page");
    ui.horizontal(|ui| {
        ui.radio_value(&mut look.ground, Ground::Paper, "Paper");
        ui.radio_value(&mut look.ground, Ground::Dark, "Dark");
    });
    ui.horizontal_wrapped(|ui| {
        ui.label("Drift drawn");
        ui.selectable_value(&mut look.magnifier, None, "to fit");
        for factor in [1, 2, 4, 8, 16] {
            ui.selectable_value(&mut look.magnifier, Some(factor), format!("×{factor}"));
        }
    });
    ui.horizontal(|ui| {
        let name = ui.label("Bars in a row");
        ui.add(
            DragValue::new(&mut look.bars_a_row)
                .range(0..=8)
                .speed(0.05)
                .custom_formatter(|n, _| match n {
                    n if n < 0.5 => "by width".to_owned(),
                    n => format!("{n:.0}"),
                })
                .custom_parser(|text| text.trim().parse().ok().or(Some(0.0))),
        )
        .labelled_by(name.id);
    });
    let size = |ui: &mut Ui, label: &str, value: f64, low: f64, high: f64| {
        let mut percent = value * 100.0;
        ui.horizontal(|ui| {
            let name = ui.label(label);
            let field = DragValue::new(&mut percent)
                .range(low..=high)
                .fixed_decimals(0)
                .suffix(" %");
            ui.add(field).labelled_by(name.id);
        });
        percent / 100.0
    };
    ui.horizontal(|ui| {
        ui.label("From");
        for (name, scale) in [("Desk", 1.0), ("Stand", 1.5), ("Stage", 2.0)] {
            let on = (look.scale - scale).abs() < 0.01;
            let hint = format!("Everything at {:.0} %", 100.0 * scale);
            if ui.selectable_label(on, name).on_hover_text(hint).clicked() {
                look.scale = scale;
            }
        }
    });
    look.zoom = size(ui, "Size of the notes", look.zoom, 50.0, 400.0);
    look.scale = size(
        ui,
        "Size of everything",
        f64::from(look.scale),
        100.0,
        250.0,
    ) as f32;
    ui.checkbox(&mut look.strings, "Tablature under each bar");
    ui.checkbox(&mut look.follow, "Keep the row in play in view");
    if look != snapshot.look {
        commands.push(Command::SetLook(look));
    }
    ui.separator();
    ui.strong("Keys");
    help::list(ui);
    ui.separator();
    ui.strong("About");
    ui.label(format!("Thumbline {}", env!("CARGO_PKG_VERSION")));
    for caution in CAUTIONS {
        ui.label(caution);
    }
}
