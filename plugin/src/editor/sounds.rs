//! Setting up the sound in three steps: the device, the delay, the level. Each can be done again or
//! left out.

use super::transport;
use crate::command::{Command, Sound};
use crate::snapshot::{CaptureView, Snapshot};
use crate::sound::{AudioSystem, Choice, SoundView};
use egui::{ComboBox, Ui};
use thumbline::dsp::pluck::Played;
use thumbline::unit::{MidiNote, Seconds, Span};

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.strong("1  The device");
    match &snapshot.sound {
        Some(sound) => devices(ui, snapshot, sound, commands),
        None => {
            ui.label("The host brings the sound: send your guitar to this plug-in's side input, or put the plug-in on its track.");
        }
    }
    let hint = "An open A string, to hear that the sound arrives";
    if ui.button("Play a test tone").on_hover_text(hint).clicked() {
        commands.push(Command::Sound(test_tone()));
    }
    ui.add_space(8.0);
    ui.strong("2  The delay");
    ui.label("Your sound takes a while to come in. Hold the microphone to the loudspeaker, turned low, and let five clicks measure it.");
    let listens = snapshot.capture == CaptureView::Calibrating;
    let text = if listens {
        "Listening"
    } else {
        "Play five clicks"
    };
    let hint = "Also a test whether anything is heard";
    if transport::large(ui, listens, text, hint, None) && !listens {
        commands.push(Command::Calibrate);
    }
    let latency = snapshot.practice.latency.ms();
    if latency == 0.0 {
        ui.weak("Not measured yet: your drift is told against your own middle.");
    } else {
        ui.weak(format!("{latency:.1} ms, taken off every take"));
    }
    ui.add_space(8.0);
    ui.strong("3  The level");
    ui.label("Play your loudest. The bar should come near its end and never reach it.");
    let size = egui::vec2(ui.available_width().min(260.0), 18.0);
    let (bar, _) = ui.allocate_exact_size(size, egui::Sense::hover());
    let ground = snapshot.look.ground;
    transport::meter(ui, bar, ground, "What comes in", snapshot.level.input);
    let mut through = snapshot.dials.through;
    let hear = ui.checkbox(&mut through, "Hear my own guitar too");
    let hint =
        "Off, so that a microphone before a loudspeaker cannot howl. With headphones it may be on";
    if hear.on_hover_text(hint).changed() {
        commands.push(Command::SetThrough(through));
    }
}

/// An open A string.
fn test_tone() -> Sound {
    const RINGS: Span = Span(2.0);
    const A2: MidiNote = MidiNote(45.0);
    let start = Seconds(0.02);
    Sound {
        name: "Test tone".to_owned(),
        strokes: vec![Played::pluck(start, start + RINGS, 5, A2, 0)],
        length: RINGS,
        again: false,
    }
}

/// The program's own devices.
fn devices(ui: &mut Ui, snapshot: &Snapshot, sound: &SoundView, commands: &mut Vec<Command>) {
    match sound.system {
        Some(system) => {
            let rate = snapshot.host_rate;
            ui.label(format!("{} at {rate} Hz", system.name()));
        }
        None if sound.fault.is_none() => {
            ui.label("Looking for devices");
        }
        None => {}
    }
    if let Some(fault) = &sound.fault {
        ui.colored_label(ui.visuals().error_fg_color, fault);
    }
    let mut next = sound.choice.clone();
    if sound.systems.len() > 1 {
        let names = sound.systems.iter().map(|s| (Some(*s), s.name()));
        let now = sound.system;
        // Another system has other devices.
        choose(ui, "Through", &now, names, |system| {
            (next.system, next.input, next.output) = (system, None, None);
        });
    }
    let none = [(None, "nothing: takes cannot be recorded")].into_iter();
    let inputs = none.chain(named(&sound.inputs));
    choose(ui, "Record from", &sound.choice.input, inputs, |name| {
        next.input = name;
    });
    if sound.system != Some(AudioSystem::Jack) {
        let own = [(None, "the system's own")].into_iter();
        let outputs = own.chain(named(&sound.outputs));
        choose(ui, "Play to", &sound.choice.output, outputs, |name| {
            next.output = name;
        });
        numbers(ui, &sound.choice, &mut next);
    }
    if next != sound.choice {
        commands.push(Command::UseSound(next));
    }
    ui.weak("With another device Thumbline starts again; everything is kept.");
}

fn named(names: &[String]) -> impl Iterator<Item = (Option<String>, &str)> {
    names.iter().map(|name| (Some(name.clone()), name.as_str()))
}

fn numbers(ui: &mut Ui, now: &Choice, next: &mut Choice) {
    let rates = [44_100, 48_000, 96_000].map(|rate| (rate, format!("{rate} Hz")));
    let shown = rates.iter().map(|(rate, name)| (*rate, name.as_str()));
    choose(ui, "Rate", &now.rate, shown, |rate| next.rate = rate);
    let sizes = [128, 256, 512, 1024, 2048].map(|n| (n, format!("{n} frames")));
    let shown = sizes.iter().map(|(frames, name)| (*frames, name.as_str()));
    choose(ui, "Buffer", &now.frames, shown, |frames| {
        next.frames = frames;
    });
}

/// One of a list.
fn choose<'a, T: PartialEq + Clone>(
    ui: &mut Ui,
    label: &str,
    now: &T,
    all: impl Iterator<Item = (T, &'a str)>,
    mut chosen: impl FnMut(T),
) {
    let all: Vec<(T, &str)> = all.collect();
    let shown = all.iter().find(|(value, _)| value == now);
    let shown = shown.map_or("not there now", |(_, name)| *name);
    let name = ui.weak(label);
    let list = ComboBox::from_id_salt(label)
        .selected_text(shown)
        .width(ui.available_width().min(260.0))
        .truncate()
        .show_ui(ui, |ui| {
            for (value, name) in &all {
                let on = value == now;
                if ui.selectable_label(on, *name).clicked() && !on {
                    chosen(value.clone());
                }
            }
        });
    list.response.labelled_by(name.id);
}
