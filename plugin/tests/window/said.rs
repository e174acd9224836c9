//! What the window says: in every state, of what was found, of a take, of the journal.

use super::scenes::{self, answered, heard, with_page};
use super::{World, click, commanded, usual};
use egui::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::unit::Seconds;
use thumbline_plugin::command::Command;
use thumbline_plugin::editor::look;
use thumbline_plugin::editor::sight::Side;
use thumbline_plugin::snapshot::{About, AnalysisView, Hear, Notice, RecordingView, Snapshot};

#[test]
fn an_empty_window_says_what_to_do_first() {
    let mut harness = usual(Snapshot::default());
    harness.get_by_label("Open a recording of a guitar to see thumb and fingers against the beat.");
    assert_eq!(click(&mut harness, "Open the demo"), [Command::OpenDemo]);
    assert_eq!(
        click(&mut harness, "Open a recording…"),
        [Command::AskForRecording]
    );
    harness.state_mut().sight.path = "/music/tune.flac".to_owned();
    harness.run_steps(2);
    let path = PathBuf::from("/music/tune.flac");
    assert_eq!(click(&mut harness, "Open this path"), [Command::Load(path)]);
}

#[test]
fn cautions_are_said_once() {
    let mut harness = usual(Snapshot::default());
    harness.get_by_label(look::CAUTIONS[0]);
    let commands = click(&mut harness, "I have read this");
    let [Command::SetLook(look)] = commands.as_slice() else {
        panic!("{commands:?}");
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
            Command::Cancel,
        ),
        (
            failed,
            AnalysisView::None,
            "tune.wav could not be opened",
            "Open the demo",
            Command::OpenDemo,
        ),
        (
            missing,
            AnalysisView::None,
            "tune.wav is not where it was",
            "Find it…",
            Command::AskForRecording,
        ),
        (
            ready.clone(),
            working,
            "Listening to tune.wav",
            "Cancel",
            Command::Cancel,
        ),
        (
            ready.clone(),
            broken,
            "The notes could not be found",
            "Try again",
            Command::Analyse,
        ),
        (
            ready,
            AnalysisView::None,
            "Find the notes",
            "Find the notes",
            Command::Analyse,
        ),
    ];
    for (recording, analysis, says, button, command) in cases {
        let snapshot = Snapshot {
            recording,
            analysis,
            ..Snapshot::default()
        };
        let mut harness = usual(snapshot);
        harness.get_by_label(says);
        assert_eq!(click(&mut harness, button), [command], "{says}");
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
    let commands = commanded(&mut harness);
    let wanted = [
        Command::SetBars(bar, bar),
        Command::SetLoop(true),
        Command::SetSpeed(0.6),
        Command::Play(true),
    ];
    assert_eq!(commands, wanted);
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
    assert_eq!(click(&mut harness, "Dismiss"), [Command::Dismiss(7)]);
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
    let commands = click(&mut harness, "Hear both");
    assert!(
        matches!(
            commands[..],
            [
                Command::Hear(Hear::Beside(0)),
                Command::LoopFromTo(..),
                Command::SetLoop(true),
                Command::Seek(_),
                Command::Play(true)
            ]
        ),
        "{commands:?}"
    );
    harness.state_mut().snapshot.practice.hear = Hear::Beside(0);
    assert_eq!(
        click(&mut harness, "Hear both"),
        [Command::Hear(Hear::Balance(0.0))]
    );
}

#[test]
fn the_journal_shows_days_rounds_and_what_comes_next() {
    let mut harness = usual(heard(2));
    harness.state_mut().sight.side = Side::Journal;
    harness.run_steps(2);
    harness.get_by_label_contains("This page is still empty");
    assert_eq!(click(&mut harness, "Journal"), [Command::ReadPage]);
    harness.state_mut().snapshot = with_page();
    harness.run_steps(2);
    harness.get_by_label_contains("2026-03-02: 60 %, fingers +24 ms, spread 15 ms");
    harness.get_by_label("bars 5-6");
    harness.get_by_label("+11 ± 9 ms");
    harness.get_by_label_contains("start at 70 %");
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
    assert_eq!(click(&mut harness, "Cancel"), [Command::Cancel]);
}

/// Notes on the page, as a screen reader finds them.
fn notes(harness: &Harness<World>) -> usize {
    let named = |label: &str| harness.query_all_by_label_contains(label).count();
    named("thumb") + named("finger")
}

/// What the mouse holds over the window is told before it is let go, and goes where that said.
#[test]
fn files_held_over_the_window_say_what_becomes_of_them() {
    for (side, said, wanted) in [
        (
            Side::Takes,
            "compared with the recording",
            Command::LoadTake(PathBuf::from("/a/take.wav")),
        ),
        (
            Side::Words,
            "a recording opens",
            Command::Drop(PathBuf::from("/a/take.wav")),
        ),
    ] {
        let mut harness = usual(heard(2));
        harness.state_mut().sight.side = side;
        harness.state_mut().sight.coming = true;
        assert!(commanded(&mut harness).is_empty());
        harness.get_by_label_contains(said);
        let sight = &mut harness.state_mut().sight;
        sight.coming = false;
        sight.came.push(PathBuf::from("/a/take.wav"));
        assert_eq!(commanded(&mut harness), [wanted]);
        assert!(harness.query_by_label_contains(said).is_none());
    }
}
