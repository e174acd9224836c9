//! The window, drawn without a display: labels, focus, keys, dragging, every state, corrections.

mod corrected;
#[allow(unsafe_code, reason = "libjack is a C library")]
mod jack;
mod jobs;
mod loops;
mod painting;
mod said;
mod scenes;
mod sheet;
mod states;

use egui::{Key, Modifiers, Role, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use scenes::{answered, heard, looping, with_take};
use std::sync::Arc;
use thumbline::report::sheet::Ground;
use thumbline::unit::Seconds;
use thumbline_plugin::command::Command;
use thumbline_plugin::editor::{self, keys, sight::Side, sight::Sight};
use thumbline_plugin::snapshot::{AnalysisView, Hear, Snapshot};

#[derive(Default)]
struct World {
    snapshot: Snapshot,
    sight: Sight,
    commands: Vec<Command>,
}

fn window(snapshot: Snapshot, size: egui::Vec2) -> Harness<'static, World> {
    let mut snapshot = snapshot;
    snapshot.look.size = (size.x, size.y);
    let world = World {
        snapshot,
        ..World::default()
    };
    let mut harness = Harness::builder().with_size(size).build_ui_state(
        |ui, world: &mut World| {
            let snapshot = world.snapshot.clone();
            editor::draw(ui, &snapshot, &mut world.sight, &mut world.commands);
        },
        world,
    );
    harness.run_steps(3);
    harness.state_mut().commands.clear();
    harness
}

fn usual(snapshot: Snapshot) -> Harness<'static, World> {
    window(snapshot, vec2(1180.0, 900.0))
}

fn commanded(harness: &mut Harness<World>) -> Vec<Command> {
    harness.run_steps(2);
    std::mem::take(&mut harness.state_mut().commands)
}

fn press(harness: &mut Harness<World>, modifiers: Modifiers, key: Key) -> Vec<Command> {
    harness.key_press_modifiers(modifiers, key);
    commanded(harness)
}

fn click(harness: &mut Harness<World>, label: &str) -> Vec<Command> {
    harness.get_by_label(label).click();
    commanded(harness)
}

#[test]
fn notes_are_labelled_and_come_in_order_of_time() {
    let harness = usual(heard(3));
    let notes: Vec<String> = harness
        .get_all_by_role(Role::Button)
        .filter_map(|n| n.accesskit_node().label())
        .filter(|label| label.starts_with("bar "))
        .collect();
    assert_eq!(notes.len(), 24);
    assert_eq!(
        notes[2],
        "bar 1, beat 2, thumb, with the beat, D3, string 4 open"
    );
    assert_eq!(
        notes[3],
        "bar 1, the and of 2, fingers, 25 ms late (4 % of the beat), C4, string 2 fret 3"
    );
    let bar = |label: &String| label[4..5].parse::<u32>().expect("a bar's number");
    assert!(notes.is_sorted_by_key(bar), "{notes:?}");
}

#[test]
fn focus_goes_through_the_notes_and_chooses_them() {
    let mut harness = usual(heard(2));
    let label = "bar 1, beat 2, thumb, with the beat, D3, string 4 open";
    harness.get_by_label(label).focus();
    harness.run_steps(3);
    assert_eq!(harness.state().sight.side, Side::Note);
    let chosen = harness.state().sight.chosen.expect("a note");
    assert!((chosen.at.0 - 1.103).abs() < 1e-9);
    harness.key_press(Key::Tab);
    harness.run_steps(3);
    let next = harness.state().sight.chosen.expect("a note");
    assert!(next.at > chosen.at);
}

#[test]
fn keys_do_what_their_list_says() {
    let mut harness = usual(looping());
    let none = Modifiers::NONE;
    assert_eq!(
        press(&mut harness, none, Key::Space),
        [Command::Play(false)]
    );
    assert_eq!(press(&mut harness, none, Key::P), [Command::Play(false)]);
    assert_eq!(press(&mut harness, none, Key::L), [Command::SetLoop(false)]);
    assert_eq!(
        press(&mut harness, none, Key::Minus),
        [Command::SetSpeed(0.55)]
    );
    assert_eq!(
        press(&mut harness, none, Key::Equals),
        [Command::SetSpeed(0.65)]
    );
    assert_eq!(press(&mut harness, none, Key::C), [Command::SetClick(true)]);
    assert_eq!(press(&mut harness, none, Key::R), [Command::Record(true)]);
    assert_eq!(
        press(&mut harness, Modifiers::COMMAND, Key::Z),
        [Command::Undo]
    );
    let both = Modifiers::COMMAND | Modifiers::SHIFT;
    assert_eq!(press(&mut harness, both, Key::Z), [Command::Redo]);
    assert_eq!(
        press(&mut harness, Modifiers::COMMAND, Key::Y),
        [Command::Redo]
    );
}

