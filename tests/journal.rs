//! The journal: what was kept stays kept, whatever happens to the process, the disk or the file.

mod kills;
mod strangers;

use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use thumbline::compare::{Model, compare};
use thumbline::demo;
use thumbline::journal::{
    self, Fault, HandFigure, Journal, JournalError, Moment, PracticeRound, advice, chart,
};
use thumbline::music::note::Role;
use thumbline::recording::{ContentHash, Recording};
use thumbline::timing;

fn hash(seed: u32) -> ContentHash {
    let samples = vec![seed as f32 / 1e6; 8];
    Recording::new("tone", 44_100, vec![samples])
        .expect("a recording")
        .hash()
}

fn round(page: u32, at_ms: i64, drift_ms: f64, spread_ms: f64) -> PracticeRound {
    PracticeRound {
        recording: hash(page),
        name: format!("Tune {page}"),
        tuning: Some("D A D G A D".into()),
        at: Moment(at_ms),
        from_s: 8.0,
        to_s: 12.5,
        region: "bars 5-6".into(),
        speed: 0.6,
        thumb: Some(HandFigure {
            notes: 8,
            drift_ms: 1.0,
            spread_ms: 6.0,
        }),
        fingers: Some(HandFigure {
            notes: 11,
            drift_ms,
            spread_ms,
        }),
        take: None,
        note: String::new(),
        faults: Vec::new(),
    }
}

fn place() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("deep/er/journal.sqlite");
    (folder, path)
}

/// A day in the past as milliseconds.
fn day(n: i64) -> i64 {
    1_767_225_600_000 + n * Moment::DAY // 2026-01-01 UTC and later
}

#[test]
fn a_kept_round_reads_back_as_it_was() {
    let (_folder, path) = place();
    let kept = PracticeRound {
        note: "left hand lighter — ♭VII “ä” \u{1F3B8}".into(),
        take: Some(hash(99)),
        thumb: None,
        ..round(1, day(0), 12.25, 7.5)
    };
    Journal::open(&path)
        .expect("opens")
        .keep(&kept)
        .expect("keeps");
    let journal = Journal::open(&path).expect("opens again");
    assert_eq!(journal.rounds(None, 10, 0).expect("reads"), vec![kept]);
    journal.check().expect("sound");
}

#[test]
fn the_same_round_is_not_kept_twice() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("keeps");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("is known");
    assert_eq!(journal.pages().expect("reads")[0].rounds, 1);
}

#[test]
fn figures_that_are_not_numbers_are_refused_and_nothing_is_lost() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("keeps");
    let good = round(1, day(1), 3.0, 4.0);
    for bad in [
        PracticeRound {
            speed: f64::NAN,
            ..good.clone()
        },
        PracticeRound {
            speed: 100.0,
            ..good.clone()
        },
        PracticeRound {
            to_s: 1.0,
            ..good.clone()
        },
        PracticeRound {
            fingers: Some(HandFigure {
                notes: 0,
                drift_ms: 0.0,
                spread_ms: 1.0,
            }),
            ..good.clone()
        },
        PracticeRound {
            thumb: Some(HandFigure {
                notes: 4,
                drift_ms: f64::INFINITY,
                spread_ms: 1.0,
            }),
            ..good
        },
    ] {
        // All or none: a good round beside a bad one is not kept either.
        let both = [round(1, day(2), 0.0, 1.0), bad];
        assert!(matches!(
            journal.keep_all(&both),
            Err(JournalError::Unusable(_))
        ));
    }
    assert_eq!(journal.rounds(None, 10, 0).expect("reads").len(), 1);
}

#[test]
fn two_machines_merge_without_doubling() {
    let (_a, here) = place();
    let (_b, there) = place();
    let shared = round(1, day(0), 3.0, 4.0);
    let mut mine = Journal::open(&here).expect("opens");
    mine.keep_all(&[shared.clone(), round(1, day(1), 2.0, 4.0)])
        .expect("keeps");
    let mut theirs = Journal::open(&there).expect("opens");
    // The other machine calls the same recording something else.
    let renamed = PracticeRound {
        name: "Mill Reel".into(),
        ..shared
    };
    theirs
        .keep_all(&[renamed, round(2, day(3), 9.0, 9.0)])
        .expect("keeps");
    drop(theirs);
    let merged = mine.merge(&there).expect("merges");
    assert_eq!((merged.added, merged.known), (1, 1));
    let again = mine.merge(&there).expect("merges");
    assert_eq!((again.added, again.known), (0, 2));
    assert_eq!(mine.rounds(None, 10, 0).expect("reads").len(), 3);
}

