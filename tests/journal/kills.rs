//! Killed at any instant: what was said to be kept is there, and every file is whole or not there.
//!
//! A child keeps rounds and takes, backs up, restores, merges and writes reports at random until it
//! is killed; it says what it has kept once it is kept. `cargo xtask soak kills` does it five
//! hundred times.

use super::{day, hash, round};
use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;
use thumbline::dsp::pluck::Chance;
use thumbline::journal::{self, Journal};
use thumbline::load::load;
use thumbline::recording::Recording;
use thumbline::report::file::Target;

const FOLDER: &str = "THUMBLINE_KILLED_IN";
const SEED: &str = "THUMBLINE_KILL_SEED";

fn say(what: &str) {
    let mut out = std::io::stdout();
    writeln!(out, "\n{what}")
        .and_then(|()| out.flush())
        .expect("says so");
}

/// The child; does nothing where it is run as a test.
#[test]
fn act_until_killed() {
    let (Some(folder), Ok(seed)) = (std::env::var_os(FOLDER), std::env::var(SEED)) else {
        return;
    };
    let folder = PathBuf::from(folder);
    let seed: i64 = seed.parse().expect("a number");
    let mut chance = Chance::new(seed as u64);
    let path = folder.join("journal.sqlite");
    drop(Journal::open(&path).expect("opens"));
    say("ready");
    for i in 0i64.. {
        let at = day(0) + seed * 100_000 + i;
        match (chance.signed().abs() * 8.0) as u32 {
            0..=2 => {
                let mut journal = Journal::open(&path).expect("opens");
                journal.keep(&round(1, at, 1.0, 2.0)).expect("keeps");
                say(&format!("round {at}"));
            }
            3 => {
                let level = 0.5 * chance.signed();
                let sound = Recording::new("take", 8_000, vec![vec![level; 4_000]]).expect("sound");
                let mut journal = Journal::open(&path).expect("opens");
                let kept = journal
                    .keep_with_sound(&sound, vec![round(1, at, 1.0, 2.0)])
                    .expect("keeps");
                assert!(kept.soundless.is_none(), "{kept:?}");
                say(&format!("round {at}"));
            }
            4 => {
                let journal = Journal::open(&path).expect("opens");
                journal
                    .back_up(&folder.join("copy.sqlite"))
                    .expect("copies");
            }
            5 if folder.join("copy.sqlite").is_file() => {
                journal::restore(&folder.join("copy.sqlite"), &path).expect("restores");
            }
            6 => {
                let mut journal = Journal::open(&path).expect("opens");
                journal.merge(&folder.join("other.sqlite")).expect("merges");
            }
            _ => {
                let text = format!("{}\n", i % 10).repeat(20_000);
                Target::File(folder.join("lesson.html"))
                    .write(|out| out.write_all(text.as_bytes()))
                    .expect("writes");
            }
        }
    }
}

/// Every round in the journal and in those put aside by a restore.
fn there(folder: &Path) -> BTreeSet<i64> {
    let mut all = BTreeSet::new();
    for entry in std::fs::read_dir(folder).expect("reads") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy();
        let journal = name.starts_with("journal.sqlite")
            && !name.ends_with("-wal")
            && !name.ends_with("-shm")
            && !name.ends_with("-journal");
        if journal || name == "copy.sqlite" {
            let journal = Journal::open(&path).expect("opens after a kill");
            journal.check().expect("sound after a kill");
            let rounds = journal.rounds(None, usize::MAX, 0).expect("reads");
            all.extend(rounds.iter().map(|r| r.at.0));
            if name == "journal.sqlite" {
                for take in journal.takes().expect("reads") {
                    let sound = load(&take.file).expect("a take that is noted is there");
                    assert_eq!(sound.hash(), take.hash);
                }
            }
        }
        if name == "lesson.html" {
            let text = std::fs::read_to_string(&path).expect("reads");
            assert_eq!(text.len(), 40_000, "half a page");
        }
    }
    all
}

