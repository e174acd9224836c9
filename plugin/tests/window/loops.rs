//! Looping and moving about: ends dragged, typed and set by ear, keys that go through the recording,
//! and what is shown being what is heard.

use super::scenes::{heard, looping};
use super::{World, click, commanded, press, usual};
use egui::{Key, Modifiers, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use thumbline::unit::Seconds;
use thumbline_plugin::command::{Command, GridEdit, Way};
use thumbline_plugin::snapshot::{End, Snap};

pub fn drag(harness: &mut Harness<World>, from: egui::Pos2, to: egui::Pos2) -> Vec<Command> {
    harness.hover_at(from);
    harness.run_steps(1);
    harness.drag_at(from);
    harness.run_steps(2);
    for i in 1..=4 {
        let share = i as f32 / 4.0;
        harness.hover_at(from + (to - from) * share);
        harness.run_steps(1);
    }
    harness.drop_at(to);
    commanded(harness)
}

#[test]
fn ends_of_the_loop_are_dragged_on_the_sheet_and_the_overview() {
    let mut harness = usual(looping());
    let end = harness.get_by_label("End of the loop").rect().center();
    // Two beats are 0.5 of a row of four; the row is as wide as from the start to the end.
    let start = harness.get_by_label("Start of the loop").rect().center();
    let to = pos2(end.x - (end.x - start.x) / 2.0, end.y);
    let commands = drag(&mut harness, end, to);
    let [Command::SetRegion(Some((from, to)))] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!((from.0 - 2.9).abs() < 1e-9);
    assert!((to.0 - 4.1).abs() < 0.05, "{to:?}");

    let mut harness = usual(looping());
    let label = "Start of the loop, in the overview";
    let start = harness.get_by_label(label).rect().center();
    let strip = harness.get_by_label("Place in the recording").rect();
    let second = strip.width() / (0.5 + 2.4 * 8.0);
    let commands = drag(&mut harness, start, pos2(start.x + 1.2 * second, start.y));
    let [Command::SetRegion(Some((from, to)))] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!((from.0 - 4.1).abs() < 0.05, "{from:?}");
    assert!((to.0 - 5.3).abs() < 1e-9);
}

/// Pressed on an end and away from it before the window is drawn again: it is the end that is dragged.
#[test]
fn a_quick_hand_drags_the_end_that_it_pressed() {
    for (start, end) in [
        ("Start of the loop", "End of the loop"),
        (
            "Start of the loop, in the overview",
            "End of the loop, in the overview",
        ),
    ] {
        let mut harness = usual(looping());
        let from = harness.get_by_label(end).rect().center();
        let start = harness.get_by_label(start).rect().center();
        let to = pos2(from.x - (from.x - start.x) / 2.0, from.y);
        harness.hover_at(from);
        harness.run_steps(2);
        harness.drag_at(from);
        harness.hover_at(to);
        harness.run_steps(2);
        harness.drop_at(to);
        let commands = commanded(&mut harness);
        let [Command::SetRegion(Some((from, to)))] = commands.as_slice() else {
            panic!("{commands:?}");
        };
        assert!(
            (from.0 - 2.9).abs() < 0.01 && (to.0 - 4.1).abs() < 0.1,
            "{from:?} {to:?}"
        );
    }
}

#[test]
fn ends_of_the_loop_go_by_beats_and_off_beats_and_are_set_by_ear() {
    let mut harness = usual(looping());
    for (modifiers, key, end, by, way) in [
        (
            Modifiers::ALT,
            Key::ArrowLeft,
            End::Start,
            Snap::Beat,
            Way::Earlier,
        ),
        (
            Modifiers::SHIFT,
            Key::ArrowRight,
            End::Finish,
            Snap::Beat,
            Way::Later,
        ),
        (
            Modifiers::ALT,
            Key::ArrowUp,
            End::Start,
            Snap::Slot,
            Way::Later,
        ),
        (
            Modifiers::SHIFT,
            Key::ArrowDown,
            End::Finish,
            Snap::Slot,
            Way::Earlier,
        ),
    ] {
        let commands = press(&mut harness, modifiers, key);
        assert_eq!(commands, [Command::MoveEnd(end, by, way)]);
    }
    let here = Seconds(3.6);
    let commands = press(&mut harness, Modifiers::NONE, Key::S);
    let looped = |from, to| [Command::SetRegion(Some((from, to))), Command::SetLoop(true)];
    assert_eq!(commands, looped(here, Seconds(5.3)));
    let commands = press(&mut harness, Modifiers::NONE, Key::F);
    assert_eq!(commands, looped(Seconds(2.9), here));
}

#[test]
fn keys_go_through_the_recording() {
    let mut snapshot = heard(8);
    snapshot.transport.position = Seconds(3.6);
    let mut harness = usual(snapshot);
    for (key, to) in [
        (Key::ArrowLeft, 3.5),
        (Key::ArrowRight, 4.1),
        (Key::ArrowUp, 2.9),
        (Key::ArrowDown, 5.3),
        (Key::Home, 0.0),
        (Key::End, 0.5 + 2.4 * 7.0),
    ] {
        let commands = press(&mut harness, Modifiers::NONE, key);
        let [Command::Seek(place)] = commands.as_slice() else {
            panic!("{key:?}: {commands:?}");
        };
        assert!((place.0 - to).abs() < 1e-6, "{key:?}: {place:?}");
    }
    let far = press(&mut harness, Modifiers::NONE, Key::PageDown);
    let [Command::Seek(place)] = far.as_slice() else {
        panic!("{far:?}");
    };
    assert!(place.0 > 5.3 + 1.0, "{place:?}");
}

#[test]
fn the_sheet_comes_along_when_the_sound_is_brought_elsewhere() {
    let mut harness = usual(heard(60));
    assert!(harness.query_by_label("Bar 50").is_none());
    // Stopped: bar 50 is sought by key, by the overview, by anything.
    harness.state_mut().snapshot.transport.position = Seconds(0.5 + 2.4 * 49.0);
    harness.run_steps(4);
    harness.get_by_label("Bar 50");
}

#[test]
fn a_stretch_is_typed_as_it_is_said() {
    let mut harness = usual(looping());
    let field = |harness: &mut Harness<World>, text: &str| {
        harness.get_by_label("Looped: bar 2").focus();
        harness.run_steps(2);
        harness.state_mut().sight.loop_text = Some(text.to_owned());
        harness.run_steps(1);
        harness.key_press(Key::Enter);
        commanded(harness)
    };
    let commands = field(&mut harness, "3.2-3.3");
    let [Command::LoopFromTo(from, to), Command::SetLoop(true)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!((from.0 - 5.9).abs() < 1e-6 && (to.0 - 7.1).abs() < 1e-6);
}

#[test]
fn the_speed_shown_is_the_speed_heard() {
    let mut snapshot = looping();
    snapshot.practice.ladder.on = true;
    snapshot.practice.ladder.rounds = 4;
    snapshot.dials.speed = 1.0;
    snapshot.transport.speed = 0.75;
    snapshot.transport.round = 6;
    let mut harness = usual(snapshot);
    let lit = |harness: &Harness<World>, label: &str| {
        use egui_kittest::kittest::NodeT;
        let node = harness.get_by_label(label);
        format!("{:?}", node.accesskit_node().toggled()).contains("True")
    };
    assert!(lit(&harness, "75 %") && !lit(&harness, "100 %"));
    harness.get_by_label("round 2 of 4");
    // A speed chosen by hand is heard at once: the ladder is left.
    let commands = click(&mut harness, "60 %");
    assert!(
        matches!(commands[..], [Command::SetLadder(ladder), Command::SetSpeed(speed)] if !ladder.on && speed == 0.6),
        "{commands:?}"
    );
}

#[test]
fn nothing_of_the_bar_moves() {
    let places = |snapshot| {
        let harness = usual(snapshot);
        ["Loop", "60 %", "Ladder", "Click", "Kept loops", "Balance"]
            .map(|label| harness.get_by_label(label).rect())
    };
    let quiet = places(heard(8));
    let mut busy = looping();
    busy.practice.ladder.on = true;
    busy.transport.round = 17;
    busy.transport.count_in = Some(3);
    busy.dials.click = true;
    assert_eq!(places(busy), quiet);
}

#[test]
fn bar_one_is_where_the_pointer_is() {
    let mut harness = usual(heard(4));
    let head = harness
        .get_by_label("bar 1, beat 3, thumb, with the beat, A2, string 5 open")
        .rect()
        .center();
    harness.hover_at(head);
    harness.run_steps(2);
    let commands = press(&mut harness, Modifiers::NONE, Key::Num1);
    let [Command::EditGrid(GridEdit::BarOne { at })] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!((at.0 - 1.7).abs() < 0.01, "{at:?}");
}