#[test]
fn a_backup_restores_and_what_was_there_is_put_aside() {
    let (folder, path) = place();
    let copy = folder.path().join("copy.sqlite");
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("keeps");
    journal.back_up(&copy).expect("backs up");
    journal.keep(&round(1, day(1), 3.0, 4.0)).expect("keeps");
    drop(journal);
    let aside = journal::restore(&copy, &path)
        .expect("restores")
        .expect("there was a journal");
    assert_eq!(
        Journal::open(&path)
            .expect("opens")
            .rounds(None, 10, 0)
            .expect("reads")
            .len(),
        1
    );
    assert_eq!(
        Journal::open(&aside)
            .expect("opens")
            .rounds(None, 10, 0)
            .expect("reads")
            .len(),
        2
    );
    // A text file is no backup, and the journal stays as it was.
    std::fs::write(&copy, "dear diary").expect("writes");
    assert!(matches!(
        journal::restore(&copy, &path),
        Err(JournalError::NotAJournal(_))
    ));
    assert_eq!(
        Journal::open(&path)
            .expect("opens")
            .rounds(None, 10, 0)
            .expect("reads")
            .len(),
        1
    );
}

#[test]
fn another_database_is_left_alone() {
    let (_folder, path) = place();
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("makes it");
    let other = rusqlite::Connection::open(&path).expect("opens");
    other
        .execute_batch("CREATE TABLE recipes (name TEXT)")
        .expect("a table");
    drop(other);
    assert!(matches!(
        Journal::open(&path),
        Err(JournalError::NotAJournal(_))
    ));
}

#[test]
fn a_newer_journal_opens_for_reading_only() {
    let (_folder, path) = place();
    Journal::open(&path)
        .expect("opens")
        .keep(&round(1, day(0), 3.0, 4.0))
        .expect("keeps");
    let raw = rusqlite::Connection::open(&path).expect("opens");
    raw.execute_batch(&format!(
        "ALTER TABLE round ADD COLUMN mood TEXT; PRAGMA user_version = {};",
        journal::SCHEMA_VERSION + 1
    ))
    .expect("made newer");
    drop(raw);
    let mut newer = Journal::open(&path).expect("opens");
    assert!(newer.read_only().is_some_and(|why| why.contains("version")));
    assert_eq!(newer.rounds(None, 10, 0).expect("reads").len(), 1);
    let refused = newer.keep(&round(1, day(1), 3.0, 4.0));
    assert!(matches!(refused, Err(JournalError::ReadOnly { .. })));
}

#[test]
fn a_locked_journal_says_so_and_keeps_what_it_had() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("keeps");
    let other = rusqlite::Connection::open(&path).expect("opens");
    other.execute_batch("BEGIN EXCLUSIVE").expect("locks");
    let refused = journal.keep(&round(1, day(1), 3.0, 4.0));
    assert!(matches!(refused, Err(JournalError::Busy(_))), "{refused:?}");
    other.execute_batch("COMMIT").expect("unlocks");
    journal.keep(&round(1, day(1), 3.0, 4.0)).expect("keeps");
    assert_eq!(journal.rounds(None, 10, 0).expect("reads").len(), 2);
}

#[test]
fn a_full_disk_is_said_and_earlier_rounds_are_safe() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.0, 4.0)).expect("keeps");
    // SQLite answers a full page quota as it answers a full disk (SQLITE_FULL).
    journal.limit_pages_for_tests(8);
    let long = "x".repeat(200_000);
    let refused = journal.keep(&PracticeRound {
        note: long,
        ..round(1, day(1), 3.0, 4.0)
    });
    assert!(
        matches!(refused, Err(JournalError::DiskFull(_))),
        "{refused:?}"
    );
    assert_eq!(journal.rounds(None, 10, 0).expect("reads").len(), 1);
    journal.check().expect("sound");
}

#[test]
fn a_damaged_page_is_said_and_the_rest_can_be_read() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let rounds: Vec<PracticeRound> = (0..4000).map(|i| round(1, day(0) + i, 1.0, 2.0)).collect();
    journal.keep_all(&rounds).expect("keeps");
    drop(journal);
    // Find a leaf page of the round table and overwrite it.
    let page_size = 4096;
    let pages = std::fs::metadata(&path).expect("exists").len() / page_size;
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .open(&path)
        .expect("opens");
    file.seek(SeekFrom::Start(pages / 2 * page_size))
        .expect("seeks");
    file.write_all(&vec![0xA5; 4096]).expect("overwrites");
    drop(file);
    let damaged = Journal::open(&path).and_then(|j| j.check());
    assert!(
        matches!(damaged, Err(JournalError::Damaged(_))),
        "{damaged:?}"
    );
    let saved = journal::salvage(&path).expect("salvages");
    assert!(
        saved.rounds.len() > 2000,
        "only {} of 4000 rounds",
        saved.rounds.len()
    );
}