/// Of signs and capitals the windowing layer tells the text alone.
#[test]
fn keys_that_come_as_text_count_as_keys() {
    let text = |harness: &mut Harness<World>, text: &str| {
        harness.event(egui::Event::Text(text.to_owned()));
        commanded(harness)
    };
    let mut harness = usual(looping());
    assert_eq!(text(&mut harness, "+"), [Command::SetSpeed(0.65)]);
    text(&mut harness, ".");
    assert!(harness.state().sight.chosen.is_some());
    text(&mut harness, "?");
    assert!(harness.state().sight.help);
    let capital = text(&mut harness, "L");
    assert_eq!(capital, [Command::SetLoop(false)]);
    let page = press(&mut harness, Modifiers::COMMAND, Key::Num2);
    assert!(
        matches!(page.as_slice(), [Command::SetPageState(_)]),
        "{page:?}"
    );
}

/// Letters typed over an open menu record no take and turn no page; once it is closed they count again.
#[test]
fn letters_over_an_open_menu_do_nothing_behind_it() {
    let none = Modifiers::NONE;
    let mut harness = usual(looping());
    for menu in ["Recent", "Practice"] {
        click(&mut harness, menu);
        for key in [Key::R, Key::C, Key::L, Key::F5] {
            assert_eq!(press(&mut harness, none, key), [], "{menu}");
        }
        assert_eq!(press(&mut harness, none, Key::Escape), [], "{menu}");
        assert_eq!(press(&mut harness, none, Key::R), [Command::Record(true)]);
    }
}

/// What a mouse does in one or two clicks has a key as well.
#[test]
fn loops_takes_ladder_and_tuning_are_reached_by_key() {
    let none = Modifiers::NONE;
    let mut harness = usual(looping());
    let bar = press(&mut harness, none, Key::M);
    assert_eq!(bar, [Command::SetBars(2, 2), Command::SetLoop(true)]);
    let ladder = press(&mut harness, none, Key::I);
    assert!(
        matches!(ladder.as_slice(), [Command::SetLadder(ladder)] if ladder.on),
        "{ladder:?}"
    );
    let load = press(&mut harness, Modifiers::COMMAND, Key::T);
    assert_eq!(load, [Command::AskForTake]);
    // A field has the focus: the text that is typed next is the tuning.
    press(&mut harness, none, Key::N);
    harness.run_steps(2);
    harness.event(egui::Event::Text("C G D G B D capo 2".to_owned()));
    harness.run_steps(1);
    let tuned = press(&mut harness, none, Key::Enter);
    assert!(
        matches!(tuned.as_slice(), [Command::SetTuning(Some(tuning))] if tuning.capo() == 2),
        "{tuned:?}"
    );

    let mut harness = usual(answered());
    let alone = press(&mut harness, none, Key::W);
    assert_eq!(alone[0], Command::Hear(Hear::Alone(0)));
    assert_eq!(alone.last(), Some(&Command::Play(true)));
    harness.state_mut().snapshot.practice.hear = Hear::InTurn(0);
    let over = press(&mut harness, none, Key::W);
    assert_eq!(over, [Command::Hear(Hear::default())]);
}

#[test]
fn every_deed_has_a_key_and_no_key_two() {
    let mut seen = Vec::new();
    for (_, modifiers, key, what) in keys::KEYS {
        assert!(!seen.contains(&(modifiers, key)), "{what}");
        assert!(!keys::text(modifiers, key).is_empty());
        seen.push((modifiers, key));
    }
}

#[test]
fn a_bar_number_loops_its_bar() {
    let mut harness = usual(heard(3));
    let commands = click(&mut harness, "Bar 2");
    assert_eq!(commands, [Command::SetBars(2, 2), Command::SetLoop(true)]);
}

