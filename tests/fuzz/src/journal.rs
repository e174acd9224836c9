//! Any file as a journal: opened, read, salvaged, merged, restored; the player's own is never harmed.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::PathBuf;
use std::sync::LazyLock;
use tempfile::TempDir;
use thumbline::journal::{self, HandFigure, Journal, Moment, PracticeRound, advice, chart};
use thumbline::recording::Recording;

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("mine.sqlite");
    Journal::open(&path)
        .expect("opens")
        .keep(&round())
        .expect("keeps");
    folder
});

fn round() -> PracticeRound {
    let figure = HandFigure {
        notes: 4,
        drift_ms: 1.0,
        spread_ms: 2.0,
    };
    PracticeRound {
        recording: Recording::new("", 8_000, vec![vec![0.5]])
            .expect("sound")
            .hash(),
        name: "mine".into(),
        tuning: None,
        at: Moment(1),
        from_s: 0.0,
        to_s: 1.0,
        region: String::new(),
        speed: 1.0,
        thumb: Some(figure),
        fingers: None,
        take: None,
        note: String::new(),
        faults: Vec::new(),
    }
}

fn clear(path: &PathBuf) {
    for tail in ["", "-wal", "-shm", "-journal"] {
        let mut name = path.as_os_str().to_owned();
        name.push(tail);
        let _ = std::fs::remove_file(name);
    }
}

fuzz_target!(|bytes: &[u8]| {
    let mine = FOLDER.path().join("mine.sqlite");
    let theirs = FOLDER.path().join("theirs.sqlite");
    let tried = FOLDER.path().join("tried.sqlite");
    std::fs::write(&theirs, bytes).expect("written");
    let _ = journal::salvage(&theirs);
    // A merge changes nothing of theirs, and leaves ours whole.
    std::fs::copy(&mine, &tried).expect("copied");
    let mut ours = Journal::open(&tried).expect("opens");
    let _ = ours.merge(&theirs);
    let _ = ours.lacks(&theirs);
    assert_eq!(
        std::fs::read(&theirs).expect("read"),
        bytes,
        "a merge wrote into what it read"
    );
    ours.check().expect("sound after a merge");
    assert!(
        ours.rounds(None, usize::MAX, 0)
            .expect("read")
            .contains(&round())
    );
    for take in ours.takes().expect("read") {
        assert!(take.file.starts_with(ours.takes_folder()));
    }
    drop(ours);
    if let Ok(Some(aside)) = journal::restore(&theirs, &tried) {
        let _ = Journal::open(&tried).expect("restored");
        clear(&aside);
    }
    if let Ok(mut journal) = Journal::open(&theirs) {
        for page in journal.pages().unwrap_or_default() {
            if let Ok(days) = journal.progress(page.recording) {
                let _ = (chart::text(&days, 80), chart::svg(&page.name, &days));
            }
        }
        let _ = (
            advice::suggest(&journal, Moment(1_767_225_600_000)),
            journal.takes(),
        );
        if journal.check().is_ok() {
            let _ = journal.keep(&round());
        }
    }
    clear(&theirs);
    clear(&tried);
});