#[test]
fn pages_of_a_hundred_thousand_rounds_are_quick() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let rounds: Vec<PracticeRound> = (0..100_000i64)
        .map(|i| round((i % 200) as u32, day(0) + i * 600_000, 5.0, 8.0))
        .collect();
    journal.keep_all(&rounds).expect("keeps");
    drop(journal);
    let clock = Instant::now();
    let journal = Journal::open(&path).expect("opens");
    let opening = clock.elapsed();
    let clock = Instant::now();
    let page = journal.rounds(Some(hash(7)), 50, 0).expect("reads");
    let paging = clock.elapsed();
    let clock = Instant::now();
    let drawn = chart::svg("Tune 7", &journal.progress(hash(7)).expect("reads"));
    let charting = clock.elapsed();
    println!("opening {opening:?}, a page {paging:?}, a chart {charting:?}");
    assert_eq!(page.len(), 50);
    assert!(drawn.starts_with("<svg"));
    // Twice the wanted 100, 50 and 200 ms, since tests share the machine.
    assert!(opening < Duration::from_millis(200));
    assert!(paging < Duration::from_millis(100));
    assert!(charting < Duration::from_millis(400));
}

#[test]
fn advice_puts_what_slipped_before_what_is_due() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal
        .keep_all(&[
            round(1, day(0), 5.0, 10.0),
            round(1, day(5), 5.0, 25.0), // slipped: 25 against 10
            round(2, day(0), 5.0, 10.0), // due: rested ten days after one good session
            round(3, day(9), 5.0, 10.0), // practised yesterday, two good sessions in a row
            round(3, day(8), 5.0, 10.0),
        ])
        .expect("keeps");
    let told = advice::suggest(&journal, Moment(day(10))).expect("suggests");
    let names: Vec<&str> = told.iter().map(|s| s.page.name.as_str()).collect();
    assert_eq!(names, ["Tune 1", "Tune 2"]);
    assert!(told[0].words().contains("25 ms"));
    assert!(told[1].words().contains("10 days"));
    let passage = "bars 5-6";
    assert!(
        told.iter().all(|t| t.words().contains(passage)),
        "the passage is named"
    );
}

#[test]
fn a_fault_is_named_with_its_slot_bar_tempo_and_goal() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let fault = Fault {
        role: Role::Melody,
        slot: "2 &".to_owned(),
        bar: 9,
        notes: 8,
        late_ms: 21.0,
        bpm: 86.0,
        goal_ms: 8.7,
    };
    let faulty = PracticeRound {
        faults: vec![fault.clone()],
        ..round(1, day(0), 5.0, 10.0)
    };
    journal
        .keep_all(&[faulty, round(2, day(0), 5.0, 10.0)])
        .expect("keeps");
    assert_eq!(
        journal.rounds(Some(hash(1)), 1, 0).unwrap()[0].faults,
        [fault]
    );
    // Told at once, an hour later, while nothing is due yet.
    let now = Moment(day(0) + 3_600_000);
    let told = advice::suggest(&journal, now).expect("suggests");
    assert_eq!(told.len(), 1);
    let words = told[0].words();
    for part in [
        "21 ms late on the and of 2",
        "bar 9",
        "73 beats",
        "within 9 ms",
    ] {
        assert!(words.contains(part), "{part}: {words}");
    }
    let week = advice::week(&journal, None, now).expect("plans");
    assert_eq!(week.len(), 7);
    assert!(week.iter().all(|d| d.tasks.len() <= 3 && d.minutes <= 15));
    let days = week
        .iter()
        .filter(|d| d.tasks.iter().any(|t| t.contains("and of 2")))
        .count();
    assert_eq!(days, 4, "spread over the week");
    assert!(week[6].tasks.is_empty(), "a free day");
    // Better next time: nothing more is said of it.
    journal.keep(&round(1, day(1), 5.0, 10.0)).expect("keeps");
    let told = advice::suggest(&journal, Moment(day(1) + 3_600_000)).expect("suggests");
    assert!(
        told.iter()
            .all(|s| !matches!(s.reason, advice::Reason::Fault(_)))
    );
}

