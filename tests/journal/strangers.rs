//! Journals that were made elsewhere, names that look like something else, and what a round is
//! known by.

use super::{day, hash, place, round};
use std::path::Path;
use thumbline::journal::{self, Journal, PracticeRound, chart};
use thumbline::recording::Recording;
use thumbline::report::file::{PartialFile, Target};

fn raw(path: &Path) -> rusqlite::Connection {
    rusqlite::Connection::open(path).expect("opens")
}

/// A journal that says its take is some other file: neither discarding nor merging touches that.
#[test]
fn a_journal_made_elsewhere_names_no_file_outside_the_takes() {
    let (folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let victim = folder.path().join("letter.txt");
    for (seed, said) in [
        (1, victim.display().to_string()),
        (2, "../../letter.txt".into()),
    ] {
        std::fs::write(&victim, b"dear reader").expect("written");
        raw(&path)
            .execute(
                "INSERT INTO take VALUES (?1, ?2, 0)",
                [hash(seed).to_string(), said],
            )
            .expect("a row");
        for take in journal.takes().expect("reads") {
            assert!(take.file.starts_with(journal.takes_folder()), "{take:?}");
        }
        journal.discard_take(hash(seed)).expect("discards");
        assert!(victim.is_file(), "a file outside the takes is gone");
    }
    assert!(journal.takes().expect("reads").is_empty());
}

/// A take that is a link, or another sound than its name says, does not travel.
#[test]
fn a_merge_takes_in_only_the_sound_that_a_name_says() {
    let (_a, here) = place();
    let (_b, there) = place();
    let mut theirs = Journal::open(&there).expect("opens");
    let sound = |seed: f32| Recording::new("take", 8_000, vec![vec![seed; 800]]).expect("sound");
    let (true_one, false_one, link) = (sound(0.25), sound(0.5), sound(0.125));
    for take in [&true_one, &false_one, &link] {
        theirs.keep_sound(take).expect("keeps");
    }
    let file = |take: &Recording| theirs.takes_folder().join(format!("{}.flac", take.hash()));
    std::fs::copy(file(&true_one), file(&false_one)).expect("another's sound");
    #[cfg(unix)]
    {
        let away = theirs.takes_folder().join("elsewhere");
        std::fs::rename(file(&link), &away).expect("moved");
        std::os::unix::fs::symlink(&away, file(&link)).expect("a link");
    }
    #[cfg(not(unix))]
    std::fs::remove_file(file(&link)).expect("removed");
    let mut mine = Journal::open(&here).expect("opens");
    assert_eq!(mine.merge(&there).expect("merges").takes, 1);
    let kept = mine.takes().expect("reads");
    assert_eq!((kept.len(), kept[0].hash), (1, true_one.hash()));
}

/// Names that an address would read otherwise are names.
#[cfg(unix)]
#[test]
fn a_name_is_a_name_and_no_address() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in [
        "a?mode=memory.sqlite",
        "b#part.sqlite",
        "c%20d.sqlite",
        "file:e?mode=memory",
        "ä?ö.sqlite",
    ] {
        let path = folder.path().join(name).join("journal?x=1#y.sqlite");
        let mut journal = Journal::open(&path).expect("opens");
        journal.keep(&round(1, day(0), 1.0, 2.0)).expect("keeps");
        drop(journal);
        assert!(path.is_file(), "{} is not there", path.display());
        // As on a disk that cannot be written: the file is read as it stands.
        let copy = folder.path().join(format!("copy of {name}"));
        Journal::open(&path)
            .expect("opens")
            .back_up(&copy)
            .expect("copies");
        assert!(copy.is_file());
        raw(&copy)
            .execute_batch(&format!(
                "PRAGMA user_version = {}",
                journal::SCHEMA_VERSION + 1
            ))
            .expect("made newer");
        let newer = Journal::open(&copy).expect("opens");
        assert!(newer.read_only().is_some());
        assert_eq!(newer.rounds(None, 9, 0).expect("reads").len(), 1);
    }
}

/// A round is known by the same hash for as long as journals are kept, whatever a round comes to
/// hold later: BLAKE3 of this JSON, written out by hand.
#[test]
fn a_round_is_known_by_what_it_always_was() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 3.5, 4.25)).expect("keeps");
    let said = format!(
        "{{\"recording\":\"{}\",\"name\":\"\",\"tuning\":\"D A D G A D\",\"at\":1767225600000,\
         \"from_s\":8.0,\"to_s\":12.5,\"region\":\"bars 5-6\",\"speed\":0.6,\
         \"thumb\":{{\"notes\":8,\"drift_ms\":1.0,\"spread_ms\":6.0}},\
         \"fingers\":{{\"notes\":11,\"drift_ms\":3.5,\"spread_ms\":4.25}},\
         \"take\":null,\"note\":\"\"}}",
        hash(1)
    );
    let id: String = raw(&path)
        .query_row("SELECT id FROM round", [], |row| row.get(0))
        .expect("a round");
    assert_eq!(id, blake3::hash(said.as_bytes()).to_hex().to_string());
}

