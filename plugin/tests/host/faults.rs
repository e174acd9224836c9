//! Bad days: the program is killed while it records or saves, the disk is full, the recording goes
//! away or changes, the host changes its mind, two instances record at once.
//!
//! What is killed or has no room is a process of its own: this test binary, started again.

use crate::bench::{Bench, RATE};
use crate::rig::{noise, recording};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{self, Child, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use thumbline::journal::{Journal, Moment, PracticeRound};
use thumbline::recording::Recording;
use thumbline_plugin::command::Command;
use thumbline_plugin::data;
use thumbline_plugin::job::Cancel;
use thumbline_plugin::services::{Job, Said, journal};
use thumbline_plugin::snapshot::{CaptureView, RecordingView};

/// Set in the processes that this one starts.
const AGAIN: &str = "THUMBLINE_TEST_AGAIN";

pub fn is_again() -> bool {
    std::env::var_os(AGAIN).is_some()
}

/// Runs a test in a process of its own, whose data lie in a folder of its own.
pub fn in_own_folder(name: &str, test: impl FnOnce()) {
    if is_again() {
        test();
        return;
    }
    let dir = tempfile::tempdir().expect("a folder");
    let output = again(name, dir.path(), None)
        .wait_with_output()
        .expect("its end");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}");
    // A name that fits no test would run none and succeed.
    assert!(said.contains("1 passed"), "no test `{name}`: {said}");
    print!("{said}");
}

/// This test binary again, running only the test `name` (its whole path), its data in `data`.
pub fn again(name: &str, data: &Path, limit_kib: Option<u32>) -> Child {
    let own = std::env::current_exe().expect("this test's own path");
    let mut command = process::Command::new("bash");
    // A file that may not grow further is a full disk: the signal ignored, writing fails.
    let limit = limit_kib.map_or(String::new(), |kib| {
        format!("trap '' XFSZ; ulimit -f {kib}; ")
    });
    command
        .args(["-c", &format!("{limit}exec \"$0\" \"$@\"")])
        .arg(own)
        .args(["--exact", name, "--include-ignored"])
        .args(["--nocapture", "--test-threads=1"])
        .env("THUMBLINE_DATA", data)
        .env(AGAIN, "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    command.spawn().expect("started again")
}

fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .map(|entries| entries.filter_map(|e| Some(e.ok()?.path())).collect())
        .unwrap_or_default();
    found.retain(|p| p.extension().is_some_and(|e| e == ending));
    found.sort();
    found
}

#[test]
#[ignore = "the process that is killed: records the track and says how far it is"]
fn records_until_killed() {
    if !is_again() {
        return;
    }
    let mut bench = Bench::new();
    bench.instance.apply(Command::CaptureTrack(true), None);
    let begun = Instant::now();
    loop {
        bench.run(480, false);
        println!("frames {}", bench.frames);
        let due = Duration::from_secs_f64(bench.frames as f64 / f64::from(RATE));
        std::thread::sleep(due.saturating_sub(begun.elapsed()));
    }
}

/// Records, kills the process at a random moment, and finds what is left; the seconds lost.
fn killed(random: &mut impl FnMut() -> f64, frames: std::ops::Range<f64>) -> f64 {
    let dir = tempfile::tempdir().expect("a folder");
    let mut child = again("faults::records_until_killed", dir.path(), None);
    let out = child.stdout.take().expect("its output");
    let goal = frames.start + (frames.end - frames.start) * random();
    let mut reached = 0.0;
    for line in BufReader::new(out).lines().map_while(Result::ok) {
        if let Some(frames) = line.strip_prefix("frames ") {
            reached = frames.parse().expect("a number");
        }
        if reached > goal {
            break;
        }
    }
    child.kill().expect("killed");
    child.wait().expect("gone");
    let kept = files(&dir.path().join("recordings"), "wav");
    assert_eq!(kept.len(), 1);
    assert_eq!(files(&dir.path().join("recordings"), "note").len(), 1);
    let sound = thumbline::load::load(&kept[0]).expect("it can be read");
    // Every sample that is there is the right one.
    let step = sound.channels()[0]
        .windows(2)
        .filter(|w| (w[1] - w[0] - 1.0 / 48_000.0).abs() > 1e-6 && w[1] != 0.0)
        .count();
    assert_eq!(step, 0);
    (reached - sound.frames() as f64) / f64::from(RATE)
}