fn kill(times: u64) {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let mut other = Journal::open(&folder.join("other.sqlite")).expect("opens");
    for i in 0..20 {
        let mut theirs = round(2, day(1) + i, 1.0, 2.0);
        theirs.recording = hash(2);
        other.keep(&theirs).expect("keeps");
    }
    drop(other);
    let mut said = BTreeSet::new();
    for n in 0..times {
        let mut child = Command::new(std::env::current_exe().expect("this test"))
            .args(["--exact", "journal::kills::act_until_killed", "--nocapture"])
            .env(FOLDER, folder)
            .env(SEED, n.to_string())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("starts");
        // From when it begins, however busy the machine is.
        let mut out = BufReader::new(child.stdout.take().expect("its words"));
        let mut said_first = String::new();
        while !said_first.contains("ready") {
            said_first.clear();
            assert!(
                out.read_line(&mut said_first).expect("text") > 0,
                "it never began"
            );
        }
        std::thread::sleep(Duration::from_micros(500 + (n * 7919) % 90_000));
        child.kill().expect("SIGKILL");
        let mut rest = String::new();
        out.read_to_string(&mut rest).expect("text");
        let output = child.wait_with_output().expect("ends");
        let faults = String::from_utf8_lossy(&output.stderr);
        assert!(!faults.contains("panicked"), "{faults}");
        let out = rest;
        // The last line may have been cut off: only those that end are whole.
        for line in out.split_inclusive('\n').filter(|l| l.ends_with('\n')) {
            said.extend(
                line.trim()
                    .strip_prefix("round ")
                    .and_then(|at| at.parse::<i64>().ok()),
            );
        }
        if n % 20 == 19 {
            let lost: Vec<_> = said.difference(&there(folder)).copied().collect();
            assert!(lost.is_empty(), "after {n} kills: lost {lost:?}");
        }
    }
    let there = there(folder);
    let lost = said.difference(&there).count();
    println!(
        "{times} kills: {} rounds said to be kept, {lost} lost",
        said.len()
    );
    assert_eq!(lost, 0);
    assert!(
        said.len() as u64 > times / 8,
        "killed before anything was done"
    );
}

#[test]
fn forty_kills_lose_nothing() {
    kill(40);
}

#[test]
#[ignore = "takes minutes: cargo xtask soak kills"]
fn five_hundred_kills_lose_nothing() {
    kill(500);
}

/// The child of the test of many programs: keeps a hundred rounds, whoever else does.
#[test]
fn keep_a_hundred() {
    let (Some(folder), Ok(seed)) = (
        std::env::var_os("THUMBLINE_MANY_IN"),
        std::env::var("THUMBLINE_MANY_SEED"),
    ) else {
        return;
    };
    let seed: i64 = seed.parse().expect("a number");
    let path = PathBuf::from(folder).join("journal.sqlite");
    let mut journal = Journal::open(&path).expect("opens");
    for i in 0..100 {
        let mine = round(1, day(seed) + i, 1.0, 2.0);
        while let Err(error) = journal.keep(&mine) {
            assert!(matches!(error, thumbline::journal::JournalError::Busy(_)));
        }
    }
}

#[test]
fn six_programs_on_one_journal_lose_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let children: Vec<_> = (0..6)
        .map(|seed| {
            Command::new(std::env::current_exe().expect("this test"))
                .args(["--exact", "journal::kills::keep_a_hundred", "--nocapture"])
                .env("THUMBLINE_MANY_IN", folder.path())
                .env("THUMBLINE_MANY_SEED", seed.to_string())
                .stdout(Stdio::null())
                .spawn()
                .expect("starts")
        })
        .collect();
    for mut child in children {
        assert!(child.wait().expect("ends").success());
    }
    let journal = Journal::open(&folder.path().join("journal.sqlite")).expect("opens");
    journal.check().expect("sound");
    assert_eq!(journal.rounds(None, 9999, 0).expect("reads").len(), 600);
}
