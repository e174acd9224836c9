//! Tunings, drills, melodies off the beat, and what is taken away.

use crate::bench::{World, answer, click, labels, press, set, sounds, usual, window};
use crate::scenes::tune;
use egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use std::path::PathBuf;
use thumbline::music::note::Role;
use thumbline::music::tuning::Tuning;
use thumbline::report::export::Format;
use thumbline_plugin::command::Command;
use thumbline_plugin::job::Cancel;
use thumbline_plugin::message::Message;
use thumbline_plugin::page_state::{Exercise, Page};
use thumbline_plugin::services::{Said, export};

/// No action from the open recording: it stands on every page.
#[test]
fn which_tuning_it_is_is_seen_at_once() {
    let harness = usual(Some(tune(8)));
    assert!(labels(&harness).iter().any(|l| l.contains("DADGAD")));
}

/// One action to the page; what changes is seen as soon as the tuning is named, and it is kept in one
/// more: four in all with the name.
#[test]
fn an_own_tuning_tells_what_it_changes_sounds_and_is_kept() {
    let mut harness = usual(Some(tune(8)));
    press(&mut harness, Key::F4);
    let all = labels(&harness);
    assert!(
        all.iter().any(|l| l == "DADGAD: the recording’s tuning"),
        "{all:?}"
    );
    // From standard: strings 6, 2 and 1 go down by two frets (any handbook of tunings).
    let moves = |h: &Harness<World>| answer(&h.state().state.study.tunings).moves.clone();
    assert_eq!(
        moves(&harness),
        [
            "stays: everything on string 5 4 3",
            "string 6 is slackened: its notes lie 2 frets higher",
            "string 2 is slackened: its notes lie 2 frets higher",
            "string 1 is slackened: its notes lie 2 frets higher",
        ]
    );
    click(&mut harness, "Hear D4");
    let tone = sounds(harness.state())[0].strokes[0]
        .pitch()
        .expect("a pitch")
        .hz();
    // D4 in equal temperament from A4 = 440 Hz (ISO 16): 293.66 Hz.
    assert!((tone - 293.66).abs() < 0.01, "{tone}");

    let field = "or its strings from the lowest";
    harness.get_by_label(field).focus();
    harness.run_steps(2);
    harness.get_by_label(field).type_text("C G D G A D");
    harness.run_steps(2);
    press(&mut harness, Key::Enter);
    let view = answer(&harness.state().state.study.tunings);
    assert_eq!(view.to, Tuning::parse("C G D G A D").expect("a tuning"));
    assert!(
        view.strain
            .iter()
            .any(|s| s.starts_with("Slack: string 6 ")),
        "{:?}",
        view.strain
    );
    let folder = tempfile::tempdir().expect("a folder");
    let entry = thumbline::preset::write_tuning("My own", &view.to);
    thumbline::preset::keep(folder.path(), "tunings.toml", &entry).expect("kept");
    let (presets, faults) = thumbline::preset::Presets::with_folder(Some(folder.path()));
    assert!(faults.is_empty());
    assert_eq!(presets.tuning("my own").expect("by name").1, view.to);
    // A second one leaves the first; what cannot be read is left alone.
    let entry = thumbline::preset::write_tuning("Another \"one\"", &Tuning::standard());
    thumbline::preset::keep(folder.path(), "tunings.toml", &entry).expect("kept");
    let (presets, _) = thumbline::preset::Presets::with_folder(Some(folder.path()));
    assert!(presets.tuning("my own").is_ok() && presets.tuning("another \"one\"").is_ok());
    let broken = folder.path().join("tunings.toml");
    std::fs::write(&broken, "[[tuning]\nname = 3").expect("written");
    assert!(thumbline::preset::keep(folder.path(), "tunings.toml", &entry).is_err());
    assert_eq!(
        std::fs::read_to_string(&broken).expect("there"),
        "[[tuning]\nname = 3"
    );
}

#[test]
fn every_exercise_has_stages_that_open() {
    let mut harness = usual(Some(tune(8)));
    press(&mut harness, Key::F6);
    for (name, what, first) in [
        (
            "A scale",
            Exercise::Scale,
            "1. D major, every note ringing into the next",
        ),
        (
            "Hammer-ons",
            Exercise::HammerOns,
            "1. hammer-ons, one at a time",
        ),
        ("Slides", Exercise::Slides, "1. slides, one at a time"),
        (
            "Harmonics",
            Exercise::Harmonics,
            "1. harmonics at the 12th, 7th and 5th fret",
        ),
        ("A pattern", Exercise::Pattern, "1. thumb alone"),
    ] {
        click(&mut harness, name);
        assert_eq!(harness.state().state.session.page_state.drills.what, what);
        click(&mut harness, first);
        let last = harness.state().commands.last();
        assert!(
            matches!(last, Some(Command::Drill(job, _)) if job.stage == 0),
            "{name}: {last:?}"
        );
    }
}

