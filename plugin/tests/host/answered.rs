//! A take recorded while the recording plays: it is heard, answered, kept in the journal and can be
//! heard beside the recording; one hand can be heard without the other, one note by itself.

use crate::bench::{Bench, RATE};
use crate::faults::{again, in_own_folder, is_again};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;
use thumbline::demo;
use thumbline::journal::Journal;
use thumbline::recording::Recording;
use thumbline::report::wav::{self, Depth};
use thumbline::unit::Seconds;
use thumbline_plugin::command::Command;
use thumbline_plugin::data::data_dir;
use thumbline_plugin::snapshot::{Hear, Snapshot};

const BLOCK: usize = 512;

fn write(path: &Path, sound: &Recording) {
    let mut file = std::fs::File::create(path).expect("a file");
    wav::write(&mut file, RATE, &[sound.mono()], Depth::Float32).expect("room");
}

/// Waits for something to be seen, the deck going on meanwhile.
fn seen(bench: &mut Bench, what: &str, done: impl Fn(&Snapshot) -> bool) -> Snapshot {
    bench.until(what, |instance| done(&instance.snapshot()));
    bench.instance.snapshot()
}

/// Plays two seconds from 4 s on, stops, and gives the power of both sides.
fn power(bench: &mut Bench) -> [f32; 2] {
    bench.instance.apply(Command::Seek(Seconds(4.0)), None);
    bench.instance.tick();
    bench.controls.play = true;
    let mut sum = [0.0; 2];
    for _ in 0..200 {
        let sides = bench.render(&[0.0; BLOCK], None);
        for (sum, side) in sum.iter_mut().zip(&sides) {
            *sum += side.iter().map(|s| s * s).sum::<f32>();
        }
    }
    bench.controls.play = false;
    sum
}

#[test]
fn a_take_is_answered_kept_and_heard_beside_the_recording() {
    in_own_folder(
        "answered::a_take_is_answered_kept_and_heard_beside_the_recording",
        session,
    );
}

#[test]
fn the_demo_comes_in_its_tuning() {
    in_own_folder("answered::the_demo_comes_in_its_tuning", || {
        let mut bench = Bench::new();
        bench.instance.apply(Command::OpenDemo, None);
        let snapshot = seen(&mut bench, "heard", |s| s.analysis.ready().is_some());
        let tuning = &snapshot.analysis.ready().expect("heard").tuning;
        assert_eq!(*tuning, demo::tune().tuning);
    });
}

#[test]
fn a_round_that_was_kept_stays_kept_when_the_program_dies() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = again("answered::keeps_a_round_until_killed", folder.path(), None);
    let out = child.stdout.take().expect("its output");
    let mut lines = BufReader::new(out).lines().map_while(Result::ok);
    assert!(lines.any(|line| line.starts_with("enough")));
    child.kill().expect("killed");
    child.wait().expect("gone");
    let mut child = again("answered::finds_the_round_kept", folder.path(), None);
    assert!(child.wait().expect("its end").success());
}

#[test]
#[ignore = "the process that is killed: keeps a round of a take"]
fn keeps_a_round_until_killed() {
    if !is_again() {
        return;
    }
    let path = data_dir().join("lesson.wav");
    let piece = demo::recording(RATE).expect("the demo");
    write(&path, &piece.recording);
    let mut bench = Bench::opened(&path);
    seen(&mut bench, "heard", |s| s.analysis.ready().is_some());
    bench.controls.play = true;
    bench.instance.apply(Command::CaptureTake(true), None);
    let played = piece.recording.mono();
    for (k, side) in played.chunks(BLOCK).enumerate() {
        bench.render(&[0.0; BLOCK], Some(side));
        sleep(Duration::from_micros(500));
        if k == played.len() / BLOCK / 2 {
            bench.instance.apply(Command::KeepRound, None);
        }
    }
    loop {
        println!("enough");
        bench.render(&[0.0; BLOCK], Some(&[0.0; BLOCK]));
        sleep(Duration::from_millis(10));
    }
}

#[test]
#[ignore = "the process that comes after the one that was killed"]
fn finds_the_round_kept() {
    if !is_again() {
        return;
    }
    let mut bench = Bench::opened(&data_dir().join("lesson.wav"));
    let found = seen(&mut bench, "in the journal", |s| !s.page.rounds.is_empty());
    let kept = found.page.rounds.iter().filter(|r| r.note == "kept");
    assert_eq!(kept.count(), 1, "{:?}", found.page.rounds);
}