#[test]
fn dragging_in_the_overview_loops() {
    let mut harness = usual(heard(4));
    let strip = harness.get_by_label("Place in the recording").rect();
    let at = |share: f32| egui::pos2(strip.left() + share * strip.width(), strip.center().y);
    harness.hover_at(at(0.25));
    harness.run_steps(1);
    harness.drag_at(at(0.25));
    harness.run_steps(2);
    harness.hover_at(at(0.4));
    harness.run_steps(2);
    harness.hover_at(at(0.5));
    harness.run_steps(2);
    harness.drop_at(at(0.5));
    let commands = commanded(&mut harness);
    let [Command::SetRegion(Some((from, to))), Command::SetLoop(true)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    let end = 0.5 + 2.4 * 4.0;
    assert!((from.0 - 0.25 * end).abs() < 0.05 && (to.0 - 0.5 * end).abs() < 0.05);
}

#[test]
fn a_take_is_drawn_over_the_recording() {
    let harness = usual(with_take());
    let taken: Vec<String> = harness
        .get_all_by_role(Role::Label)
        .filter_map(|n| n.accesskit_node().label().or(n.value()))
        .filter(|label| label.starts_with("your take: bar 1, "))
        .collect();
    assert_eq!(taken.len(), 8, "{taken:?}");
    let second = |label: &&String| label.contains("beat 2, thumb, 27 ms early");
    assert_eq!(taken.iter().filter(second).count(), 1, "{taken:?}");
}

/// Every control of the bar is at least 44 points high and wide.
#[test]
fn targets_are_large() {
    let harness = usual(heard(2));
    for label in [
        "Play", "Loop", "Ladder", "Click", "Record", "60 %", "Words", "Bar 1",
    ] {
        let size = harness.get_by_label(label).rect().size();
        assert!(size.x >= 43.9 && size.y >= 43.9, "{label}: {size:?}");
    }
}

/// Looks change the page and are commanded for, not applied behind the program's back.
#[test]
fn looks_are_asked_for() {
    let mut harness = usual(heard(2));
    harness.state_mut().sight.side = Side::Look;
    harness.run_steps(2);
    let commands = click(&mut harness, "Dark");
    assert!(matches!(&commands[..], [Command::SetLook(look)] if look.ground == Ground::Dark));
    let commands = click(&mut harness, "×8");
    assert!(matches!(&commands[..], [Command::SetLook(look)] if look.magnifier == Some(8)));
}

/// Small and large windows, every scale, every page of the side panel: nothing panics, the run of
/// play stays within reach.
#[test]
fn any_size_and_scale_works() {
    for size in [vec2(320.0, 200.0), vec2(900.0, 600.0), vec2(1600.0, 1000.0)] {
        for scale in [1.0, 2.5] {
            for side in [
                Side::Words,
                Side::Note,
                Side::Beats,
                Side::Takes,
                Side::Journal,
                Side::Sound,
                Side::Look,
            ] {
                let mut snapshot = with_take();
                snapshot.look.scale = scale;
                snapshot.look.strings = true;
                let mut harness = window(snapshot, size);
                harness.state_mut().sight.side = side;
                harness.run_steps(2);
                harness.get_by_label("Play");
            }
        }
    }
}

/// Everything twice as large on a screen of 1600 × 1000: nothing at the top lies over something else, and
/// the pages at the right are reached.
#[test]
fn twice_as_large_nothing_lies_over_anything() {
    let mut snapshot = heard(2);
    let tuning = thumbline::music::tuning::Tuning::parse("C G C G C D").expect("a tuning");
    snapshot.practice.tuning = Some(tuning.clone());
    let AnalysisView::Ready(analysis) = &mut snapshot.analysis else {
        panic!("heard before");
    };
    Arc::make_mut(analysis).tuning = tuning.with_capo(2);
    let mut harness = window(snapshot, vec2(800.0, 500.0));
    let places: Vec<egui::Rect> = ["Open…", "Recent", "Words", "?"]
        .map(|label| harness.get_by_label(label).rect())
        .into_iter()
        .chain([harness.get_by_label_contains("Tuning: ").rect()])
        .collect();
    for (i, a) in places.iter().enumerate() {
        for b in &places[i + 1..] {
            assert!(!a.shrink(1.0).intersects(b.shrink(1.0)), "{a} {b}");
        }
    }
    click(&mut harness, "Words");
    click(&mut harness, "Takes");
    assert_eq!(harness.state().sight.side, Side::Takes);
}

#[test]
fn sizes_have_names() {
    let mut harness = window(heard(2), vec2(1600.0, 1000.0));
    harness.state_mut().sight.side = Side::Look;
    harness.run_steps(2);
    // Desk last: from another size it is a change, too.
    for (name, scale) in [("Stand", 1.5), ("Stage", 2.0), ("Desk", 1.0)] {
        let commands = click(&mut harness, name);
        let Some(look) = commands.iter().rev().find_map(|command| match command {
            Command::SetLook(look) => Some(*look),
            _ => None,
        }) else {
            panic!("{name}: {commands:?}");
        };
        assert!((look.scale - scale).abs() < 1e-6, "{name}: {look:?}");
        harness.state_mut().snapshot.look.scale = scale;
        harness.run_steps(2);
    }
}

/// A tone to hear whether the sound arrives; after other devices were chosen the page is still there.
#[test]
fn the_sound_is_tried_and_chosen_on_one_page() {
    use thumbline_plugin::sound::SoundView;
    let mut snapshot = heard(2);
    let view = SoundView {
        just_chosen: true,
        ..SoundView::default()
    };
    snapshot.sound = Some(Arc::new(view));
    assert_eq!(Sight::opening(&snapshot).side, Side::Sound);
    assert_eq!(Sight::opening(&heard(2)).side, Side::Words);
    let mut harness = usual(snapshot);
    harness.state_mut().sight.side = Side::Sound;
    harness.run_steps(2);
    let commands = click(&mut harness, "Play a test tone");
    let [Command::Sound(tone)] = commands.as_slice() else {
        panic!("{commands:?}");
    };
    // A2 in equal temperament from A4 = 440 Hz (ISO 16): 110 Hz.
    let hz = tone.strokes[0].pitch().expect("a pitch").hz();
    assert!((hz - 110.0).abs() < 1e-6, "{hz}");
}

/// Numbers that are none never reach the painter, and odd recordings do not break the window.
#[test]
fn odd_recordings_are_drawn() {
    for count in [0, 1, 10_000] {
        let mut snapshot = heard(2);
        let mut analysis = scenes::tune(2);
        let model = analysis.notes[0].clone();
        analysis.notes = (0..count)
            .map(|i| {
                let mut note = model.clone();
                note.time = Seconds(0.5 + f64::from(i) * 0.0004);
                note
            })
            .collect();
        if let Some(note) = analysis.notes.first_mut() {
            note.time = Seconds(f64::NAN);
        }
        snapshot.transport.position = Seconds(f64::NAN);
        snapshot.level.peak = f32::NAN;
        snapshot.analysis = AnalysisView::Ready(Arc::new(analysis));
        let mut harness = usual(snapshot);
        harness.run_steps(1);
    }
}

/// Nothing moves, nothing is painted again.
#[test]
fn an_idle_window_asks_for_no_frame() {
    let mut harness = usual(heard(2));
    // `run` stops only when no frame is asked for any more, and fails otherwise.
    harness.run();
}

/// Milliseconds this thread has been at work: its time on a processor where the system tells
/// (Linux), so that other programs do not count; else the time of day.
fn busy() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let on_processor = text.split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
    on_processor.map_or_else(
        || {
            let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
            now.map_or(0.0, |d| d.as_secs_f64() * 1000.0)
        },
        |ns| ns / 1e6,
    )
}

