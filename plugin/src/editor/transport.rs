//! The bar at the bottom: run, loop, record, speed, ladder, click; where the sound is; levels.
//!
//! Large targets in fixed places, each with its key in the tooltip.

mod menus;

use super::icon::{Icon, Push};
use super::keys::{self, Deed};
use super::sight::Sight;
use super::theme::{self, TARGET};
use super::{looped, place};
use crate::command::Command;
use crate::snapshot::{CaptureView, LevelView, Snapshot};
use egui::{Button, DragValue, RichText, Role, ScrollArea, Ui, WidgetInfo, vec2};
use thumbline::report::sheet::{Ground, Ink};
use thumbline::unit::Seconds;

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

/// Room between two buttons of the bar.
const GAP: f32 = 4.0;
/// Height of the small controls below the large ones.
const LOW: f32 = 26.0;

/// Draws the bar: the run of play in large buttons, below it where the sound is and what is looped.
/// Every control has its place whatever the others show; where the window is too narrow the bar is
/// moved sideways, it never wraps.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let area = ScrollArea::horizontal()
        .id_salt("run of play")
        .auto_shrink([false, true]);
    area.show(ui, |ui| {
        ui.spacing_mut().item_spacing = vec2(GAP, 6.0);
        ui.horizontal(|ui| {
            run(ui, snapshot, sight, commands);
            speed(ui, snapshot, sight, commands);
            pace(ui, snapshot, sight, commands);
        });
        ui.horizontal(|ui| {
            ui.spacing_mut().interact_size.y = LOW;
            place(ui, snapshot);
            looped::show(ui, snapshot, sight, commands);
            menus::practice(ui, snapshot, commands);
            menus::counts(ui, snapshot, commands);
            menus::balance(ui, snapshot, commands);
            levels(ui, snapshot);
            let silent = snapshot.sound.as_ref().filter(|s| s.silent);
            if let Some(fault) = silent.and_then(|s| s.fault.as_ref()) {
                let mute = ui.colored_label(ui.visuals().error_fg_color, "No sound");
                mute.on_hover_text(fault);
            }
            let far = ui.selectable_label(sight.far, "Large");
            let hint = "One bar, large, to be read with the guitar in hand";
            let hint = format!("{hint} ({})", keys::name(Deed::Far));
            if far.on_hover_text(hint).clicked() {
                keys::perform(Deed::Far, snapshot, sight, commands);
            }
        });
    });
}

/// Run, loop, record.
fn run(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let transport = &snapshot.transport;
    let playing = transport.playing;
    let text = match (playing, transport.count_in) {
        (_, Some(left)) => format!("In {left}"),
        (true, None) => "Stop".to_owned(),
        (false, None) => "Play".to_owned(),
    };
    let play = Push {
        on: playing,
        icon: Some(if playing { Icon::Stop } else { Icon::Play }),
        deed: Some(Deed::Play),
        ..Push::new(vec2(84.0, TARGET), &text, "Play or stop; P works too")
    };
    if play.show(ui) {
        keys::perform(Deed::Play, snapshot, sight, commands);
    }
    let looped = Push {
        on: snapshot.practice.loop_on,
        icon: Some(Icon::Loop),
        deed: Some(Deed::Loop),
        ..Push::new(
            vec2(74.0, TARGET),
            "Loop",
            "Loop the marked stretch, or the whole recording where none is marked",
        )
    };
    if looped.show(ui) {
        keys::perform(Deed::Loop, snapshot, sight, commands);
    }
    take(ui, snapshot, sight, commands);
}

fn speed(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let step = vec2(TARGET, TARGET);
    if (Push {
        deed: Some(Deed::Slower),
        ..Push::new(step, "–", "Slower by 5 %")
    })
    .show(ui)
    {
        keys::perform(Deed::Slower, snapshot, sight, commands);
    }
    let heard = snapshot.heard_speed();
    let mut percent = heard * 100.0;
    let value = DragValue::new(&mut percent)
        .range(25.0..=150.0)
        .speed(0.5)
        .fixed_decimals(0)
        .suffix(" %");
    let hint = if snapshot.climbs() {
        "The speed you hear: the ladder leads. Choosing one here leaves the ladder."
    } else {
        "The speed you hear, at the recording's own pitch"
    };
    let field = ui.add_sized(vec2(58.0, TARGET), value).on_hover_text(hint);
    field.widget_info(|| WidgetInfo {
        label: Some("Speed in percent".to_owned()),
        ..WidgetInfo::drag_value(true, percent)
    });
    if field.changed() {
        commands.extend(Command::speed(snapshot, percent / 100.0));
    }
    if (Push {
        deed: Some(Deed::Faster),
        ..Push::new(step, "+", "Faster by 5 %")
    })
    .show(ui)
    {
        keys::perform(Deed::Faster, snapshot, sight, commands);
    }
    for preset in [50.0, 60.0, 75.0, 100.0] {
        let label = format!("{preset:.0} %");
        let hint = format!("Speed {preset:.0} %");
        let button = Push {
            on: (heard * 100.0 - preset).abs() < 0.5,
            ..Push::new(vec2(46.0, TARGET), &label, &hint)
        };
        if button.show(ui) {
            commands.extend(Command::speed(snapshot, preset / 100.0));
        }
    }
}

