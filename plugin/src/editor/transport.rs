//! The bar at the bottom: run, loop, speed and ladder, click, pitch, own takes, levels.
//!
//! Large targets, each with its key in the tooltip.

use super::keys::{self, Deed};
use super::sight::Sight;
use super::theme::{self, TARGET};
use crate::snapshot::{CaptureView, ClickRate, Hear, Ladder, Snapshot};
use crate::wish::Wish;
use egui::{Button, DragValue, RichText, Role, Ui, WidgetInfo, vec2};
use thumbline::report::sheet::Ink;

/// A button large enough for a hurried finger.
pub fn large(ui: &mut Ui, on: bool, label: &str, hint: &str, deed: Option<Deed>) -> bool {
    let key = deed.map(keys::name).filter(|k| !k.is_empty());
    let hint = key.map_or_else(|| hint.to_owned(), |key| format!("{hint} ({key})"));
    ui.add(
        Button::new(RichText::new(label))
            .selected(on)
            .min_size(vec2(TARGET, TARGET)),
    )
    .on_hover_text(hint)
    .clicked()
}

/// Draws the bar.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        ui.spacing_mut().interact_size.y = TARGET;
        run(ui, snapshot, sight, wishes);
        ui.separator();
        speed(ui, snapshot, sight, wishes);
        ladder(ui, snapshot, wishes);
        ui.separator();
        click(ui, snapshot, sight, wishes);
        ui.separator();
        pitch(ui, snapshot, wishes);
        balance(ui, snapshot, wishes);
        ui.separator();
        take(ui, snapshot, sight, wishes);
        level(ui, snapshot);
    });
}

fn run(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let transport = &snapshot.transport;
    let label = match (transport.playing, transport.count_in) {
        (_, Some(left)) => format!("In {left}"),
        (true, None) => "Stop".to_owned(),
        (false, None) => "Play".to_owned(),
    };
    let hint = "Play or stop; P works too";
    if large(ui, transport.playing, &label, hint, Some(Deed::Play)) {
        keys::perform(Deed::Play, snapshot, sight, wishes);
    }
    let on = snapshot.practice.loop_on;
    if large(ui, on, "Loop", "Loop the marked stretch", Some(Deed::Loop)) {
        keys::perform(Deed::Loop, snapshot, sight, wishes);
    }
}

fn speed(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    if large(ui, false, "–", "Slower by 5 %", Some(Deed::Slower)) {
        keys::perform(Deed::Slower, snapshot, sight, wishes);
    }
    let mut percent = snapshot.dials.speed * 100.0;
    let value = DragValue::new(&mut percent)
        .range(25.0..=150.0)
        .speed(0.5)
        .fixed_decimals(0)
        .suffix(" %");
    let field = ui
        .add_sized(vec2(64.0, TARGET), value)
        .on_hover_text("Speed, at the recording's own pitch");
    field.widget_info(|| WidgetInfo {
        label: Some("Speed in percent".to_owned()),
        ..WidgetInfo::drag_value(true, percent)
    });
    if field.changed() {
        wishes.push(Wish::SetSpeed(percent / 100.0));
    }
    if large(ui, false, "+", "Faster by 5 %", Some(Deed::Faster)) {
        keys::perform(Deed::Faster, snapshot, sight, wishes);
    }
    for preset in [50.0, 60.0, 75.0, 100.0] {
        let on = (snapshot.dials.speed * 100.0 - preset).abs() < 0.5;
        let label = format!("{preset:.0} %");
        if large(ui, on, &label, &format!("Speed {preset:.0} %"), None) {
            wishes.push(Wish::SetSpeed(preset / 100.0));
        }
    }
}

/// A number with its name before it; was it changed?
fn labelled(ui: &mut Ui, label: &str, field: DragValue) -> bool {
    ui.horizontal(|ui| {
        let name = ui.label(label);
        ui.add(field).labelled_by(name.id).changed()
    })
    .inner
}

/// The ladder's switch, and its settings behind a menu.
fn ladder(ui: &mut Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    let ladder = snapshot.practice.ladder;
    let label = if ladder.on {
        format!("Ladder {:.0} %", snapshot.transport.speed * 100.0)
    } else {
        "Ladder".to_owned()
    };
    let hint = "Speed the loop up step by step";
    if large(ui, ladder.on, &label, hint, None) {
        let on = !ladder.on;
        wishes.push(Wish::SetLadder(Ladder { on, ..ladder }));
    }
    ui.menu_button("Practice", |ui| {
        set_ups(ui, snapshot, wishes);
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
            wishes.push(Wish::SetLadder(next));
        }
    })
    .response
    .on_hover_text("Ways to practise, and the ladder's steps");
}