/// A full page at 1600 × 1000 with 3,000 onsets: layout and tessellation.
#[test]
fn a_full_page_is_drawn_in_time() {
    let mut snapshot = heard(375);
    snapshot.transport.position = Seconds(60.0);
    let mut harness = window(snapshot, vec2(1600.0, 1000.0));
    assert_eq!(scenes::tune(375).notes.len(), 3000);
    let mut spent: Vec<f64> = (0..60)
        .map(|i| {
            harness.state_mut().snapshot.transport.position = Seconds(60.0 + 0.1 * f64::from(i));
            let start = busy();
            harness.step();
            let output = harness.output();
            let primitives = harness.ctx.tessellate(output.shapes.clone(), 1.0);
            assert!(!primitives.is_empty());
            busy() - start
        })
        .collect();
    spent.sort_by(f64::total_cmp);
    let p95 = spent[spent.len() * 95 / 100];
    let mean = spent.iter().sum::<f64>() / spent.len() as f64;
    println!(
        "frame: mean {mean:.2} ms, median {:.2} ms, p95 {p95:.2} ms",
        spent[spent.len() / 2]
    );
    assert!(p95 < 8.0, "{p95:.1} ms");
}

#[test]
fn thumb_and_fingers_are_weighed_by_name() {
    let mut harness = usual(heard(4));
    click(&mut harness, "Balance");
    assert_eq!(
        click(&mut harness, "the thumb alone"),
        [Command::Hear(Hear::Balance(-1.0))]
    );
    // Nothing is heard yet: there is nothing to weigh.
    let mut harness = usual(Snapshot {
        analysis: AnalysisView::None,
        ..heard(4)
    });
    click(&mut harness, "Balance");
    assert!(click(&mut harness, "the fingers alone").is_empty());
}

#[test]
fn a_way_to_practise_is_one_choice() {
    let mut harness = usual(Snapshot {
        set_ups: Arc::from(["Slow and climb".to_owned()]),
        ..heard(4)
    });
    click(&mut harness, "Practice");
    assert_eq!(
        click(&mut harness, "Slow and climb"),
        [Command::UseSetUp(0)]
    );
}
