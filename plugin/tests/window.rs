//! The window, drawn without a display: labels, focus, keys, dragging, every state, corrections.

#[path = "window_jack.rs"]
#[allow(unsafe_code, reason = "libjack is a C library")]
mod jack;
#[path = "window_jobs.rs"]
mod jobs;
#[path = "window_loops.rs"]
mod loops;
#[path = "window_painting.rs"]
mod painting;
#[path = "window_scenes.rs"]
mod scenes;
#[path = "window_sheet.rs"]
mod sheet;
#[path = "window_states.rs"]
mod states;

use egui::{Key, Modifiers, Role, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use scenes::{answered, heard, looping, with_page, with_take};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::music::note::Role as Hand;
use thumbline::report::sheet::Ground;
use thumbline::unit::Seconds;
use thumbline_plugin::editor::{self, keys, look, sight::Side, sight::Sight};
use thumbline_plugin::snapshot::{About, AnalysisView, Hear, Notice, RecordingView, Snapshot};
use thumbline_plugin::wish::{GridEdit, NoteEdit, Wish};

#[derive(Default)]
struct World {
    snapshot: Snapshot,
    sight: Sight,
    wishes: Vec<Wish>,
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
            editor::draw(ui, &snapshot, &mut world.sight, &mut world.wishes);
        },
        world,
    );
    harness.run_steps(3);
    harness.state_mut().wishes.clear();
    harness
}

fn usual(snapshot: Snapshot) -> Harness<'static, World> {
    window(snapshot, vec2(1180.0, 900.0))
}

fn wished(harness: &mut Harness<World>) -> Vec<Wish> {
    harness.run_steps(2);
    std::mem::take(&mut harness.state_mut().wishes)
}

fn press(harness: &mut Harness<World>, modifiers: Modifiers, key: Key) -> Vec<Wish> {
    harness.key_press_modifiers(modifiers, key);
    wished(harness)
}

fn click(harness: &mut Harness<World>, label: &str) -> Vec<Wish> {
    harness.get_by_label(label).click();
    wished(harness)
}

#[test]
fn an_empty_window_says_what_to_do_first() {
    let mut harness = usual(Snapshot::default());
    harness.get_by_label("Open a recording of a guitar to see thumb and fingers against the beat.");
    assert_eq!(click(&mut harness, "Open the demo"), [Wish::OpenDemo]);
    assert_eq!(
        click(&mut harness, "Open a recording…"),
        [Wish::AskForRecording]
    );
    harness.state_mut().sight.path = "/music/tune.flac".to_owned();
    harness.run_steps(2);
    let path = PathBuf::from("/music/tune.flac");
    assert_eq!(click(&mut harness, "Open this path"), [Wish::Load(path)]);
}

#[test]
fn cautions_are_said_once() {
    let mut harness = usual(Snapshot::default());
    harness.get_by_label(look::CAUTIONS[0]);
    let wishes = click(&mut harness, "I have read this");
    let [Wish::SetLook(look)] = wishes.as_slice() else {
        panic!("{wishes:?}");
    };
    assert!(look.cautioned);
    harness.state_mut().snapshot.look.cautioned = true;
    harness.run_steps(2);
    assert!(harness.query_by_label("I have read this").is_none());
    harness.state_mut().sight.side = Side::Look;
    harness.run_steps(2);
    harness.get_by_label(look::CAUTIONS[1]);
}

#[test]
fn every_state_says_what_is_and_what_still_works() {
    let name = || "tune.wav".to_owned();
    let ready = heard(1).recording;
    let loading = RecordingView::Loading {
        name: name(),
        progress: Some(0.4),
    };
    let failed = RecordingView::Failed {
        name: name(),
        reason: "It holds no sound.".to_owned(),
    };
    let path = PathBuf::from("/gone/tune.wav");
    let missing = RecordingView::Missing {
        name: name(),
        path,
        hash: None,
    };
    let working = AnalysisView::Working {
        progress: f32::NAN,
        onsets: Arc::from([Seconds(0.5)]),
        so_far: None,
    };
    let broken = AnalysisView::Failed("Out of memory.".to_owned());
    let cases = [
        (
            loading,
            AnalysisView::None,
            "Reading tune.wav",
            "Cancel",
            Wish::Cancel,
        ),
        (
            failed,
            AnalysisView::None,
            "tune.wav could not be opened",
            "Open the demo",
            Wish::OpenDemo,
        ),
        (
            missing,
            AnalysisView::None,
            "tune.wav is not where it was",
            "Find it…",
            Wish::AskForRecording,
        ),
        (
            ready.clone(),
            working,
            "Listening to tune.wav",
            "Cancel",
            Wish::Cancel,
        ),
        (
            ready.clone(),
            broken,
            "The notes could not be found",
            "Try again",
            Wish::Analyse,
        ),
        (
            ready,
            AnalysisView::None,
            "Find the notes",
            "Find the notes",
            Wish::Analyse,
        ),
    ];
    for (recording, analysis, says, button, wish) in cases {
        let snapshot = Snapshot {
            recording,
            analysis,
            ..Snapshot::default()
        };
        let mut harness = usual(snapshot);
        harness.get_by_label(says);
        assert_eq!(click(&mut harness, button), [wish], "{says}");
    }
}