#[test]
fn a_kill_while_recording_costs_less_than_a_second() {
    let mut random = noise(21);
    for _ in 0..3 {
        let lost = killed(&mut random, 60_000.0..150_000.0);
        println!("killed: {lost:.2} s lost");
        assert!(lost < 1.0, "{lost} s lost");
    }
}

#[test]
#[ignore = "a figure: 200 kills at random moments"]
fn two_hundred_kills() {
    let mut random = noise(23);
    let mut lost: Vec<f64> = (0..200)
        .map(|_| killed(&mut random, 30_000.0..80_000.0))
        .collect();
    lost.sort_by(f64::total_cmp);
    println!(
        "200 kills, every recording found; lost: middle {:.0} ms, most {:.0} ms",
        1000.0 * lost[100],
        1000.0 * lost[199]
    );
}

#[test]
#[ignore = "the process that is killed: saves its state again and again"]
fn saves_until_killed() {
    if !is_again() {
        return;
    }
    let path = data::data_dir().join("state.json");
    for count in 0..u64::MAX {
        let state = serde_json::json!({"count": count, "marks": vec![count; 2000]});
        data::write_whole(&path, state.to_string().as_bytes()).expect("saved");
        println!("saved {count}");
    }
}

#[test]
fn a_kill_while_saving_leaves_a_whole_state() {
    let mut random = noise(22);
    for _ in 0..5 {
        let dir = tempfile::tempdir().expect("a folder");
        let mut child = again("faults::saves_until_killed", dir.path(), None);
        let out = child.stdout.take().expect("its output");
        let goal = (5.0 + 20.0 * random()) as u64;
        let mut told = 0;
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if let Some(count) = line.strip_prefix("saved ") {
                told = count.parse().expect("a number");
            }
            if told >= goal {
                break;
            }
        }
        child.kill().expect("killed");
        child.wait().expect("gone");
        let bytes = std::fs::read(dir.path().join("state.json")).expect("a state");
        let state: serde_json::Value = serde_json::from_slice(&bytes).expect("whole");
        assert!(state["count"].as_u64().is_some_and(|c| c >= told));
        assert_eq!(state["marks"].as_array().map(Vec::len), Some(2000));
    }
}

#[test]
#[ignore = "the process whose disk is full: it says what the player is told"]
fn records_onto_a_full_disk() {
    if !is_again() {
        return;
    }
    let mut bench = Bench::new();
    bench.instance.apply(Command::CaptureTrack(true), None);
    bench.until("full", |instance| {
        let snapshot = instance.snapshot();
        snapshot.notices.iter().any(|n| n.grave) && snapshot.capture == CaptureView::Off
    });
    for notice in bench.instance.snapshot().notices.iter() {
        println!("notice {}", notice.text);
    }
    // It can be armed again.
    bench.run(480, false);
}

#[test]
fn on_a_full_disk_what_was_recorded_is_kept_and_said() {
    let dir = tempfile::tempdir().expect("a folder");
    // 600 KiB are 1.6 s of two channels of floats.
    let child = again("faults::records_onto_a_full_disk", dir.path(), Some(600));
    let output = child.wait_with_output().expect("its end");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}");
    let told = said
        .lines()
        .find_map(|l| Some(l.split_once("notice The recording stopped after ")?.1))
        .unwrap_or_else(|| panic!("nothing was said: {said}"));
    let seconds: f64 = told
        .split(' ')
        .next()
        .and_then(|s| s.parse().ok())
        .expect("how many seconds");
    let kept = files(&dir.path().join("recordings"), "wav");
    let sound = thumbline::load::load(&kept[0]).expect("it can be read");
    let length = sound.frames() as f64 / f64::from(RATE);
    assert!(
        length > 0.9 && seconds > 0.9,
        "{length} s kept, {seconds} told"
    );
    assert!(
        (length - seconds).abs() < 0.06,
        "{length} s kept, {seconds} told"
    );
}