/// The tune's melody comes on 1 and after 2, 3 and 4: those after 2 and 3 belong to the next beat, the one
/// after 4 to its own (the next bar's 1 is played).
#[test]
fn a_melody_is_moved_on_the_beat_half_way_and_off_it() {
    let mut harness = usual(Some(tune(8)));
    set(&mut harness, |page_state| page_state.page = Page::OffBeat);
    let view = answer(&harness.state().state.study.off_beat);
    assert_eq!(view.versions.len(), 3);
    let off = |i: usize| -> (usize, usize) {
        let (version, ..) = &view.versions[i];
        let melody = version
            .score
            .notes
            .iter()
            .filter(|n| n.role == Role::Melody);
        let places: Vec<f64> = melody.map(|n| n.at.0).collect();
        (
            places.iter().filter(|at| at.fract() != 0.0).count(),
            places.len(),
        )
    };
    let (on, all) = off(0);
    assert!(on == 0 && all >= 4, "{on} of {all}");
    assert_eq!(off(2), (all, all), "every note off the beat");
    assert_eq!(off(1), (all / 2, all), "every second");
    for (version, strokes, length) in &view.versions {
        let thumb = version.score.notes.iter().filter(|n| n.role == Role::Bass);
        assert!(thumb.clone().all(|n| n.at.0.fract() == 0.0) && thumb.count() > 0);
        // 100 beats a minute, whole bars.
        assert!((length.0 / 2.4 - (length.0 / 2.4).round()).abs() < 1e-9);
        assert!(!strokes.is_empty());
    }
    click(&mut harness, "Hear it: off the beat");
    assert!(sounds(harness.state()).last().expect("a sound").again);
}

#[test]
fn dropped_files_are_opened_or_moved_against_the_beat() {
    let mut harness = usual(Some(tune(8)));
    let drop = |harness: &mut Harness<World>, name: &str| {
        harness
            .state_mut()
            .tell(Message::Command(Command::Drop(PathBuf::from(name))));
        harness.run_steps(2);
    };
    drop(&mut harness, "/nowhere/air.mid");
    let page_state = &harness.state().state.session.page_state;
    assert_eq!(page_state.page, Page::OffBeat);
    assert_eq!(
        page_state.off_beat.file,
        Some(PathBuf::from("/nowhere/air.mid"))
    );
    assert!(
        labels(&harness)
            .iter()
            .any(|l| l.contains("/nowhere/air.mid")),
        "it is said"
    );
    drop(&mut harness, "/music/other.flac");
    let open = harness
        .state()
        .state
        .session
        .recording
        .as_ref()
        .map(|r| r.path.clone());
    assert_eq!(open, Some(PathBuf::from("/music/other.flac")));
}

/// Two actions: the page, and the format. The loop of bar 2 becomes a piece of one bar, in the folder
/// that the player named, under a name that no file has.
#[test]
fn the_phrase_is_taken_away_as_musicxml_in_two_actions() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut harness = usual(Some(tune(8)));
    set(&mut harness, |page_state| {
        page_state.take_away.folder = Some(folder.path().to_owned());
    });
    harness
        .state_mut()
        .tell(Message::Command(Command::SetBars(2, 3)));
    harness.state_mut().commands.clear();
    press(&mut harness, Key::F8);
    assert!(
        labels(&harness).iter().any(|l| l == "bars 2 to 3"),
        "{:?}",
        labels(&harness)
    );
    click(&mut harness, "MusicXML");
    assert_eq!(harness.state().commands.len(), 2, "two actions");
    let (id, job) = harness.state().export().expect("a job");
    let mut said = Vec::new();
    export::run(&job, &Cancel::default(), &mut |a| said.push(a));
    let path = said[0].clone().expect("written");
    assert_eq!(
        path.file_name().and_then(|n| n.to_str()),
        Some("tune, bars 2-3.musicxml")
    );
    let text = std::fs::read_to_string(&path).expect("there");
    assert!(text.contains("<measure number=\"2\"") && !text.contains("<measure number=\"3\""));
    export::run(&job, &Cancel::default(), &mut |a| said.push(a));
    let second = said[1].clone().expect("written");
    assert_eq!(
        second.file_name().and_then(|n| n.to_str()),
        Some("tune, bars 2-3 (2).musicxml")
    );
    harness
        .state_mut()
        .tell(Message::Said(id, Said::Export(Ok(path.clone()))));
    harness.run_steps(2);
    let all = labels(&harness);
    assert!(
        all.iter().any(|l| *l == path.display().to_string()),
        "{all:?}"
    );
}

/// Every format of the command line, of the loop and of all of it.
#[test]
fn every_format_can_be_taken_away() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut harness = window(Some(tune(4)), vec2(1180.0, 1000.0));
    press(&mut harness, Key::F8);
    for whole in [false, true] {
        set(&mut harness, |page_state| {
            page_state.take_away.whole = whole;
            page_state.take_away.folder = Some(folder.path().to_owned());
        });
        for format in Format::ALL {
            harness.state_mut().effects.clear();
            click(&mut harness, format.words().0);
            let (_, job) = harness.state().export().expect("a job");
            assert_eq!((job.format, job.bars.is_none()), (format, whole));
            export::run(&job, &Cancel::default(), &mut |answer| {
                let path = answer.expect("written");
                assert!(
                    std::fs::metadata(path).expect("there").len() > 40,
                    "{format:?}"
                );
            });
        }
    }
}