/// While a backup is put in the journal's place, others find a journal at every instant.
#[test]
fn there_is_a_journal_at_every_instant_of_a_restore() {
    let (folder, path) = place();
    let copy = folder.path().join("copy.sqlite");
    let mut journal = Journal::open(&path).expect("opens");
    let rounds: Vec<_> = (0..3000).map(|i| round(1, day(0) + i, 1.0, 2.0)).collect();
    journal.keep_all(&rounds).expect("keeps");
    journal.back_up(&copy).expect("backs up");
    journal.keep(&round(1, day(9), 1.0, 2.0)).expect("keeps");
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        let watch = scope.spawn(|| {
            let mut looks = 0;
            while !done.load(std::sync::atomic::Ordering::SeqCst) {
                assert!(path.is_file(), "an instant without a journal");
                looks += 1;
            }
            looks
        });
        for _ in 0..10 {
            journal::restore(&copy, &path).expect("restores");
        }
        done.store(true, std::sync::atomic::Ordering::SeqCst);
        assert!(watch.join().expect("watched") > 100);
    });
    // Whoever had it open all the time sees the backup's rounds, and keeps on.
    assert_eq!(journal.rounds(None, 9999, 0).expect("reads").len(), 3000);
    journal.keep(&round(1, day(10), 1.0, 2.0)).expect("keeps");
    drop(journal);
    let again = Journal::open(&path).expect("opens");
    assert_eq!(again.rounds(None, 9999, 0).expect("reads").len(), 3001);
    again.check().expect("sound");
}

/// A journal that is damaged beyond reading is put aside as it is, and the backup takes its place.
#[test]
fn a_damaged_journal_gives_way_to_its_backup_and_is_kept() {
    let (folder, path) = place();
    let copy = folder.path().join("copy.sqlite");
    let mut journal = Journal::open(&path).expect("opens");
    journal.keep(&round(1, day(0), 1.0, 2.0)).expect("keeps");
    journal.back_up(&copy).expect("backs up");
    drop(journal);
    std::fs::write(&path, vec![0xA5; 20_000]).expect("damaged");
    let aside = journal::restore(&copy, &path).expect("restores");
    let aside = aside.expect("what was there is kept");
    assert_eq!(std::fs::read(aside).expect("reads"), vec![0xA5; 20_000]);
    let again = Journal::open(&path).expect("opens");
    assert_eq!(again.rounds(None, 9, 0).expect("reads").len(), 1);
}

/// Two programs, or two windows of one, that write the same file at once do not meet on the way.
#[test]
fn files_on_their_way_never_share_a_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let place = folder.path().join("state.json");
    let parts: Vec<PartialFile> = (0..3)
        .map(|_| PartialFile::beside(&place).expect("a part"))
        .collect();
    for (i, a) in parts.iter().enumerate() {
        assert!(parts[..i].iter().all(|b| a.path() != b.path()));
    }
    drop(parts);
    std::thread::scope(|scope| {
        for n in 0..8u8 {
            let place = &place;
            scope.spawn(move || {
                for _ in 0..20 {
                    let text = vec![b'a' + n; 10_000 + usize::from(n)];
                    Target::of(place)
                        .write(|out| out.write_all(&text))
                        .expect("written");
                    let there = std::fs::read(place).expect("is there at every moment");
                    let one = there[0];
                    assert!(there.iter().all(|b| *b == one), "two writers in one file");
                    assert_eq!(there.len(), 10_000 + usize::from(one - b'a'));
                }
            });
        }
    });
    let left: Vec<_> = std::fs::read_dir(folder.path()).expect("reads").collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

/// Files that fuzzing found or began from: merging any of them leaves ours whole, and what can be read of it is shown.
#[test]
fn files_that_fuzzing_found_harm_nothing() {
    let mut files = 0;
    for seed in std::fs::read_dir("tests/fuzz/seeds/journal")
        .expect("seeds")
        .flatten()
    {
        let dir = tempfile::tempdir().expect("a folder");
        let theirs = dir.path().join("theirs.sqlite");
        std::fs::copy(seed.path(), &theirs).expect("copied");
        let mut ours = Journal::open(&dir.path().join("ours.sqlite")).expect("opens");
        // The recording that one of them has lost the name of.
        let own = PracticeRound {
            recording: Recording::new("", 8_000, vec![vec![0.5]])
                .expect("sound")
                .hash(),
            ..round(1, 1, 1.0, 2.0)
        };
        ours.keep(&own).expect("kept");
        let merged = ours.merge(&theirs);
        ours.check().expect("sound after a merge");
        let kept = ours.rounds(None, usize::MAX, 0).expect("read");
        assert!(
            kept.contains(&own),
            "{:?}: {merged:?}, {kept:?}",
            seed.path()
        );
        for journal in [ours, Journal::open(&theirs).expect("opens")] {
            for page in journal.pages().unwrap_or_default() {
                let days = journal.progress(page.recording).unwrap_or_default();
                let _ = (chart::text(&days, 80), chart::svg(&page.name, &days));
            }
        }
        files += 1;
    }
    assert!(files >= 3);
}
