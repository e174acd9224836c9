//! Disks that are full or cannot be written, files that change while they are read, little memory,
//! strange homes: what was there stays, what fails says so in one line, nothing panics.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use tempfile::TempDir;
use thumbline::dsp::pluck::Chance;
use thumbline::journal::{HandFigure, Journal, Moment, PracticeRound};
use thumbline::load::{Decoder, Part};
use thumbline::recording::{Recording, Spool};
use thumbline::report::file::Target;
use thumbline::report::wav::{self, Depth};
use thumbline::stretch::{PitchShift, Speed, SpeedMap, render, transient};

fn sound(seconds: f64) -> Recording {
    let mut chance = Chance::new(3);
    let samples = (0..(seconds * 8_000.0) as usize)
        .map(|i| {
            let t = (i % 4_000) as f32 / 8_000.0;
            0.4 * (-6.0 * t).exp() * (std::f32::consts::TAU * 220.0 * t).sin()
                + 1e-4 * chance.signed()
        })
        .collect();
    Recording::new("tune", 8_000, vec![samples]).expect("sound")
}

fn tune(folder: &TempDir, seconds: f64) -> PathBuf {
    let path = folder.path().join("tune.wav");
    let sound = sound(seconds);
    Target::File(path.clone())
        .write(|out| wav::write(out, sound.rate(), sound.channels(), Depth::Float32))
        .expect("written");
    path
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("reads");
    let name = |e: std::io::Result<std::fs::DirEntry>| e.expect("an entry").file_name();
    let mut all: Vec<_> = entries
        .map(|e| name(e).to_string_lossy().into_owned())
        .collect();
    all.sort();
    all
}

/// One line that says why, exit code 1, no panic.
#[cfg(unix)]
fn failed(output: &Output, what: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{what}: {said}");
    assert_eq!(said.lines().count(), 1, "{what}: {said}");
    assert!(!said.contains("panicked"), "{what}: {said}");
}

/// The program with no more than `limits` (as `ulimit` takes them) from the system.
#[cfg(unix)]
fn limited(folder: &TempDir, limits: &str, arguments: &[&str]) -> Output {
    Command::new("sh")
        .arg("-c")
        .arg(format!("trap '' XFSZ; ulimit {limits}; exec \"$0\" \"$@\""))
        .arg(env!("CARGO_BIN_EXE_thumbline"))
        .args(arguments)
        .arg("--quiet")
        .current_dir(folder.path())
        .output()
        .expect("a shell")
}

/// No file may grow over 8 KiB (`ulimit -f` counts 512 bytes in a POSIX shell): each report fails in
/// one line, and what was there before is there still.
#[cfg(unix)]
#[test]
fn where_no_room_is_left_what_was_there_stays() {
    let folder = tempfile::tempdir().expect("a folder");
    tune(&folder, 4.0);
    let first = limited(
        &folder,
        "-f unlimited",
        &["slow", "tune.wav", "--speed", "0.5", "--out", "out.wav"],
    );
    assert!(first.status.success());
    let before = std::fs::read(folder.path().join("out.wav")).expect("reads");
    let there = names(folder.path());
    for line in [
        &["slow", "tune.wav", "--speed", "0.6", "--out", "out.wav"][..],
        &[
            "loop", "tune.wav", "--from-s", "0", "--to-s", "2", "--out", "out.wav",
        ],
        &["export", "tune.wav", "--to", "wav", "--out", "out.wav"],
    ] {
        failed(&limited(&folder, "-f 16", line), &line.join(" "));
        assert_eq!(names(folder.path()), there);
        assert!(std::fs::read(folder.path().join("out.wav")).expect("reads") == before);
    }
}

/// The same for the journal: the round is refused, those before it are read again.
#[cfg(unix)]
#[test]
fn a_journal_without_room_keeps_what_it_has() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.sqlite");
    let many = |from: i64, n: i64| (from..from + n).map(round).collect::<Vec<_>>();
    Journal::open(&path)
        .expect("opens")
        .keep_all(&many(0, 10))
        .expect("keeps");
    let other = folder.path().join("other.sqlite");
    Journal::open(&other)
        .expect("opens")
        .keep_all(&many(1000, 3000))
        .expect("keeps");
    let line = [
        "journal",
        "--journal",
        "journal.sqlite",
        "merge",
        "other.sqlite",
    ];
    failed(&limited(&folder, "-f 200", &line), "merge");
    let line = [
        "journal",
        "--journal",
        "journal.sqlite",
        "backup",
        "copy.sqlite",
    ];
    failed(&limited(&folder, "-f 4", &line), "backup");
    assert!(!folder.path().join("copy.sqlite").exists());
    let line = [
        "journal",
        "--journal",
        "journal.sqlite",
        "restore",
        "other.sqlite",
    ];
    failed(&limited(&folder, "-f 200", &line), "restore");
    let journal = Journal::open(&path).expect("opens");
    journal.check().expect("sound");
    assert_eq!(journal.rounds(None, 9999, 0).expect("reads").len(), 10);
}

