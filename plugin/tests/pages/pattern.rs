//! The picking pattern: read, heard alone, changed, drilled.

use crate::bench::{answer, click, labels, press, sounds, usual};
use crate::scenes::tune;
use egui::Key;
use egui_kittest::kittest::Queryable;
use std::path::Path;
use thumbline::music::note::Role;
use thumbline_plugin::command::Command;
use thumbline_plugin::effect::{Dial, Effect};
use thumbline_plugin::job::Cancel;
use thumbline_plugin::page_state::{OfPattern, Page};
use thumbline_plugin::services::{Job, drill};
use thumbline_plugin::snapshot::ClickRate;

/// The tune's bar: thumb on the four beats on strings 6 4 5 4, fingers on 1, 2&, 3& and 4&.
#[test]
fn the_recordings_cell_is_shown_with_its_fingers_and_syncopation() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Pattern");
    assert_eq!(harness.state().commands.len(), 1);
    let all = labels(&harness);
    for stroke in [
        "bar 1, 1, string 6: p",
        "bar 1, 2, string 4: p",
        "bar 1, 3, string 5: p",
        "bar 1, 4, string 4: p",
    ] {
        assert!(all.iter().any(|l| l == stroke), "{stroke}: {all:?}");
    }
    for place in [
        "1, string 1",
        "2&, string 2",
        "3&, string 1",
        "4&, string 3",
    ] {
        let with_finger = |l: &String| {
            let of = l.strip_prefix(&format!("bar 1, {place}: "));
            of.is_some_and(|finger| ["i", "m", "a"].contains(&finger))
        };
        assert!(all.iter().any(with_finger), "{place}: {all:?}");
    }
    let said = "The pattern is one bar of 4/4 long; 8 of 8 bars keep it.";
    assert!(all.iter().any(|l| l == said), "{all:?}");
    assert!(
        all.iter()
            .any(|l| l.starts_with("The melody is pushed at ")),
        "{all:?}"
    );
}

/// Two actions from the open recording, by keys as by mouse.
#[test]
fn the_pattern_is_heard_alone_in_two_actions() {
    let mut harness = usual(Some(tune(8)));
    press(&mut harness, Key::F5);
    click(&mut harness, "Play it alone");
    let world = harness.state();
    assert_eq!(world.commands.len(), 2, "two actions");
    let [sound] = sounds(world)[..] else {
        panic!("one sound");
    };
    assert!(sound.again);
    // 100 beats a minute: whole bars of 2.4 s.
    let bars = sound.length.0 / 2.4;
    assert!(
        (bars - bars.round()).abs() < 1e-6 && bars.round() >= 1.0,
        "{bars}"
    );
    assert_eq!(sound.strokes.len(), 8 * bars.round() as usize);
    assert!(world.state.beside.is_some());
    click(&mut harness, "Silence it");
    assert!(harness.state().state.beside.is_none());
    // It stops where the recording plays.
    click(&mut harness, "Play it alone");
    click(&mut harness, "Play");
    assert!(harness.state().state.beside.is_none());
}

#[test]
fn strokes_are_added_and_taken_away_and_all_of_it_can_be_undone() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Pattern");
    let own = |h: &egui_kittest::Harness<crate::bench::World>| {
        h.state().state.session.page_state.pattern.clone()
    };
    click(&mut harness, "bar 1, 1&, string 3");
    assert_eq!(own(&harness).of, OfPattern::Own);
    assert!(
        own(&harness).own.bars[0].contains("1&:3i"),
        "{:?}",
        own(&harness).own
    );
    harness.get_by_label("bar 1, 2, string 4: p").focus();
    harness.run_steps(2);
    press(&mut harness, Key::Enter);
    assert!(
        !own(&harness).own.bars[0].contains("2:4p"),
        "{:?}",
        own(&harness).own
    );
    click(&mut harness, "Undo");
    assert!(own(&harness).own.bars[0].contains("2:4p"));
    press(&mut harness, Key::U);
    assert_eq!(own(&harness).of, OfPattern::Recording);
    assert!(
        !labels(&harness)
            .iter()
            .any(|l| l == "bar 1, 1&, string 3: i")
    );
}

