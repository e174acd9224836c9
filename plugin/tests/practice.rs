//! A practice session as a player has it: a take recorded while the recording plays is heard,
//! answered, kept in the journal and can be heard beside the recording.
//!
//! It runs in a process of its own, whose data folder is a temporary one.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::thread::sleep;
use std::time::{Duration, Instant};
use thumbline::deck::{Block, Controls, Player};
use thumbline::demo;
use thumbline::journal::Journal;
use thumbline::recording::Recording;
use thumbline::unit::Seconds;
use thumbline_plugin::action::Action;
use thumbline_plugin::hub::Hub;
use thumbline_plugin::params::Dials;
use thumbline_plugin::session::Store;
use thumbline_plugin::snapshot::{Hear, Snapshot};

const RATE: u32 = 48_000;
const BLOCK: usize = 512;

/// Runs the test `name` again in a process whose data folder is `folder`; false in that process.
fn apart(name: &str) -> bool {
    if std::env::var_os("THUMBLINE_DATA").is_some() {
        return false;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let status = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", name, "--nocapture"])
        .env("THUMBLINE_DATA", folder.path())
        .status()
        .expect("it runs");
    assert!(status.success(), "{name}: {status}");
    true
}

fn write(path: &Path, sound: &Recording) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for sample in sound.mono() {
        writer.write_sample(sample).expect("room");
    }
    writer.finalize().expect("whole");
}

/// Waits for something to be seen, the deck idling meanwhile.
fn until(hub: &Hub, player: &mut Player, what: &str, seen: impl Fn(&Snapshot) -> bool) -> Snapshot {
    let start = Instant::now();
    loop {
        let snapshot = hub.snapshot();
        if seen(&snapshot) {
            return snapshot;
        }
        assert!(start.elapsed() < Duration::from_mins(2), "no {what}");
        block(player, &[]);
        sleep(Duration::from_millis(5));
    }
}

/// One block; the side input hears `side`. What comes out, left and right.
fn block(player: &mut Player, side: &[f32]) -> [Vec<f32>; 2] {
    let (mut left, mut right) = (vec![0.0; BLOCK], vec![0.0; BLOCK]);
    player.process(&mut Block {
        left: &mut left,
        right: &mut right,
        side: Some((side, side)),
        host: None,
    });
    [left, right]
}

fn power(of: &[f32]) -> f32 {
    of.iter().map(|s| s * s).sum()
}

#[test]
fn a_take_is_answered_kept_and_heard_beside_the_recording() {
    if apart("a_take_is_answered_kept_and_heard_beside_the_recording") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("lesson.wav");
    let piece = demo::recording(RATE).expect("the demo");
    write(&path, &piece.recording);
    let hub = Hub::new(Arc::new(Dials::new(Store::default())));
    let mut player = hub.activate(RATE);
    hub.apply(Action::Load(path), None);
    until(&hub, &mut player, "analysis", |s| {
        s.analysis.ready().is_some()
    });

    // The take: the recording's own sound comes in while it plays, so every note is in its place.
    hub.apply(Action::CaptureTake(true), None);
    hub.tend();
    // Half as loud, to tell it from the recording when both are heard.
    let played: Vec<f32> = piece.recording.mono().iter().map(|s| 0.5 * s).collect();
    let rolling = Controls {
        play: true,
        through: false,
        ..player.controls()
    };
    player.set_controls(rolling);
    for side in played.chunks(BLOCK) {
        block(&mut player, side);
        sleep(Duration::from_micros(500));
    }
    hub.apply(Action::CaptureTake(false), None);
    player.set_controls(Controls {
        play: false,
        ..rolling
    });
    let seen = until(&hub, &mut player, "answer", |s| {
        s.takes.first().is_some_and(|t| t.answer.is_some()) && !s.page.rounds.is_empty()
    });
    let answer = seen.takes[0].answer.as_ref().expect("an answer");
    println!("{:#?}", answer.words);
    assert_eq!(answer.found.rounds.len(), 1);
    assert!(answer.found.same_tune > 0.9);
    let heard = seen.analysis.ready().expect("heard").notes.len();
    assert!(answer.found.pairs.len() * 10 >= heard * 9);
    let whole = answer.found.whole.expect("fingers against thumb");
    assert!(whole.difference.abs().ms() < 2.0, "{whole:?}");

    // The page: in the window and on the disk, once.
    let round = &seen.page.rounds[0];
    assert!((round.speed - 1.0).abs() < 0.01, "{round:?}");
    assert!(seen.page.fault.is_none() && seen.page.sessions.len() == 1);
    let journal = thumbline::home::data()
        .expect("a folder")
        .join("journal.sqlite");
    let rounds = Journal::open(&journal).and_then(|j| j.rounds(None, 9, 0));
    assert_eq!(rounds.expect("a journal").len(), 1);

    // Beside the recording: the take on the right, in step with it.
    hub.apply(Action::Hear(Hear::Beside(0)), None);
    until(&hub, &mut player, "sound of both", |s| !s.practice.mixing);
    hub.apply(Action::Seek(Seconds(4.0)), None);
    hub.tend();
    player.set_controls(rolling);
    let (mut left, mut right) = (0.0, 0.0);
    for _ in 0..200 {
        let [l, r] = block(&mut player, &[]);
        left += power(&l);
        right += power(&r);
    }
    println!("left {left:.3}, right {right:.3}");
    assert!((10.0 * (left / right).log10() - 6.0).abs() < 1.0);

    // One note, once: it begins before its attack and stops after it.
    let note = &seen.analysis.ready().expect("heard").notes[9];
    let end = Seconds(note.time.0 + 0.5);
    hub.apply(Action::HearOnce(note.time, end), None);
    let stopped = until(&hub, &mut player, "end of the note", |s| {
        hub.feet().play.get() == Some(false) && s.transport.position >= end
    });
    assert!((stopped.transport.position - end).0 < 0.2);

    // The thumb alone is another sound than both; both again is the recording.
    hub.apply(Action::Hear(Hear::Balance(-1.0)), None);
    until(&hub, &mut player, "the thumb", |s| !s.practice.mixing);
    hub.apply(Action::Hear(Hear::Balance(0.0)), None);
    let back = until(&hub, &mut player, "both", |s| !s.practice.mixing);
    assert_eq!(back.practice.hear, Hear::Balance(0.0));
}