fn session() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("lesson.wav");
    let piece = demo::recording(RATE).expect("the demo");
    write(&path, &piece.recording);
    let mut bench = Bench::opened(&path);
    bench.controls.through = false;
    seen(&mut bench, "heard", |s| s.analysis.ready().is_some());
    take(&mut bench, &piece.recording);
    // Everything that was recorded has been listened to once the take is there.
    let taped = seen(&mut bench, "taped", |s| !s.takes.is_empty());
    was_heard_along(&taped);
    let answered = seen(&mut bench, "answered", |s| {
        s.takes.first().is_some_and(|t| t.answer.is_some()) && !s.page.rounds.is_empty()
    });
    is_answered(&answered);
    is_kept(&answered);

    // Beside the recording: the take on the right, in step with it.
    let plain = power(&mut bench);
    bench.instance.apply(Command::Hear(Hear::Beside(0)), None);
    seen(&mut bench, "both", |s| !s.practice.mixing);
    let [left, right] = power(&mut bench);
    println!("left {left:.3}, right {right:.3}");
    assert!((10.0 * (left / right).log10() - 6.0).abs() < 1.0);

    // The thumb alone is less than both; both again is the recording.
    bench
        .instance
        .apply(Command::Hear(Hear::Balance(-1.0)), None);
    seen(&mut bench, "the thumb", |s| !s.practice.mixing);
    let thumb = power(&mut bench);
    assert!(thumb[0] < 0.9 * plain[0], "{thumb:?} of {plain:?}");
    bench
        .instance
        .apply(Command::Hear(Hear::Balance(0.0)), None);
    let back = seen(&mut bench, "both again", |s| !s.practice.mixing);
    assert_eq!(back.practice.hear, Hear::Balance(0.0));
    let again = power(&mut bench);
    assert!((again[0] / plain[0] - 1.0).abs() < 0.01);

    once(&mut bench, &answered);
}

/// The recording's own sound comes in while it plays, so every note is in its place; half as loud,
/// to tell it from the recording when both are heard.
fn take(bench: &mut Bench, recording: &Recording) {
    bench.instance.apply(Command::CaptureTake(true), None);
    bench.instance.tick();
    let played: Vec<f32> = recording.mono().iter().map(|s| 0.5 * s).collect();
    bench.controls.play = true;
    for side in played.chunks(BLOCK) {
        bench.render(&[0.0; BLOCK], Some(side));
        sleep(Duration::from_micros(500));
    }
    bench.instance.apply(Command::CaptureTake(false), None);
    bench.controls.play = false;
}

/// While it was played, nearly every note had its head within a few milliseconds of its place.
fn was_heard_along(snapshot: &Snapshot) {
    let heads = &snapshot.along.heads;
    let notes = snapshot.analysis.ready().expect("heard").notes.len();
    let mut off: Vec<f64> = heads.iter().map(|h| h.late.abs().ms()).collect();
    off.sort_by(f64::total_cmp);
    println!(
        "{} of {notes} notes heard along, {:.1} ms off (p90)",
        heads.len(),
        off[off.len() * 9 / 10]
    );
    assert!(heads.len() * 10 >= notes * 9);
    assert!(off[off.len() * 9 / 10] < 6.0);
}

fn is_answered(snapshot: &Snapshot) {
    let answer = snapshot.takes[0].answer.as_ref().expect("an answer");
    println!("{:#?}", answer.words);
    assert_eq!(answer.found.rounds.len(), 1);
    assert!(answer.found.same_tune > 0.9);
    let heard = snapshot.analysis.ready().expect("heard").notes.len();
    assert!(answer.found.pairs.len() * 10 >= heard * 9);
    let whole = answer.found.whole.expect("fingers against thumb");
    assert!(whole.difference.abs().ms() < 2.0, "{whole:?}");
}

/// On the page in the window and on the disk, once.
fn is_kept(snapshot: &Snapshot) {
    let round = &snapshot.page.rounds[0];
    assert!((round.speed - 1.0).abs() < 0.01, "{round:?}");
    assert!(snapshot.page.fault.is_none() && snapshot.page.sessions.len() == 1);
    let journal = Journal::usual_place().expect("a folder");
    let journal = Journal::open(&journal).expect("a journal");
    let rounds = journal.rounds(None, 9, 0).expect("its rounds");
    assert_eq!(rounds.len(), 1);
    let takes = journal.takes().expect("its takes");
    assert_eq!(rounds[0].take, Some(takes[0].hash));
    let sound = thumbline::load::load(&takes[0].file).expect("the take as FLAC");
    assert_eq!(sound.hash(), takes[0].hash);
}

/// One note, once: the deck stops after it.
fn once(bench: &mut Bench, snapshot: &Snapshot) {
    let note = &snapshot.analysis.ready().expect("heard").notes[9];
    let end = Seconds(note.time.0 + 0.5);
    bench
        .instance
        .apply(Command::HearOnce(note.time, end), None);
    bench.controls.play = true;
    let instance = bench.instance.clone();
    let stopped = seen(bench, "stopped", |s| {
        instance.switches().play.get() == Some(false) && s.transport.position >= end
    });
    assert!((stopped.transport.position - end).0 < 0.2);
}