#[test]
fn without_a_beat_the_sheet_says_how_to_give_one() {
    let mut snapshot = heard(2);
    let mut analysis = scenes::tune(2);
    analysis.grid = thumbline::music::grid::Grid::default();
    snapshot.analysis = AnalysisView::Ready(Arc::new(analysis));
    let harness = usual(snapshot);
    let text = "No steady beat was found, so drift is not shown. Tap the beat along to set it.";
    assert!(harness.get_all_by_label(text).count() > 0);
}

#[test]
fn what_is_said_is_of_what_is_heard_now() {
    let mut so_far = scenes::tune(2);
    so_far.grid = thumbline::music::grid::Grid::default();
    let mut snapshot = heard(2);
    snapshot.analysis = AnalysisView::Working {
        progress: 0.9,
        onsets: Arc::from([]),
        so_far: Some(Arc::new(so_far)),
    };
    let mut harness = usual(snapshot);
    harness.run_steps(2);
    // One frame, as when nobody touches the window.
    harness.state_mut().snapshot = heard(2);
    harness.step();
    let text = "No steady beat was found, so drift is not shown. Tap the beat along to set it.";
    assert_eq!(harness.query_all_by_label(text).count(), 0);
    assert!(
        harness
            .query_by_label("What to know, what to practise")
            .is_some()
    );
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
    assert_eq!(press(&mut harness, none, Key::Space), [Wish::Play(false)]);
    assert_eq!(press(&mut harness, none, Key::P), [Wish::Play(false)]);
    assert_eq!(press(&mut harness, none, Key::L), [Wish::SetLoop(false)]);
    assert_eq!(
        press(&mut harness, none, Key::Minus),
        [Wish::SetSpeed(0.55)]
    );
    assert_eq!(
        press(&mut harness, none, Key::Equals),
        [Wish::SetSpeed(0.65)]
    );
    assert_eq!(press(&mut harness, none, Key::C), [Wish::SetClick(true)]);
    assert_eq!(press(&mut harness, none, Key::R), [Wish::Record(true)]);
    assert_eq!(
        press(&mut harness, Modifiers::COMMAND, Key::Z),
        [Wish::Undo]
    );
    let both = Modifiers::COMMAND | Modifiers::SHIFT;
    assert_eq!(press(&mut harness, both, Key::Z), [Wish::Redo]);
    assert_eq!(
        press(&mut harness, Modifiers::COMMAND, Key::Y),
        [Wish::Redo]
    );
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
fn a_chosen_note_can_be_corrected_by_key() {
    let mut harness = usual(heard(2));
    let none = Modifiers::NONE;
    press(&mut harness, none, Key::Period);
    press(&mut harness, none, Key::Period);
    let chosen = harness.state().sight.chosen.expect("the second note");
    let wishes = press(&mut harness, none, Key::T);
    let role = Hand::Bass;
    let which = chosen;
    let (first, second) = (Hand::Bass, Hand::Melody);
    let swapped = |role| Wish::EditNote(NoteEdit::SetRole { which, role });
    assert!(
        wishes == [swapped(first)] || wishes == [swapped(second)],
        "{wishes:?} {role:?}"
    );
    let wishes = press(&mut harness, none, Key::CloseBracket);
    let slot = Seconds(0.5 + 0.3);
    let [Wish::EditNote(NoteEdit::MeantFor { slot: found, .. })] = wishes.as_slice() else {
        panic!("{wishes:?}");
    };
    assert!((*found - slot).abs().0 < 1e-6, "{found:?}");
    let wishes = press(&mut harness, none, Key::H);
    assert!(matches!(wishes[..], [Wish::HearOnce(_, _)]));
    let wishes = press(&mut harness, none, Key::Delete);
    assert_eq!(wishes, [Wish::EditNote(NoteEdit::Remove { which })]);
    assert!(harness.state().sight.chosen.is_none());
    let wishes = press(&mut harness, none, Key::A);
    assert!(
        matches!(&wishes[..], [Wish::EditNote(NoteEdit::Add { note })] if note.time == Seconds(0.0))
    );
}

#[test]
fn corrections_can_be_undone_from_the_panel() {
    let mut snapshot = heard(2);
    snapshot.practice.undoable = 3;
    snapshot.practice.redoable = 1;
    let mut harness = usual(snapshot);
    harness.state_mut().sight.side = Side::Note;
    harness.run_steps(2);
    assert_eq!(click(&mut harness, "Undo (3)"), [Wish::Undo]);
    assert_eq!(click(&mut harness, "Redo (1)"), [Wish::Redo]);
}

#[test]
fn a_note_dragged_along_its_row_is_meant_for_another_slot() {
    let mut harness = usual(heard(2));
    let label = "bar 1, the and of 2, fingers, 25 ms late (4 % of the beat), C4, string 2 fret 3";
    let note = harness.get_by_label(label).rect().center();
    let two = harness
        .get_by_label("bar 1, beat 2, thumb, with the beat, D3, string 4 open")
        .rect()
        .center();
    let three = harness
        .get_by_label("bar 1, beat 3, thumb, with the beat, A2, string 5 open")
        .rect()
        .center();
    assert!(two.x < note.x && note.x < three.x);
    harness.hover_at(note);
    harness.run_steps(1);
    harness.drag_at(note);
    harness.run_steps(2);
    for i in 1..=6 {
        let x = note.x + (three.x - note.x) * i as f32 / 6.0;
        harness.hover_at(egui::pos2(x, note.y));
        harness.run_steps(1);
    }
    harness.drop_at(egui::pos2(three.x, note.y));
    let wishes = wished(&mut harness);
    let [Wish::EditNote(NoteEdit::MeantFor { slot, .. })] = wishes.as_slice() else {
        panic!("{wishes:?}");
    };
    assert!(
        (*slot - Seconds(0.5 + 2.0 * 0.6)).abs().0 < 1e-6,
        "{slot:?}"
    );
}

#[test]
fn a_bar_number_loops_its_bar() {
    let mut harness = usual(heard(3));
    let wishes = click(&mut harness, "Bar 2");
    assert_eq!(wishes, [Wish::SetBars(2, 2), Wish::SetLoop(true)]);
}

#[test]
fn a_sentence_loops_the_bar_it_speaks_of() {
    let mut harness = usual(heard(8));
    let named = |node: &egui_kittest::Node| {
        let label = node.accesskit_node().label().unwrap_or_default();
        label.starts_with("Loop bar")
    };
    let label = {
        let mut buttons = harness.get_all_by_role(Role::Button);
        let button = buttons.find(named).expect("a button");
        button.click();
        button.accesskit_node().label().expect("a label")
    };
    let bar: i32 = label
        .split(' ')
        .nth(2)
        .and_then(|n| n.parse().ok())
        .expect("a number");
    let wishes = wished(&mut harness);
    let wanted = [
        Wish::SetBars(bar, bar),
        Wish::SetLoop(true),
        Wish::SetSpeed(0.6),
        Wish::Play(true),
    ];
    assert_eq!(wishes, wanted);
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
    let wishes = wished(&mut harness);
    let [Wish::SetRegion(Some((from, to))), Wish::SetLoop(true)] = wishes.as_slice() else {
        panic!("{wishes:?}");
    };
    let end = 0.5 + 2.4 * 4.0;
    assert!((from.0 - 0.25 * end).abs() < 0.05 && (to.0 - 0.5 * end).abs() < 0.05);
}

#[test]
fn beats_can_be_tapped_and_set() {
    let mut harness = usual(heard(4));
    harness.state_mut().sight.side = Side::Beats;
    harness.run_steps(2);
    assert_eq!(
        click(&mut harness, "Double"),
        [Wish::EditGrid(GridEdit::Double)]
    );
    assert_eq!(
        click(&mut harness, "Half"),
        [Wish::EditGrid(GridEdit::Halve)]
    );
    harness.state_mut().snapshot.transport.position = Seconds(1.0);
    assert!(
        press(&mut harness, Modifiers::NONE, Key::B).is_empty(),
        "one tap is no beat"
    );
    harness.state_mut().snapshot.transport.position = Seconds(1.6);
    let tap = |at| Wish::EditGrid(GridEdit::Tap { at: Seconds(at) });
    assert_eq!(
        press(&mut harness, Modifiers::NONE, Key::B),
        [tap(1.0), tap(1.6)]
    );
    let wishes = click(&mut harness, "Bar 1 here");
    assert_eq!(
        wishes,
        [Wish::EditGrid(GridEdit::BarOne { at: Seconds(1.6) })]
    );
    let wishes = click(&mut harness, "triplets");
    assert!(matches!(
        wishes[..],
        [Wish::EditGrid(GridEdit::Subdivision { parts: 3, .. })]
    ));
    let swing = |ratio| [Wish::EditGrid(GridEdit::Swing { ratio })];
    assert!(click(&mut harness, "as played").is_empty());
    assert_eq!(click(&mut harness, "from triplets"), swing(Some(2.0)));
    let AnalysisView::Ready(heard) = &mut harness.state_mut().snapshot.analysis else {
        panic!("heard before");
    };
    Arc::make_mut(heard).grid.off_beat = Some(2.0 / 3.0);
    harness.run_steps(2);
    assert!(click(&mut harness, "from triplets").is_empty());
    assert_eq!(click(&mut harness, "as played"), swing(None));
    assert!(harness.query_by_label("Beat 2 of bar 1").is_none());
    click(&mut harness, "Move beats");
    harness.get_by_label("Beat 2 of bar 1");
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

#[test]
fn notices_can_be_put_away() {
    let mut snapshot = heard(1);
    let text = "The take was shortened.".to_owned();
    snapshot.notices = Arc::new([Notice {
        id: 7,
        about: About::Anything,
        text,
        grave: true,
    }]);
    let mut harness = usual(snapshot);
    assert_eq!(click(&mut harness, "All right"), [Wish::Dismiss(7)]);
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

/// Looks change the page and are wished for, not applied behind the desk's back.
#[test]
fn looks_are_wished_for() {
    let mut harness = usual(heard(2));
    harness.state_mut().sight.side = Side::Look;
    harness.run_steps(2);
    let wishes = click(&mut harness, "Dark");
    assert!(matches!(&wishes[..], [Wish::SetLook(look)] if look.ground == Ground::Dark));
    let wishes = click(&mut harness, "×8");
    assert!(matches!(&wishes[..], [Wish::SetLook(look)] if look.magnifier == Some(8)));
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
fn a_take_says_what_it_came_to_and_is_heard_beside_the_recording() {
    let mut harness = usual(answered());
    harness.state_mut().sight.side = Side::Takes;
    harness.run_steps(2);
    let answer = harness.state().snapshot.takes[0].answer.clone();
    let words = &answer.expect("it").words;
    assert!(
        words.iter().any(|w| w.contains("notes answered")),
        "{words:?}"
    );
    // It is drawn over the sheet: the page says what the sheet says, the whole lateness first.
    harness
        .get_by_label("You are 30 ms early throughout. All else here is told with that taken off.");
    let wishes = click(&mut harness, "Hear both");
    assert!(
        matches!(
            wishes[..],
            [
                Wish::Hear(Hear::Beside(0)),
                Wish::LoopFromTo(..),
                Wish::SetLoop(true),
                Wish::Seek(_),
                Wish::Play(true)
            ]
        ),
        "{wishes:?}"
    );
    harness.state_mut().snapshot.practice.hear = Hear::Beside(0);
    assert_eq!(
        click(&mut harness, "Hear both"),
        [Wish::Hear(Hear::Balance(0.0))]
    );
}

#[test]
fn the_journal_shows_days_rounds_and_what_comes_next() {
    let mut harness = usual(heard(2));
    harness.state_mut().sight.side = Side::Journal;
    harness.run_steps(2);
    harness.get_by_label_contains("This page is still empty");
    assert_eq!(click(&mut harness, "Journal"), [Wish::ReadPage]);
    harness.state_mut().snapshot = with_page();
    harness.run_steps(2);
    harness.get_by_label_contains("2026-03-02: 60 %, fingers +24 ms, spread 15 ms");
    harness.get_by_label("bars 5-6");
    harness.get_by_label("+11 ± 9 ms");
    harness.get_by_label_contains("start at 70 %");
}

#[test]
fn thumb_and_fingers_are_weighed_by_name() {
    let mut harness = usual(heard(4));
    click(&mut harness, "Balance");
    assert_eq!(
        click(&mut harness, "the thumb alone"),
        [Wish::Hear(Hear::Balance(-1.0))]
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
    assert_eq!(click(&mut harness, "Slow and climb"), [Wish::UseSetUp(0)]);
}

#[test]
fn the_sheet_fills_in_while_it_is_listened_to() {
    let whole = heard(4);
    let analysis = whole.analysis.ready().expect("heard");
    let so_far = Arc::new(thumbline::analysis::Analysis {
        grid: thumbline::music::grid::Grid::default(),
        ..(**analysis).clone()
    });
    let mut harness = usual(Snapshot {
        analysis: AnalysisView::Working {
            progress: 0.8,
            onsets: analysis.notes.iter().map(|n| n.time).collect(),
            so_far: Some(so_far),
        },
        ..whole.clone()
    });
    harness.get_by_label_contains("Bar sheet");
    harness.get_by_label_contains("Finding the beat");
    assert!(notes(&harness) > 10);
    assert_eq!(click(&mut harness, "Cancel"), [Wish::Cancel]);
}

/// Notes on the page, as a screen reader finds them.
fn notes(harness: &Harness<World>) -> usize {
    let named = |label: &str| harness.query_all_by_label_contains(label).count();
    named("thumb") + named("finger")
}