#[test]
fn a_recording_that_goes_away_plays_on_even_at_another_rate() {
    in_own_folder(
        "faults::a_recording_that_goes_away_plays_on_even_at_another_rate",
        || {
            let dir = tempfile::tempdir().expect("a folder");
            let path = recording(dir.path(), "tone.wav", 48_000);
            let mut bench = Bench::opened(&path);
            bench.controls.play = true;
            bench.run(4800, true);
            std::fs::remove_file(&path).expect("deleted");
            let out = bench.run(9600, true);
            assert!(out.iter().any(|s| s.abs() > 0.1), "it fell silent");
            // The host changes its rate: the file would be decoded anew.
            bench.player = bench.instance.activate(44_100);
            bench.until_whole();
            bench.run(4800, true);
            let out = bench.run(9600, true);
            assert!(out.iter().any(|s| s.abs() > 0.1), "it fell silent");
            assert!(bench.said("plays on from memory"));
            let known = bench.instance.dials().store.session().recording;
            assert_eq!(known.map(|r| r.path), Some(path));
        },
    );
}

#[test]
fn a_recording_that_changes_keeps_its_marks_and_says_so() {
    in_own_folder(
        "faults::a_recording_that_changes_keeps_its_marks_and_says_so",
        || {
            let dir = tempfile::tempdir().expect("a folder");
            let path = recording(dir.path(), "tone.wav", 48_000);
            let mut bench = Bench::opened(&path);
            let ends = Some((thumbline::unit::Seconds(1.0), thumbline::unit::Seconds(2.0)));
            bench.instance.apply(Command::SetRegion(ends), None);
            bench
                .instance
                .apply(Command::KeepRegion("mine".into()), None);
            // Another sound under the same name; a minute later, so that the file's date tells.
            let other = recording(dir.path(), "other.wav", 44_100);
            std::fs::rename(&other, &path).expect("changed");
            bench.player = bench.instance.activate(44_100);
            bench.until_whole();
            bench.until("said", |instance| {
                let notices = instance.snapshot().notices;
                notices.iter().any(|n| n.text.contains("has changed"))
            });
            let regions = bench.instance.snapshot().practice.regions;
            assert_eq!(regions.len(), 1);
            assert_eq!(regions[0].name, "mine");
        },
    );
}

#[test]
fn a_side_input_that_disconnects_leaves_the_take_in_step() {
    in_own_folder(
        "faults::a_side_input_that_disconnects_leaves_the_take_in_step",
        || {
            let dir = tempfile::tempdir().expect("a folder");
            let path = recording(dir.path(), "tone.wav", 48_000);
            let mut bench = Bench::opened(&path);
            bench.instance.apply(Command::CaptureTake(true), None);
            bench.controls.play = true;
            bench.run(24_000, true);
            bench.run(24_000, false);
            bench.run(24_000, true);
            bench.instance.apply(Command::CaptureTake(false), None);
            bench.until("taped", |instance| !instance.snapshot().takes.is_empty());
            let take = bench.instance.snapshot().takes[0].clone();
            let file = take.path.expect("a file");
            let sound = thumbline::load::load(&file).expect("it can be read");
            // The input falls back to the main one, frame for frame: nothing is lost or moved.
            assert!(sound.frames() >= 72_000, "{}", sound.frames());
        },
    );
}

#[test]
fn two_instances_record_into_two_files() {
    in_own_folder("faults::two_instances_record_into_two_files", || {
        let (mut one, mut other) = (Bench::new(), Bench::new());
        for bench in [&one, &other] {
            bench.instance.apply(Command::CaptureTrack(true), None);
        }
        for _ in 0..100 {
            one.run(480, false);
            other.run(960, false);
        }
        for bench in [&one, &other] {
            bench.instance.apply(Command::CaptureTrack(false), None);
        }
        let mut lengths = Vec::new();
        let mut paths = Vec::new();
        for bench in [&mut one, &mut other] {
            bench.until_whole();
            if let RecordingView::Ready { sound, path, .. } = bench.instance.snapshot().recording {
                lengths.push(sound.frames());
                paths.push(path.expect("a file"));
            }
        }
        assert_ne!(paths[0], paths[1]);
        assert!(lengths[0] >= 48_000 && lengths[1] >= 96_000, "{lengths:?}");
    });
}