fn round(at: i64) -> PracticeRound {
    PracticeRound {
        recording: sound(0.01).hash(),
        name: "tune".into(),
        tuning: None,
        at: Moment(at),
        from_s: 0.0,
        to_s: 1.0,
        region: "bar 1".into(),
        speed: 1.0,
        thumb: None,
        fingers: Some(HandFigure {
            notes: 4,
            drift_ms: 1.0,
            spread_ms: 2.0,
        }),
        take: None,
        note: String::new(),
        faults: Vec::new(),
    }
}

/// The program as a user who may write nothing in `folder`; none where this user may write everywhere
/// and cannot become another.
#[cfg(target_os = "linux")]
fn unprivileged(folder: &Path, arguments: &[&str]) -> Option<Output> {
    use std::os::unix::fs::MetadataExt;
    let program = env!("CARGO_BIN_EXE_thumbline");
    let root = std::fs::metadata("/proc/self").expect("a process").uid() == 0;
    let mut command = if root {
        // Another user may not go to where the program was built.
        let within_reach = folder.join("program");
        std::fs::copy(program, &within_reach).expect("copied");
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
        command.arg(within_reach);
        command
    } else {
        Command::new(program)
    };
    command.args(arguments).arg("--quiet").current_dir(folder);
    let output = command.env("THUMBLINE_DATA", folder).output();
    match output {
        Err(why) if root => {
            println!("skipped: what another user may not do (setpriv: {why})");
            None
        }
        output => Some(output.expect("it runs")),
    }
}

/// A folder that may not be written, and a recording that may not be read: said in one line; what may
/// be read is read.
#[cfg(target_os = "linux")]
#[test]
fn where_nothing_may_be_written_what_is_there_is_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("a folder");
    let tune = tune(&folder, 2.0);
    let path = folder.path().join("journal.sqlite");
    Journal::open(&path)
        .expect("opens")
        .keep(&round(1))
        .expect("keeps");
    let may = |path: &Path, bits| {
        let rights = std::fs::Permissions::from_mode(bits);
        std::fs::set_permissions(path, rights).expect("changed");
    };
    may(&path, 0o644);
    may(&tune, 0o644);
    may(folder.path(), 0o555);
    let run = |line: &[&str]| unprivileged(folder.path(), line);
    let slowed = ["slow", "tune.wav", "--speed", "1", "--out", "out.wav"];
    let Some(output) = run(&slowed) else {
        return;
    };
    failed(&output, "slow");
    assert!(!folder.path().join("out.wav").exists());
    let list = run(&["journal", "--journal", "journal.sqlite"]).expect("a user");
    let said = String::from_utf8_lossy(&list.stdout);
    assert!(said.contains("tune"), "{list:?}");
    // The right to read it is lost, and comes back.
    may(&tune, 0o000);
    let output = run(&["check", "tune.wav"]).expect("a user");
    failed(&output, "check");
    assert!(String::from_utf8_lossy(&output.stderr).contains("tune.wav"));
    may(&tune, 0o444);
    let output = run(&["check", "tune.wav"]).expect("a user");
    assert!(!String::from_utf8_lossy(&output.stderr).contains("cannot be read"));
    may(folder.path(), 0o755);
}