/// "Drill it off the beat at 70 % with ladder and click": two actions, then it is written, opened,
/// looped and heard with all of its beats exact.
#[test]
fn a_drill_opens_as_a_recording_with_its_exact_grid() {
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Pattern");
    let titles: Vec<String> = {
        let view = answer(&harness.state().state.study.pattern);
        view.stages.iter().map(|s| s.title.clone()).collect()
    };
    assert_eq!(titles[0], "thumb alone");
    let last = titles
        .iter()
        .position(|t| t.contains("the whole pattern"))
        .expect("a whole one");
    let label = format!("{}. {}", last + 1, titles[last]);
    click(&mut harness, &label);
    assert_eq!(harness.state().commands.len(), 2, "two actions");
    let Some(Command::Drill(job, speed)) = harness.state().commands.last().cloned() else {
        panic!("a drill");
    };
    assert!((speed - 0.7).abs() < 1e-9);

    // Written into a folder of its own, it is known by its sound.
    let folder = tempfile::tempdir().expect("a folder");
    let made = drill::write_in(&job, &Cancel::default(), folder.path());
    let (path, stages, first) = made.expect("written").expect("not given up");
    assert_eq!((stages.len(), first), (titles.len(), last));
    let sound = thumbline::load::load(&path).expect("it opens");
    let known = drill::known_in(folder.path(), sound.hash(), None).expect("it is known");
    let (_, from, to) = &stages[first];
    let beats: Vec<f64> = known
        .grid
        .beats()
        .iter()
        .map(|b| b.time.0)
        .filter(|t| (from.0..to.0 - 1e-6).contains(t))
        .collect();
    assert_eq!(beats.len(), 4 * job.bars);
    assert!(
        beats.windows(2).all(|b| (b[1] - b[0] - 0.6).abs() < 1e-9),
        "exact"
    );
    let thumb: Vec<f64> = known
        .notes
        .iter()
        .filter(|n| n.role == Role::Bass && (from.0..to.0).contains(&n.time.0))
        .map(|n| n.time.0)
        .collect();
    assert!(
        thumb
            .iter()
            .all(|t| beats.iter().any(|b| (b - t).abs() < 1e-9)),
        "on the beat"
    );

    // The answer opens it, looped, with ladder and click.
    let world = harness.state_mut();
    let id = world.state.study.drill.as_ref().expect("under way").0;
    let answer = Ok((path.clone(), stages.clone(), first));
    let said = thumbline_plugin::services::Said::Drill(answer);
    world.tell(thumbline_plugin::message::Message::Said(id, said));
    let state = &world.state;
    let region = state
        .marks()
        .and_then(|m| m.region.clone())
        .expect("a loop");
    assert_eq!((region.from, region.to), (*from, *to));
    assert!(state.session.ladder.on && (state.session.ladder.start - 0.7).abs() < 1e-9);
    let dialled = |wanted: Dial| {
        let mut all = world.effects.iter();
        all.any(|e| matches!(e, Effect::Dial(d) if *d == wanted))
    };
    for wanted in [Dial::Loop(true), Dial::Click(true), Dial::Speed(0.7)] {
        assert!(dialled(wanted), "{wanted:?}");
    }
    assert_eq!(state.session.click_rate, ClickRate::Beat);
    assert_eq!(state.session.page_state.page, Page::Sheet);
    assert_eq!(
        state.session.recording.as_ref().map(|r| r.path.as_path()),
        Some(Path::new(&path))
    );
    let opens = |e: &Effect| matches!(e, Effect::Start(_, job) if matches!(**job, Job::Decode(_)));
    assert!(world.effects.iter().any(opens), "it is read");

    // The stage with the click on two and four has it there.
    let backbeat = titles.iter().position(|t| t.contains("two and four"));
    let job = drill::Job {
        stage: backbeat.expect("a stage"),
        ..(*job).clone()
    };
    let command = Command::Drill(Box::new(job), speed);
    world.tell(thumbline_plugin::message::Message::Command(command));
    let id = world.state.study.drill.as_ref().expect("under way").0;
    let said = thumbline_plugin::services::Said::Drill(Ok((path, stages, first)));
    world.tell(thumbline_plugin::message::Message::Said(id, said));
    assert_eq!(world.state.session.click_rate, ClickRate::Backbeat);
}