#[test]
fn a_take_that_was_cut_short_is_found_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut child = again("faults::takes_until_killed", dir.path(), None);
    let out = child.stdout.take().expect("its output");
    for line in BufReader::new(out).lines().map_while(Result::ok) {
        if line.starts_with("enough") {
            break;
        }
    }
    child.kill().expect("killed");
    child.wait().expect("gone");
    // The note is old enough once nobody renews it.
    let notes = files(&dir.path().join("takes"), "note");
    assert_eq!(notes.len(), 1);
    let old = std::time::SystemTime::now() - Duration::from_mins(1);
    let note = std::fs::File::options()
        .append(true)
        .open(&notes[0])
        .expect("the note");
    note.set_modified(old).expect("made old");
    drop(note);
    let mut child = again("faults::finds_a_take", dir.path(), None);
    let said = child.wait().expect("its end");
    assert!(said.success());
}

#[test]
#[ignore = "the process that is killed: records a take"]
fn takes_until_killed() {
    if !is_again() {
        return;
    }
    let path = recording(&data::data_dir(), "tone.wav", 48_000);
    let mut bench = Bench::new();
    bench.restore(&path);
    // Before the recording is read to its end, so that nobody knows yet which it is.
    bench.instance.apply(Command::CaptureTake(true), None);
    bench.controls.play = true;
    loop {
        bench.run(480, true);
        std::thread::sleep(Duration::from_millis(8));
        let notes = files(&data::data_dir().join("takes"), "note");
        let note = notes.first().and_then(|n| std::fs::read_to_string(n).ok());
        if note.is_some_and(|n| !n.contains(r#""recording":null"#)) {
            println!("enough");
        }
    }
}

#[test]
#[ignore = "the process that comes after the one that was killed"]
fn finds_a_take() {
    if !is_again() {
        return;
    }
    let mut bench = Bench::opened(&data::data_dir().join("tone.wav"));
    bench.until("found", |instance| instance.snapshot().takes.len() == 1);
    assert!(bench.said("cut short"));
    let take = bench.instance.snapshot().takes[0].clone();
    assert!(take.path.is_some_and(|p| p.is_file()));
    let session = bench.instance.dials().store.session();
    let kept: Vec<_> = session.marks.values().flat_map(|m| &m.takes).collect();
    assert_eq!(kept.len(), 1);
    assert!(!kept[0].places.is_empty());
}

#[test]
fn a_take_waits_for_a_journal_that_another_program_holds() {
    in_own_folder(
        "faults::a_take_waits_for_a_journal_that_another_program_holds",
        || {
            let file = Journal::usual_place().expect("a place");
            drop(Journal::open(&file).expect("opens"));
            let other = rusqlite::Connection::open(&file).expect("opens");
            other.execute_batch("BEGIN EXCLUSIVE").expect("locks");
            let sound = Recording::new("take", 8_000, vec![vec![0.1; 8_000]]).expect("sound");
            let mut work = Job::Journal(journal::Job::Keep {
                rounds: vec![PracticeRound {
                    recording: sound.hash(),
                    name: "tune".into(),
                    tuning: None,
                    at: Moment(1),
                    from_s: 0.0,
                    to_s: 1.0,
                    region: String::new(),
                    speed: 1.0,
                    thumb: None,
                    fingers: None,
                    take: None,
                    note: String::new(),
                    faults: Vec::new(),
                }],
                sound: Arc::new(sound),
                take: "take.wav".into(),
            })
            .work();
            let mut said = Vec::new();
            // The journal itself waits for 5 s.
            let more = work(&Cancel::default(), &mut |answer| said.push(answer));
            assert!(more && said.is_empty(), "given up: {said:?}");
            other.execute_batch("COMMIT").expect("unlocks");
            let more = work(&Cancel::default(), &mut |answer| said.push(answer));
            let kept = |said: &Said| {
                matches!(
                    said,
                    Said::Journal(journal::Answer::Kept { fault: None, .. })
                )
            };
            assert!(!more && said.iter().any(kept), "{said:?}");
            let all = Journal::open(&file).expect("opens").rounds(None, 9, 0);
            assert_eq!(all.expect("read").len(), 1);
        },
    );
}