/// A file that is cut, emptied, replaced or removed while it is read: what was read is there, and it
/// is said that the rest is not.
#[test]
fn a_file_may_change_while_it_is_read() {
    type Change = fn(&Path);
    let cut = |path: &Path| {
        let file = std::fs::File::options()
            .write(true)
            .open(path)
            .expect("opens");
        file.set_len(150_000).expect("cut");
    };
    let replaced = |path: &Path| {
        let noise: Vec<u8> = (0..400_000u32).map(|i| (i * 7 + i / 251) as u8).collect();
        std::fs::write(path, noise).expect("written");
    };
    let emptied = |path: &Path| std::fs::write(path, b"").expect("written");
    let removed = |path: &Path| std::fs::remove_file(path).unwrap_or(());
    let changes: [(&str, Change); 4] = [
        ("cut", cut),
        ("replaced", replaced),
        ("emptied", emptied),
        ("removed", removed),
    ];
    for (what, change) in changes {
        let folder = tempfile::tempdir().expect("a folder");
        let path = tune(&folder, 30.0);
        let mut decoder = Decoder::open(&path, Part::WHOLE).expect("opens");
        decoder
            .read_until(thumbline::unit::Seconds(1.0))
            .expect("reads");
        change(&path);
        while decoder.step().expect("ends") {}
        let warned = !decoder.warnings().is_empty();
        let whole = decoder.expected() == Some(decoder.frames());
        assert!(warned || whole, "{what}: short and not a word of it");
        let read = decoder.finish().expect("what was read");
        assert!(read.end().0 >= 1.0, "{what}");
        let said = sound(30.0);
        assert_eq!(
            read.channels()[0][..8_000],
            said.channels()[0][..8_000],
            "{what}"
        );
    }
}

/// A home whose name is no text, and none at all: the journal lies there, or it is said.
#[cfg(target_os = "linux")]
#[test]
fn a_home_need_not_be_text() {
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().expect("a folder");
    let home = folder
        .path()
        .join(std::ffi::OsStr::from_bytes(b"home \xff\xfe"));
    std::fs::create_dir(&home).expect("made");
    let run = |line: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_thumbline"))
            .args(line)
            .env_clear()
            .env("HOME", &home)
            .current_dir(folder.path())
            .output()
            .expect("starts")
    };
    let list = run(&["journal"]);
    assert!(list.status.success(), "{list:?}");
    let made = home.join(".local/share/thumbline/journal.sqlite");
    assert!(made.is_file(), "{list:?}");
    let backup = run(&["journal", "backup", "copy.sqlite"]);
    assert!(backup.status.success(), "{backup:?}");
    Journal::open(&made)
        .expect("opens")
        .keep(&round(1))
        .expect("keeps");
    Journal::open(&home.join("other.sqlite")).expect("opens");
}

/// A clock that was set back, or never set: rounds keep their moments and are all there.
#[test]
fn a_clock_may_go_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut journal = Journal::open(&folder.path().join("journal.sqlite")).expect("opens");
    let moments = [
        4_000_000_000_000,
        0,
        -5_000,
        1_767_225_600_000,
        i64::MAX,
        i64::MIN,
    ];
    for at in moments {
        journal.keep(&round(at)).expect("keeps");
        let told = thumbline::journal::advice::suggest(&journal, Moment(1_767_225_600_000));
        assert!(told.is_ok());
    }
    assert_eq!(
        journal.rounds(None, 99, 0).expect("reads").len(),
        moments.len()
    );
    for page in journal.pages().expect("reads") {
        let days = journal.progress(page.recording).expect("reads");
        assert_eq!(days.iter().map(|d| d.rounds).sum::<u32>(), 6);
        assert!(!page.last.local().is_empty() && !page.first.date().is_empty());
    }
}

/// A thousand takes are listed in a moment.
#[test]
fn a_thousand_takes_are_no_burden() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.sqlite");
    let journal = Journal::open(&path).expect("opens");
    std::fs::create_dir(journal.takes_folder()).expect("made");
    let raw = rusqlite::Connection::open(&path).expect("opens");
    raw.execute_batch("BEGIN").expect("begins");
    for n in 0..1000 {
        let hash = Recording::new("take", 8_000, vec![vec![n as f32 * 1e-3; 4]])
            .expect("sound")
            .hash();
        let file = format!("{hash}.flac");
        std::fs::write(journal.takes_folder().join(&file), b"fLaC").expect("written");
        let row = "INSERT INTO take VALUES (?1, ?2, 0)";
        raw.execute(row, [hash.to_string(), file]).expect("a row");
    }
    raw.execute_batch("COMMIT").expect("ends");
    let clock = std::time::Instant::now();
    assert_eq!(journal.takes().expect("reads").len(), 1000);
    let took = clock.elapsed();
    println!("a thousand takes listed in {took:?}");
    assert!(took < std::time::Duration::from_millis(500), "{took:?}");
}