fn click(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let hint = "A click on the beat of the recording";
    if large(ui, snapshot.dials.click, "Click", hint, Some(Deed::Click)) {
        keys::perform(Deed::Click, snapshot, sight, wishes);
    }
    ui.menu_button("Counts", |ui| {
        ui.label("Click");
        for (rate, name) in [
            (ClickRate::Beat, "on the beats"),
            (ClickRate::Half, "twice a beat"),
            (ClickRate::Third, "three times a beat"),
            (ClickRate::Quarter, "four times a beat"),
        ] {
            if ui
                .radio(snapshot.practice.click_rate == rate, name)
                .clicked()
            {
                wishes.push(Wish::SetClickRate(rate));
            }
        }
        ui.label("Count-in");
        for (bars, name) in [(0, "none"), (1, "one bar"), (2, "two bars")] {
            if ui
                .radio(snapshot.practice.count_in_bars == bars, name)
                .clicked()
            {
                wishes.push(Wish::SetCountIn(bars));
            }
        }
        let mut rest = snapshot.practice.rest_beats;
        ui.horizontal(|ui| {
            let name = ui.label("Silent beats between rounds");
            let field = DragValue::new(&mut rest).range(0..=16);
            if ui.add(field).labelled_by(name.id).changed() {
                wishes.push(Wish::SetRest(rest));
            }
        });
    })
    .response
    .on_hover_text("How the click counts, count-in, rest between rounds");
}

fn pitch(ui: &mut Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    let mut pitch = snapshot.dials.pitch;
    let value = DragValue::new(&mut pitch)
        .range(-12.0..=12.0)
        .speed(0.05)
        .max_decimals(2)
        .prefix("Pitch ")
        .custom_formatter(|v, _| {
            if v == 0.0 {
                "0".to_owned()
            } else {
                format!("{v:+.2}")
            }
        });
    let field = ui
        .add_sized(vec2(92.0, TARGET), value)
        .on_hover_text("Pitch in semitones, speed unchanged");
    field.widget_info(|| WidgetInfo {
        label: Some("Pitch in semitones".to_owned()),
        ..WidgetInfo::drag_value(true, pitch)
    });
    if field.changed() {
        wishes.push(Wish::SetPitch(pitch));
    }
}

/// Which part of the sound is heard, and how loud.
fn balance(ui: &mut Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    use crate::params::Channels;
    ui.menu_button("Balance", |ui| {
        hands(ui, snapshot, wishes);
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
                wishes.push(Wish::SetChannels(channels));
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
        if let Some(db) = level(ui, "Level", snapshot.dials.gain_db, -24.0, 24.0) {
            wishes.push(Wish::SetGain(db));
        }
        if let Some(db) = level(ui, "Click level", snapshot.dials.click_db, -40.0, 6.0) {
            wishes.push(Wish::SetClickLevel(db));
        }
        let mut through = snapshot.dials.through;
        if ui
            .checkbox(&mut through, "Hear my own guitar too")
            .changed()
        {
            wishes.push(Wish::SetThrough(through));
        }
    })
    .response
    .on_hover_text("Thumb against fingers, which side is heard, and how loud");
}

/// Thumb against fingers in what is heard.
fn hands(ui: &mut Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
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
            wishes.push(Wish::Hear(Hear::Balance(dial)));
        }
    }
    if snapshot.practice.mixing {
        ui.spinner();
    }
    ui.separator();
}

/// Practice set-ups: speed, loop, ladder and click in one choice.
fn set_ups(ui: &mut Ui, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    if snapshot.set_ups.is_empty() {
        return;
    }
    ui.label("Set up speed, ladder, click and count-in at once");
    for (i, name) in snapshot.set_ups.iter().enumerate() {
        if ui.button(name).clicked() {
            wishes.push(Wish::UseSetUp(i));
        }
    }
    ui.separator();
}

fn take(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let (on, label) = match snapshot.capture {
        CaptureView::Off => (false, "Record".to_owned()),
        CaptureView::Armed(_) => (true, "Ready".to_owned()),
        CaptureView::Running { length, .. } => (true, format!("Recording {:.0} s", length.0)),
        CaptureView::Calibrating => (true, "Listening".to_owned()),
    };
    let hint = "Record yourself against the recording; again to stop and see your drift";
    if large(ui, on, &label, hint, Some(Deed::Take)) {
        keys::perform(Deed::Take, snapshot, sight, wishes);
    }
}

/// Peak of the output as a bar, and what the limiter takes away.
fn level(ui: &mut Ui, snapshot: &Snapshot) {
    let ground = snapshot.look.ground;
    let (area, response) = ui.allocate_exact_size(vec2(66.0, TARGET), egui::Sense::hover());
    let peak = snapshot.level.peak;
    let peak = if peak.is_finite() {
        peak.clamp(0.0, 1.0)
    } else {
        0.0
    };
    let db = 20.0 * peak.max(1e-4).log10();
    let share = (db + 60.0).clamp(0.0, 60.0) / 60.0;
    let bar = area.shrink2(vec2(0.0, 16.0));
    ui.painter()
        .rect_filled(bar, 2.0, theme::ink(ground, Ink::Hair));
    let mut filled = bar;
    filled.set_width(bar.width() * share);
    let ink = if db > -1.0 { Ink::Alarm } else { Ink::Position };
    ui.painter()
        .rect_filled(filled, 2.0, theme::ink(ground, ink));
    let text = format!("Output {db:.0} dB");
    response.widget_info(|| WidgetInfo::labeled(Role::Meter, true, &text));
    response.on_hover_text(text);
}