/// What a page remembers survives a round trip through what the host keeps, and nonsense in it costs
/// nothing else.
#[test]
fn what_the_pages_remember_is_kept() {
    use thumbline_plugin::session::Session;
    let mut session = Session::default();
    session.page_state.page = Page::Neck;
    session.page_state.neck.scale = Some("E minor pentatonic".to_owned());
    session.page_state.pattern.speed = 0.55;
    let back = Session::from_value(session.to_value());
    assert_eq!(back.page_state, session.page_state);
    let mut value = session.to_value();
    value["desk"] = serde_json::json!({ "page": "attic" });
    value["rest_beats"] = serde_json::json!(3);
    let back = Session::from_value(value);
    assert_eq!(back.rest_beats, 3);
    assert_eq!(back.page_state.page, Page::Sheet);
}

/// The player's own string, 12 cents flat of the A that the tuning has, is told as that string and so
/// flat; turning to another page stops listening.
#[test]
fn own_strings_are_told_how_far_they_are_off() {
    use thumbline::unit::MidiNote;
    use thumbline_plugin::effect::Effect;
    use thumbline_plugin::services::take_writer;
    let mut harness = usual(Some(tune(8)));
    press(&mut harness, Key::F4);
    click(&mut harness, "Tune my strings");
    assert!(
        labels(&harness)
            .iter()
            .any(|l| l == "Play one string by itself.")
    );
    let ordered = harness.state().effects.iter().find_map(|e| match e {
        Effect::TakeWriter(id, take_writer::Order::Tune(_)) => Some(*id),
        _ => None,
    });
    let id = ordered.expect("somebody listens");
    let hear = |harness: &mut Harness<World>, pitch: Option<MidiNote>| {
        let said = Said::TakeWriter(take_writer::Answer::Pitch(pitch));
        harness.state_mut().tell(Message::Said(id, said));
        harness.run_steps(2);
    };
    // A2 is MIDI 45.
    hear(&mut harness, Some(MidiNote(45.0 - 0.12)));
    let all = labels(&harness);
    assert!(
        all.iter()
            .any(|l| l == "String 5, A2: 12 cents flat, tighten it"),
        "{all:?}"
    );
    hear(&mut harness, Some(MidiNote(62.01)));
    let all = labels(&harness);
    assert!(all.iter().any(|l| l == "String 1, D4: in tune"), "{all:?}");
    press(&mut harness, Key::F2);
    assert_eq!(harness.state().state.capture.tuning, None);
}

/// The lesson page of the loop: where it goes is asked with a name to propose, then it is written there,
/// whole, and said.
#[test]
fn a_lesson_page_of_the_loop_is_written_where_it_is_wanted() {
    use thumbline_plugin::effect::Effect;
    use thumbline_plugin::services::{Job, page};
    let folder = tempfile::tempdir().expect("a folder");
    let mut harness = usual(Some(tune(4)));
    harness
        .state_mut()
        .tell(Message::Command(Command::SetBars(2, 3)));
    press(&mut harness, Key::F8);
    click(&mut harness, "Lesson page…");
    let proposed = harness.state().effects.iter().find_map(|e| match e {
        Effect::AskForPage(name) => Some(name.clone()),
        _ => None,
    });
    assert_eq!(proposed.as_deref(), Some("tune, bars 2-3.html"));
    let to = folder.path().join("lesson.html");
    harness.state_mut().tell(Message::PageAt(to.clone()));
    let job = harness.state().effects.iter().find_map(|e| match e {
        Effect::Start(id, job) => match &**job {
            Job::Page(job) => Some((*id, job.clone())),
            _ => None,
        },
        _ => None,
    });
    let (id, job) = job.expect("a job");
    assert_eq!(job.bars, (2, 3));
    let mut said = Vec::new();
    page::run(&job, &Cancel::default(), &mut |a| said.push(a));
    assert_eq!(said, [Ok(to.clone())]);
    let text = std::fs::read_to_string(&to).expect("there");
    assert!(
        text.starts_with("<!") && text.trim_end().ends_with("</html>"),
        "whole"
    );
    harness
        .state_mut()
        .tell(Message::Said(id, Said::Page(said[0].clone())));
    harness.run_steps(2);
    let notices = &harness.state().state.notices;
    assert!(
        notices.iter().any(|n| n.text.contains("lesson.html")),
        "{notices:?}"
    );
    // Given up, it says nothing and writes nothing.
    let cancelled = Cancel::default();
    cancelled.cancel();
    let job = page::Job {
        to: folder.path().join("none.html"),
        ..job
    };
    page::run(&job, &cancelled, &mut |a| panic!("{a:?}"));
    assert!(!job.to.exists());
}