/// Little memory: slowing and hearing do with 700 MB of address space, threads' stacks included.
#[cfg(target_os = "linux")]
#[test]
fn little_memory_is_enough() {
    let folder = tempfile::tempdir().expect("a folder");
    tune(&folder, 20.0);
    for line in [
        &["slow", "tune.wav", "--speed", "0.5", "--out", "out.wav"][..],
        &["analyze", "tune.wav", "--json", "out.json"],
    ] {
        let output = limited(&folder, "-v 700000", line);
        assert!(output.status.success(), "{output:?}");
    }
}

/// A recording on disk is the recording in memory: identity, every stretch, what is heard in it and
/// how it sounds slowed, to the bit.
#[test]
fn what_lies_on_disk_is_what_lies_in_memory() {
    let mut chance = Chance::new(9);
    let frames = 5 * 44_100 + 777;
    let mut channel = |hz: f32| -> Vec<f32> {
        (0..frames)
            .map(|i| {
                let t = (i % 22_050) as f32 / 44_100.0;
                let tone = (std::f32::consts::TAU * hz * t).sin() * (-5.0 * t).exp();
                0.4 * tone + 1e-4 * chance.signed()
            })
            .collect()
    };
    let mut channels = vec![channel(196.0), channel(247.0)];
    channels[1][70_000] = f32::NAN;
    let mut spool = Spool::new(2).expect("a file");
    let mut from = 0;
    for n in [1, 65_535, 100_000, 7, 200_000].into_iter().chain([frames]) {
        let to = frames.min(from + n);
        let block: Vec<&[f32]> = channels.iter().map(|c| &c[from..to]).collect();
        spool.push(&block).expect("written");
        from = to;
    }
    let disk = Arc::new(Recording::spooled("tune", 44_100, spool).expect("sound"));
    let memory = Arc::new(Recording::new("tune", 44_100, channels).expect("sound"));
    assert!(disk.is_spooled() && !memory.is_spooled());
    assert_eq!(disk.hash(), memory.hash());
    assert_eq!(
        (disk.frames(), disk.width(), disk.repaired()),
        (frames, 2, 1)
    );
    for (from, to) in [
        (0, 10),
        (65_530, 65_545),
        (1_000, 200_000),
        (frames - 5, frames),
    ] {
        assert_eq!(disk.part(1, from..to), memory.part(1, from..to));
    }
    for frame in [-1, 0, 65_535, 65_536, frames as i64 - 1, frames as i64] {
        assert_eq!(disk.sample(0, frame), memory.sample(0, frame));
    }
    let heard = |sound: &Recording| {
        let options = thumbline::analysis::Options::default();
        let found = thumbline::analysis::analyze(sound, &options, &mut ()).expect("heard");
        format!("{:?}", found.notes)
    };
    assert_eq!(heard(&disk), heard(&memory));
    let onsets = Arc::new(transient::onsets(&memory));
    assert_eq!(transient::onsets(&disk), *onsets);
    for speed in [0.6, 1.0] {
        let map = SpeedMap::constant(Speed::nearest(speed));
        let slowed = |sound| render(sound, &onsets, &map, PitchShift::default(), |_| true);
        assert!(slowed(&disk) == slowed(&memory), "at {speed}");
    }
    assert!(
        disk.is_spooled(),
        "nothing of that needed all of it at once"
    );
    assert_eq!(disk.channels(), memory.channels());
}

/// Forty minutes of sound do not stay in memory, and are still the same sound.
#[test]
fn a_long_file_is_read_onto_the_disk() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("long.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("created");
    for i in 0..40 * 60 * 8_000u32 {
        writer.write_sample((i % 8_009) as i16).expect("written");
    }
    writer.finalize().expect("finished");
    let read = |mut decoder: Decoder| {
        while decoder.step().expect("reads") {}
        assert_eq!(decoder.frames(), 40 * 60 * 8_000);
        decoder.finish().expect("sound")
    };
    let long = read(Decoder::open_long(&path, Part::WHOLE).expect("opens"));
    let held = read(Decoder::open(&path, Part::WHOLE).expect("opens"));
    assert!(long.is_spooled() && !held.is_spooled());
    assert_eq!(long.hash(), held.hash());
    let part = Part {
        from: thumbline::unit::Seconds(100.0),
        to: Some(thumbline::unit::Seconds(102.0)),
    };
    let mut decoder = Decoder::open_long(&path, part).expect("opens");
    while decoder.step().expect("reads") {}
    let short = decoder.finish().expect("sound");
    assert_eq!(short.channels()[0], held.channels()[0][800_000..816_000]);
}