#[test]
fn the_demo_takes_fault_reaches_the_journal() {
    // Planted in the demo: 21 ms late on the off-beat after beat 2, in bars 9 to 16 and one more.
    let (model, take) = (demo::recording(8_000).unwrap(), demo::take(8_000).unwrap());
    let notes = |r: &demo::Rendition| r.notes.iter().map(|n| n.note.clone()).collect::<Vec<_>>();
    let (ours, theirs) = (notes(&model), notes(&take));
    let drift = timing::measure(&ours, &model.grid, timing::Reference::OwnTempo);
    let found = compare(
        Model {
            notes: &ours,
            grid: &model.grid,
            drifts: &drift.notes,
        },
        &theirs,
    );
    let rounds = journal::rounds_of(
        &found,
        &journal::Practised {
            recording: hash(1),
            name: "x",
            grid: &model.grid,
            tuning: None,
            at: Moment(day(0)),
            note: "",
        },
    );
    let fault = &rounds[0].faults[0];
    println!("{}", fault.words());
    assert_eq!(
        (fault.slot.as_str(), fault.bar, fault.role),
        ("2 &", 9, Role::Melody)
    );
    assert!((fault.late_ms - 21.0).abs() < 6.0, "{}", fault.late_ms);
    assert!((fault.bpm - 86.0).abs() < 1.0);
}

#[test]
fn charts_are_xml_for_any_name_and_fit_the_terminal() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    for i in 0..6 {
        journal
            .keep(&round(1, day(i), 30.0 - 5.0 * i as f64, 9.0))
            .expect("keeps");
    }
    let sessions = journal.progress(hash(1)).expect("reads");
    assert_eq!(sessions.len(), 6);
    let drawn = chart::svg("A & B <i>\"x\"\u{0} 日本", &sessions);
    let mut reader = quick_xml::Reader::from_str(&drawn);
    while reader.read_event().expect("well-formed XML") != quick_xml::events::Event::Eof {}
    let text = chart::text(&sessions, 80);
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    assert!(text.contains("◆"));
}

/// The child of the kill test: keeps rounds until it is killed, printing each once it is kept.
#[test]
fn keep_rounds_until_killed() {
    let Some(path) = std::env::var_os("THUMBLINE_KILL_TEST") else {
        return;
    };
    let mut journal = Journal::open(Path::new(&path)).expect("opens");
    for i in 0i64.. {
        let at = Moment::now().0 + i;
        journal.keep(&round(1, at, i as f64, 1.0)).expect("keeps");
        let mut out = std::io::stdout();
        writeln!(out, "kept {at} {i}")
            .and_then(|()| out.flush())
            .expect("says so");
    }
}

#[test]
fn a_killed_process_loses_no_kept_round() {
    let (_folder, path) = place();
    drop(Journal::open(&path).expect("opens"));
    let program = std::env::current_exe().expect("this test");
    let mut kept = 0;
    for attempt in 0..200u64 {
        let mut child = Command::new(&program)
            .args([
                "--exact",
                "journal::keep_rounds_until_killed",
                "--nocapture",
            ])
            .env("THUMBLINE_KILL_TEST", &path)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        // A different moment each time, spread over the start, the writing and between.
        std::thread::sleep(Duration::from_micros(2_000 + (attempt * 7919) % 25_000));
        child.kill().expect("SIGKILL");
        let output = child.wait_with_output().expect("ends");
        let said = String::from_utf8_lossy(&output.stdout);
        kept += said
            .lines()
            .filter(|l| l.starts_with("kept ") && l.split(' ').count() == 3)
            .count();
        if attempt % 20 == 0 {
            Journal::open(&path)
                .expect("opens")
                .check()
                .expect("sound after a kill");
        }
    }
    let journal = Journal::open(&path).expect("opens");
    journal.check().expect("sound after two hundred kills");
    let there = journal.rounds(None, usize::MAX, 0).expect("reads").len();
    println!("{kept} rounds were said to be kept, {there} are there");
    assert!(
        kept > 50,
        "the children were killed before they wrote: {kept}"
    );
    assert!(
        there >= kept,
        "{kept} rounds were said to be kept, {there} are there"
    );
}

/// Leap days and turns of the year (ISO 8601; seconds as `date -u -d @951826154` has them).
#[test]
fn moments_in_names_are_dates() {
    let name = |seconds: i64| Moment(1000 * seconds).in_a_name();
    assert_eq!(name(0), "1970-01-01 00.00.00");
    assert_eq!(name(951_826_154), "2000-02-29 12.09.14");
    assert_eq!(name(1_767_225_599), "2025-12-31 23.59.59");
}
