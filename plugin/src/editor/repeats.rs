//! What stays in view above the rows: what everything is told against, whose notes are shown, and the
//! strip of what repeats.
//!
//! Each place of the strip is a control of its own: resting on it lights up its notes in the rows.

use super::keys::{self, Deed};
use super::sight::{Scene, Sight};
use super::theme::{self, Brush};
use crate::command::{Command, GridEdit};
use crate::snapshot::Snapshot;
use egui::{Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, vec2};
use thumbline::report::capitalised;
use thumbline::report::sheet::{Hands, Ink};
use thumbline::timing::Reference;

/// Below this height of the page the rows need all of it.
const ROOM: f32 = 330.0;

/// Narrower than this, the choices do not stand side by side.
const NARROW: f32 = 640.0;

/// Draws the switches and, where there is room, the strip.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    sight: &mut Sight,
    scene: &Scene,
    commands: &mut Vec<Command>,
) {
    let tall = ui.available_height() >= ROOM;
    let narrow = ui.available_width() < NARROW;
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        // Where the window is narrow, or everything large, a choice is one button.
        if narrow {
            let against = scene.heard.piece().told().reference.name();
            ui.menu_button(capitalised(against), |ui| references(ui, sight, scene));
            ui.menu_button(hands_name(sight.hands), |ui| hands(ui, sight));
        } else {
            ui.weak("Against");
            references(ui, sight, scene);
            ui.separator();
            hands(ui, sight);
        }
        let fold = ui.selectable_label(snapshot.look.fold, "Fold");
        let hint = "Fold bars that play alike into one row; press its letter to see them again";
        let hint = format!("{hint} ({})", keys::name(Deed::Fold));
        if fold.on_hover_text(hint).clicked() {
            keys::perform(Deed::Fold, snapshot, sight, commands);
        }
        let every = ui.selectable_label(sight.hairs, "As played");
        let hint =
            "Draw every note exactly where it was played, even where nobody hears the difference";
        let hint = format!("{hint} ({})", keys::name(Deed::Hairs));
        if every.on_hover_text(hint).clicked() {
            keys::perform(Deed::Hairs, snapshot, sight, commands);
        }
        if !tall {
            let strip = ui.selectable_label(sight.strip, "What repeats");
            let hint = "All bars on top of each other, in place of the rows";
            if strip.on_hover_text(hint).clicked() {
                sight.strip = !sight.strip;
            }
        }
    });
    let piece = scene.heard.piece();
    let height = scene.sheet.repeats_height(&piece) as f32;
    if !(tall || sight.strip) || height <= 0.0 {
        return;
    }
    let width = ui.available_width();
    let (area, strip) = ui.allocate_exact_size(vec2(width, height), Sense::hover());
    strip.widget_info(|| WidgetInfo::labeled(Role::Group, true, "What repeats"));
    let brush = Brush {
        painter: ui.painter(),
        origin: area.min,
        ground: snapshot.look.ground,
    };
    for shape in &scene.strip {
        brush.paint(shape);
    }
    for (i, repeat) in scene.repeats.iter().enumerate() {
        let rect = brush.area(&repeat.area);
        let id = ui.scope_id().with(("repeat", i));
        let spot = ui.interact(rect, id, Sense::focusable_noninteractive());
        spot.widget_info(|| WidgetInfo::labeled(Role::Note, true, &repeat.text));
        if spot.contains_pointer() || spot.has_focus() {
            sight.lit.clone_from(&repeat.notes);
            sight.lit_take = piece.second.is_some();
            let stroke = Stroke::new(2.0, theme::ink(snapshot.look.ground, Ink::Focus));
            ui.painter()
                .rect_stroke(rect, 3.0, stroke, StrokeKind::Inside);
            spot.on_hover_text(&repeat.text);
        }
    }
    counts(ui, scene, &brush, commands);
}

/// The counted beats under the strip: one that is really the first of its bar is pressed.
fn counts(ui: &Ui, scene: &Scene, brush: &Brush<'_>, commands: &mut Vec<Command>) {
    let piece = scene.heard.piece();
    let beats = piece.grid.beats();
    for (place, area) in scene.sheet.counted(0.0).skip(1) {
        let Some(beat) = beats.iter().find(|b| b.bar >= 1 && b.place == place) else {
            continue;
        };
        let rect = brush.area(&area);
        let number = ui.interact(rect, ui.scope_id().with(("count", place)), Sense::click());
        let label = format!("Beat {place} is really beat 1");
        number.widget_info(|| WidgetInfo::labeled(Role::Button, true, &label));
        if number.hovered() || number.has_focus() {
            let stroke = Stroke::new(2.0, theme::ink(brush.ground, Ink::Focus));
            ui.painter()
                .rect_stroke(rect, 3.0, stroke, StrokeKind::Inside);
        }
        if number.clicked() {
            let at = beat.time;
            commands.push(Command::EditGrid(GridEdit::BarOne { at }));
        }
        let undo = keys::name(Deed::Undo);
        number.on_hover_text(format!(
            "Is this really beat 1? Press it: bar 1 starts here. {undo} takes it back"
        ));
    }
}

/// What everything is told against: one at a time.
fn references(ui: &mut Ui, sight: &mut Sight, scene: &Scene) {
    let taken = scene.heard.second.is_some();
    let choices: &[(Reference, &str)] = if taken {
        &[
            (Reference::Recording, "the recording"),
            (Reference::Thumb, "my own thumb"),
            (Reference::OwnTempo, "the beat"),
        ]
    } else {
        &[
            (Reference::OwnTempo, "the beat"),
            (Reference::Thumb, "the thumb"),
        ]
    };
    let now = scene.heard.piece().told().reference;
    for &(reference, name) in choices {
        let on = now == reference;
        let button = ui.selectable_label(on, name);
        button.widget_info(|| {
            let label = format!("Against {name}");
            WidgetInfo::selected(Role::RadioButton, true, on, label)
        });
        let hint = format!("Early and late are told against {name}");
        if button.on_hover_text(hint).clicked() {
            sight.against = Some(reference);
        }
    }
}

/// Whose notes are shown.
fn hands(ui: &mut Ui, sight: &mut Sight) {
    for hands in [Hands::Both, Hands::Thumb, Hands::Fingers] {
        let on = sight.hands == hands;
        let hint = match hands {
            Hands::Both => "Show the notes of both hands",
            Hands::Thumb => "Show the thumb's notes alone",
            Hands::Fingers => "Show the fingers' notes alone",
        };
        let hint = format!("{hint} ({})", keys::name(Deed::Hands));
        let button = ui.selectable_label(on, hands_name(hands));
        if button.on_hover_text(hint).clicked() {
            sight.hands = hands;
        }
    }
}

fn hands_name(hands: Hands) -> &'static str {
    match hands {
        Hands::Both => "Both hands",
        Hands::Thumb => "Thumb",
        Hands::Fingers => "Fingers",
    }
}
