//! The menus of the bar at the bottom: ways to practise and the ladder's steps, what is counted, what of
//! the sound is heard.

use crate::command::Command;
use crate::params::Channels;
use crate::snapshot::{ClickRate, Hear, Snapshot};
use egui::{DragValue, Ui};

/// A number with its name before it; was it changed?
fn labelled(ui: &mut Ui, label: &str, field: DragValue) -> bool {
    ui.horizontal(|ui| {
        let name = ui.label(label);
        ui.add(field).labelled_by(name.id).changed()
    })
    .inner
}

/// Ways to practise, and the ladder's steps.
pub(super) fn practice(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let ladder = snapshot.practice.ladder;
    ui.menu_button("Practice", |ui| {
        set_ups(ui, snapshot, commands);
        ui.label("The ladder");
        let mut next = ladder;
        let percent = |ui: &mut Ui, label: &str, share: &mut f64, low: f64, high: f64| {
            let mut value = *share * 100.0;
            let field = DragValue::new(&mut value)
                .range(low..=high)
                .fixed_decimals(0)
                .suffix(" %");
            let changed = labelled(ui, label, field);
            if changed {
                *share = value / 100.0;
            }
        };
        percent(ui, "Start at", &mut next.start, 25.0, 150.0);
        percent(ui, "Each step adds", &mut next.step, 1.0, 50.0);
        percent(ui, "Up to", &mut next.top, 25.0, 150.0);
        ui.horizontal(|ui| {
            let name = ui.label("Rounds on each step");
            ui.add(DragValue::new(&mut next.rounds).range(1..=1000))
                .labelled_by(name.id);
        });
        let mut only = next.within_ms.is_some();
        ui.checkbox(&mut only, "Step only when my drift stays within");
        if only {
            let mut ms = next.within_ms.unwrap_or(30.0);
            ui.add(DragValue::new(&mut ms).range(1.0..=500.0).suffix(" ms"));
            next.within_ms = Some(ms);
        } else {
            next.within_ms = None;
        }
        if next != ladder {
            commands.push(Command::SetLadder(next));
        }
    })
    .response
    .on_hover_text("Ways to practise, and the ladder's steps");
}

/// How the click counts, and what comes before and between rounds.
pub(super) fn counts(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.menu_button("Counts", |ui| {
        ui.label("Click");
        for (rate, name) in [
            (ClickRate::Beat, "on the beats"),
            (ClickRate::Half, "twice a beat"),
            (ClickRate::Third, "three times a beat"),
            (ClickRate::Quarter, "four times a beat"),
            (ClickRate::Backbeat, "on two and four"),
            (ClickRate::EveryOtherBar, "every other bar"),
            (ClickRate::TwoAndTwo, "two bars, then two without"),
        ] {
            if ui
                .radio(snapshot.practice.click_rate == rate, name)
                .clicked()
            {
                commands.push(Command::SetClickRate(rate));
            }
        }
        ui.label("Count-in");
        for (bars, name) in [(0, "none"), (1, "one bar"), (2, "two bars")] {
            if ui
                .radio(snapshot.practice.count_in_bars == bars, name)
                .clicked()
            {
                commands.push(Command::SetCountIn(bars));
            }
        }
        let mut rest = snapshot.practice.rest_beats;
        ui.horizontal(|ui| {
            let name = ui.label("Silent beats between rounds");
            let field = DragValue::new(&mut rest).range(0..=16);
            if ui.add(field).labelled_by(name.id).changed() {
                commands.push(Command::SetRest(rest));
            }
        });
        let mut tone = snapshot.practice.round_tone;
        let text = "A tone after each round I play: one where it was good, else two";
        if ui.checkbox(&mut tone, text).changed() {
            commands.push(Command::SetRoundTone(tone));
        }
    })
    .response
    .on_hover_text("How the click counts, count-in, rest between rounds");
}

/// Pitch, the speed unchanged.
fn pitch(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let mut pitch = snapshot.dials.pitch;
    let value = DragValue::new(&mut pitch)
        .range(-12.0..=12.0)
        .speed(0.05)
        .max_decimals(2)
        .suffix(" semitones");
    if labelled(ui, "Pitch", value) {
        commands.push(Command::SetPitch(pitch));
    }
}

/// Which part of the sound is heard, and how loud.
pub(super) fn balance(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.menu_button("Balance", |ui| {
        hands(ui, snapshot, commands);
        ui.label("Hear");
        for (channels, name) in [
            (Channels::Stereo, "both sides"),
            (Channels::Left, "the left side"),
            (Channels::Right, "the right side"),
            (Channels::Mid, "the middle"),
            (Channels::Side, "what differs"),
        ] {
            if ui
                .radio(snapshot.dials.channels == channels, name)
                .clicked()
            {
                commands.push(Command::SetChannels(channels));
            }
        }
        let level = |ui: &mut Ui, label: &str, db: f64, low: f64, high: f64| {
            let mut value = db;
            let field = DragValue::new(&mut value)
                .range(low..=high)
                .speed(0.2)
                .fixed_decimals(1)
                .suffix(" dB");
            labelled(ui, label, field).then_some(value)
        };
        pitch(ui, snapshot, commands);
        if let Some(db) = level(ui, "Level", snapshot.dials.gain_db, -24.0, 24.0) {
            commands.push(Command::SetGain(db));
        }
        if let Some(db) = level(ui, "Click level", snapshot.dials.click_db, -40.0, 6.0) {
            commands.push(Command::SetClickLevel(db));
        }
        let mut through = snapshot.dials.through;
        if ui
            .checkbox(&mut through, "Hear my own guitar too")
            .changed()
        {
            commands.push(Command::SetThrough(through));
        }
    })
    .response
    .on_hover_text("Thumb against fingers, which side is heard, pitch, and how loud");
}

/// Thumb against fingers in what is heard.
fn hands(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    ui.label("Thumb and fingers");
    let heard = snapshot.analysis.ready().is_some();
    for (dial, name) in [
        (-1.0, "the thumb alone"),
        (-0.7, "more of the thumb"),
        (0.0, "both as recorded"),
        (0.7, "more of the fingers"),
        (1.0, "the fingers alone"),
    ] {
        let on = matches!(snapshot.practice.hear, Hear::Balance(d) if (d - dial).abs() < 0.05);
        let button = egui::RadioButton::new(on, name);
        if ui.add_enabled(heard || dial == 0.0, button).clicked() {
            commands.push(Command::Hear(Hear::Balance(dial)));
        }
    }
    if snapshot.practice.mixing {
        ui.spinner();
    }
    ui.separator();
}

/// Practice set-ups: speed, loop, ladder and click in one choice.
fn set_ups(ui: &mut Ui, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    if snapshot.set_ups.is_empty() {
        return;
    }
    ui.label("Set up speed, ladder, click and count-in at once");
    for (i, name) in snapshot.set_ups.iter().enumerate() {
        if ui.button(name).clicked() {
            commands.push(Command::UseSetUp(i));
        }
    }
    ui.separator();
}
