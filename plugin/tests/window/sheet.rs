//! The bar sheet under a hand: alike bars in one row, a note heard and proved, bars drawn as a loop, what
//! the other mouse button offers.

use super::loops::drag;
use super::scenes::{along, answered, heard};
use super::{World, click, commanded, press, usual};
use egui::{Key, Modifiers, PointerButton, Role};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use thumbline::unit::Seconds;
use thumbline_plugin::command::{Command, GridEdit, NoteEdit};
use thumbline_plugin::snapshot::Snapshot;

/// Labels of all buttons that begin so.
fn buttons(harness: &Harness<World>, begin: &str) -> Vec<String> {
    harness
        .get_all_by_role(Role::Button)
        .filter_map(|n| n.accesskit_node().label())
        .filter(|label| label.starts_with(begin))
        .collect()
}

fn folded(mut snapshot: Snapshot) -> Harness<'static, World> {
    snapshot.look.fold = true;
    usual(snapshot)
}

#[test]
fn bars_that_play_alike_are_one_row_and_open() {
    let mut harness = usual(heard(8));
    let commands = press(&mut harness, Modifiers::NONE, Key::O);
    let [Command::SetLook(look)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!(look.fold);
    harness.state_mut().snapshot.look.fold = true;
    harness.run_steps(3);
    let name = "Pattern A, bars 1 to 8";
    let strokes = buttons(&harness, name);
    assert_eq!(strokes.len(), 8, "{strokes:#?}");
    let late =
        "Pattern A, bars 1 to 8, the and of 2, fingers, string 2, 8 times, 25 ms late, 8 of 8";
    assert!(strokes.iter().any(|s| s == late), "{strokes:#?}");
    assert!(buttons(&harness, "Bar 2").is_empty());
    harness.get_by_label(name).click();
    harness.run_steps(3);
    assert!(
        harness.query_by_label("Bar 2").is_some(),
        "its bars stand below it"
    );
    harness.get_by_label(name).click();
    harness.run_steps(3);
    assert!(harness.query_by_label("Bar 2").is_none());
    // A take is folded with it.
    let harness = folded(answered());
    let taken: Vec<String> = harness
        .get_all_by_role(Role::Label)
        .filter_map(|n| n.accesskit_node().value())
        .filter(|label| label.starts_with("your take: Pattern A"))
        .collect();
    assert_eq!(taken.len(), 8, "{taken:#?}");
}

#[test]
fn the_row_of_a_pattern_follows_the_sound_of_all_its_bars() {
    let mut snapshot = heard(8);
    snapshot.transport.playing = true;
    snapshot.transport.position = Seconds(0.5 + 2.4 * 6.0 + 0.6);
    snapshot.practice.loop_on = true;
    let mut harness = folded(snapshot);
    harness.run_steps(2);
    let (sight, snapshot) = {
        let world = harness.state_mut();
        (std::mem::take(&mut world.sight), world.snapshot.clone())
    };
    let mut sight = sight;
    let scene = sight.latest(&snapshot).expect("laid out");
    let place = scene
        .sheet
        .place(&scene.heard.piece(), snapshot.transport.position);
    assert_eq!(place.map(|p| p.row), Some(0));
    let seen = sight.in_view(&scene);
    assert_eq!(seen.len(), 1, "{seen:?}");
    assert!((seen[0].1 - seen[0].0).0 > 2.4 * 7.9, "{seen:?}");
}

const NOTE: &str = "bar 1, beat 2, thumb, with the beat, D3, string 4 open";

fn press_note(harness: &mut Harness<World>) {
    harness.get_by_role_and_label(Role::Button, NOTE).click();
}

#[test]
fn a_note_is_heard_by_a_click_and_proved_by_two() {
    let mut harness = usual(heard(8));
    press_note(&mut harness);
    let commands = commanded(&mut harness);
    let [Command::HearOnce(from, to)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!(from.0 < 1.103 && 1.103 < to.0);
    assert!(harness.state().sight.chosen.is_some());
    assert_eq!(harness.state().sight.close_up, None);
    // The second click of a double one; steps here are longer than a player's.
    harness
        .ctx
        .options_mut(|o| o.input_options.max_double_click_delay = 5.0);
    press_note(&mut harness);
    commanded(&mut harness);
    assert_eq!(harness.state().sight.close_up, Some(1));
    harness.run_steps(3);
    let told = harness.get_by_label_contains("Bar 1 close up. ");
    let picture = told.rect();
    // A click into the picture is heard from there; the chosen note of another bar takes it along.
    harness.hover_at(picture.center());
    harness.run_steps(1);
    harness.drag_at(picture.center());
    harness.run_steps(1);
    harness.drop_at(picture.center());
    let commands = commanded(&mut harness);
    let [Command::HearOnce(from, to)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert!(
        (1.2..2.2).contains(&from.0) && (to.0 - 2.9).abs() < 1e-6,
        "{from:?} {to:?}"
    );
    for _ in 0..8 {
        press(&mut harness, Modifiers::NONE, Key::Period);
    }
    assert_eq!(harness.state().sight.close_up, Some(2));
    // While it plays a click only chooses.
    let mut snapshot = heard(8);
    snapshot.transport.playing = true;
    let mut harness = usual(snapshot);
    press_note(&mut harness);
    assert_eq!(commanded(&mut harness), []);
}

#[test]
fn the_other_button_says_what_can_be_done() {
    let mut harness = usual(heard(8));
    harness
        .get_by_role_and_label(Role::Button, NOTE)
        .click_secondary();
    harness.run_steps(3);
    harness.get_by_label_contains("Its bar close up").click();
    harness.run_steps(3);
    assert_eq!(harness.state().sight.close_up, Some(1));
    harness
        .get_by_role_and_label(Role::Button, NOTE)
        .click_secondary();
    harness.run_steps(3);
    // The panel at the right offers the same.
    harness
        .get_all_by_label_contains("It was a finger")
        .min_by(|a, b| a.rect().left().total_cmp(&b.rect().left()))
        .expect("the menu's")
        .click();
    let commands = commanded(&mut harness);
    assert!(
        matches!(commands[..], [Command::EditNote(NoteEdit::SetRole { .. })]),
        "{commands:?}"
    );
    // On an empty place of the page.
    let mut harness = usual(heard(8));
    let row = harness.get_by_label("Bar 2").rect();
    let at = egui::pos2(row.right() + 220.0, row.center().y + 3.0);
    harness.hover_at(at);
    harness.run_steps(1);
    for pressed in [true, false] {
        harness.event(egui::Event::PointerButton {
            pos: at,
            button: PointerButton::Secondary,
            pressed,
            modifiers: Modifiers::NONE,
        });
        harness.run_steps(2);
    }
    click(&mut harness, "Loop bar 2");
    let mut harness = usual(heard(8));
    harness.hover_at(at);
    harness.run_steps(1);
    let commands = press(&mut harness, Modifiers::NONE, Key::Num1);
    assert!(matches!(
        commands[..],
        [Command::EditGrid(GridEdit::BarOne { .. })]
    ));
}

#[test]
fn bars_are_looped_along_their_numbers_and_a_click_plays_from_there() {
    let mut harness = usual(heard(8));
    let from = harness.get_by_label("Bar 1").rect().center();
    let to = harness.get_by_label("Bar 3").rect().center();
    let commands = drag(&mut harness, from, to);
    assert_eq!(commands, [Command::SetBars(1, 3), Command::SetLoop(true)]);
    let commands = drag(&mut harness, to, from);
    assert_eq!(commands, [Command::SetBars(1, 3), Command::SetLoop(true)]);
    // Over the page from one row to another.
    let (a, b) = (
        from + egui::vec2(200.0, -16.0),
        to + egui::vec2(300.0, -16.0),
    );
    let commands = drag(&mut harness, a, b);
    let [
        Command::SetRegion(Some((start, end))),
        Command::SetLoop(true),
    ] = commands.as_slice()
    else {
        panic!("{commands:?}");
    };
    assert!(
        (0.5..2.9).contains(&start.0) && (5.3..7.7).contains(&end.0),
        "{start:?} {end:?}"
    );
    harness.hover_at(a);
    harness.run_steps(1);
    harness.drag_at(a);
    harness.run_steps(1);
    harness.drop_at(a);
    let commands = commanded(&mut harness);
    let [Command::Seek(at), Command::Play(true)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    assert_eq!(at, start);
}

/// What is played along lies beside the recording's own head on the side that is told, and on it where nobody
/// hears a difference; the place that the sentence speaks of is lit in the loop alone.
#[test]
fn a_late_pluck_lies_right_of_the_recording_s() {
    let harness = usual(along());
    let at = |role, says: &str| {
        let mut nodes = harness.get_all_by_role(role).filter(|n| {
            let node = n.accesskit_node();
            node.label()
                .or_else(|| node.value())
                .is_some_and(|t| t.starts_with(says))
        });
        nodes.next().expect("in the window").rect().center()
    };
    let recorded = at(Role::Button, "bar 2, the and of 2, fingers");
    let late = at(Role::Label, "you: 42 ms late");
    assert!(
        late.x > recorded.x + 5.0 && (late.y - recorded.y).abs() < 1.0,
        "{late:?} {recorded:?}"
    );
    let on_time = at(Role::Label, "you: 3 ms late");
    let note = at(Role::Button, "bar 2, beat 1, fingers");
    assert!((on_time - note).length() < 1.0, "{on_time:?} {note:?}");
    at(Role::Label, "you left this out");
    at(Role::Label, "you: a note too many");
}

/// Everything at 200 % in a window of 1180 x 760: the strip takes the place of the rows, nothing lies beyond
/// the window's edge.
#[test]
fn at_twice_the_size_the_strip_can_be_read() {
    let mut snapshot = heard(8);
    snapshot.look.scale = 2.0;
    let mut harness = super::window(snapshot, egui::vec2(1180.0, 760.0));
    harness.run_steps(3);
    let group = |harness: &Harness<World>| {
        harness
            .query_by_role_and_label(Role::Group, "What repeats")
            .map(|n| n.rect())
    };
    assert!(group(&harness).is_none());
    click(&mut harness, "What repeats");
    let strip = group(&harness).expect("the strip");
    let window = harness.ctx.content_rect();
    assert!(window.contains_rect(strip), "{strip:?} in {window:?}");
    for label in ["Against the beat", "Both hands", "Fold", "As played"] {
        let at = harness.get_by_label(label).rect();
        assert!(at.right() <= window.right() + 0.5, "{label}: {at:?}");
    }
}