/// Ladder and click.
fn pace(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let ladder = snapshot.practice.ladder;
    let steps = Push {
        on: ladder.on,
        icon: Some(Icon::Ladder),
        deed: Some(Deed::Ladder),
        ..Push::new(
            vec2(82.0, TARGET),
            "Ladder",
            "Speed the loop up step by step; its steps are behind Practice",
        )
    };
    if steps.show(ui) {
        keys::perform(Deed::Ladder, snapshot, sight, commands);
    }
    let click = Push {
        on: snapshot.dials.click,
        icon: Some(Icon::Click),
        deed: Some(Deed::Click),
        ..Push::new(
            vec2(70.0, TARGET),
            "Click",
            "A click on the beat of the recording",
        )
    };
    if click.show(ui) {
        keys::perform(Deed::Click, snapshot, sight, commands);
    }
}

/// Bar, beat and time of the sound, and which time round the loop it is.
fn place(ui: &mut Ui, snapshot: &Snapshot) {
    let at = snapshot.transport.position;
    let grid = snapshot.analysis.ready().map(|a| &a.grid);
    let beat = grid.and_then(|grid| place::beat(grid, at));
    let time = place::clock(at);
    let text = match beat {
        Some(beat) => format!("bar {}.{}  {time}", beat.bar, beat.place),
        None => time,
    };
    let hint = "Where the sound is: bar.beat and minutes. Arrow keys go by beats and bars";
    cell(ui, 124.0, RichText::new(text).strong()).on_hover_text(hint);
    cell(ui, 84.0, RichText::new(rounds(snapshot)).weak());
}

/// "round 2 of 4"; nothing while nothing goes round.
fn rounds(snapshot: &Snapshot) -> String {
    let (transport, practice) = (&snapshot.transport, &snapshot.practice);
    let round = transport.round;
    if !transport.playing || !practice.loop_on || round == 0 {
        return String::new();
    }
    if let Some(of) = transport.rounds {
        return format!("round {round} of {of}");
    }
    let ladder = practice.ladder;
    if snapshot.climbs() && ladder.within_ms.is_none() {
        let of = ladder.rounds.max(1);
        return format!("round {} of {of}", (round - 1) % of + 1);
    }
    format!("round {round}")
}

/// A text in a place of its own.
fn cell(ui: &mut Ui, width: f32, text: RichText) -> egui::Response {
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    let inside = ui.allocate_ui_with_layout(vec2(width, LOW), layout, |ui| {
        ui.set_width(width);
        ui.add(egui::Label::new(text).truncate())
    });
    inside.inner
}

/// One button: counts in, records, plays along; again to stop.
fn take(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let (text, name) = match (snapshot.capture, snapshot.transport.count_in) {
        (CaptureView::Off, _) => ("Record".to_owned(), "Record".to_owned()),
        (CaptureView::Calibrating, _) => (
            "Listening".to_owned(),
            "Listening for the clicks".to_owned(),
        ),
        (_, Some(left)) => (
            format!("In {left}"),
            format!("Recording starts in {left} beats"),
        ),
        (CaptureView::Armed(_), None) => (
            "Ready".to_owned(),
            "Ready: recording starts when the recording runs".to_owned(),
        ),
        (CaptureView::Running { length, .. }, None) => {
            let time = place::clock(Seconds(length.0));
            (time.clone(), format!("Recording, {time}"))
        }
    };
    let on = snapshot.capture != CaptureView::Off;
    let button = Push {
        on,
        icon: Some(if on { Icon::Stop } else { Icon::Record }),
        name: &name,
        deed: Some(Deed::Take),
        alarm: on,
        ..Push::new(
            vec2(88.0, TARGET),
            &text,
            "Counts in, plays, and records you. From standing still: four bars at least, to the loop's end. While it plays: until you press it again",
        )
    };
    if button.show(ui) {
        keys::perform(Deed::Take, snapshot, sight, commands);
    }
}

/// What comes in and what goes out.
fn levels(ui: &mut Ui, snapshot: &Snapshot) {
    let ground = snapshot.look.ground;
    let level = snapshot.level;
    let (area, _) = ui.allocate_exact_size(vec2(70.0, LOW), egui::Sense::hover());
    let (upper, lower) = area.split_top_bottom_at_y(area.center().y);
    meter(
        ui,
        upper.shrink2(vec2(0.0, 1.5)),
        ground,
        "Output",
        level.peak,
    );
    meter(
        ui,
        lower.shrink2(vec2(0.0, 1.5)),
        ground,
        "Input",
        level.input,
    );
}

/// A peak as a bar; in the colour of an alarm where it is about to be clipped.
pub fn meter(ui: &Ui, bar: egui::Rect, ground: Ground, name: &str, peak: f32) {
    let step = LevelView::step(peak);
    let share = f32::from(step) / f32::from(LevelView::STEPS);
    let clips = step == LevelView::STEPS;
    let painter = ui.painter();
    painter.rect_filled(bar, 2.0, theme::ink(ground, Ink::Hair));
    let mut filled = bar;
    filled.set_width(bar.width() * share);
    let ink = if clips { Ink::Alarm } else { Ink::Position };
    painter.rect_filled(filled, 2.0, theme::ink(ground, ink));
    let db = share * 60.0 - 60.0;
    let text = if clips {
        format!("{name} clips: turn it down")
    } else if share > 0.0 {
        format!("{name} {db:.0} dB")
    } else {
        format!("{name} silent")
    };
    let id = ui.scope_id().with(("meter", name));
    let spot = ui.interact(bar, id, egui::Sense::hover());
    spot.widget_info(|| WidgetInfo::labeled(Role::Meter, true, &text));
    spot.on_hover_text(text);
}
