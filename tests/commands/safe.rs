//! Nothing is overwritten that cannot be made again, and nothing that is sent on tells where on this
//! machine it was made.

use super::{Room, json};
use std::path::Path;
use std::process::Command;
use thumbline::journal::{Journal, Moment, PracticeRound};
use thumbline::recording::Recording;

/// Every command that reads a recording, with the output to be given last.
fn readers<'a>(rec: &'a str, other: &'a str) -> Vec<Vec<&'a str>> {
    let mut lines: Vec<Vec<&str>> = vec![
        vec!["analyze", rec, "--json"],
        vec!["analyze", rec, "--csv"],
        vec!["analyze", rec, "--svg"],
        vec!["analyze", rec, "--close-up"],
        vec!["slow", rec, "--speed", "0.5", "--out"],
        vec!["loop", rec, "--from-s", "0", "--to-s", "1", "--out"],
        vec!["check", rec, "--json"],
        vec!["patterns", rec, "--json"],
        vec!["strings", "--guess", rec, "--json"],
    ];
    for option in ["--json", "--svg", "--hear"] {
        lines.push(vec!["compare", rec, other, option]);
        lines.push(vec!["compare", other, rec, option]);
    }
    for format in [
        "json", "csv", "jams", "midi", "musicxml", "tab", "svg", "wav",
    ] {
        lines.push(vec!["export", rec, "--to", format, "--out"]);
    }
    lines
}

/// The recording by its own name, by a detour, by a link of either kind: never its own output,
/// whether --replace is said or not, and it is said before any work.
#[test]
fn a_recording_is_never_its_own_output() {
    let room = Room::new();
    room.tune(1);
    let other = room.wav("other.wav", (44_100, 1, 44_100), |n, _| {
        (n as f32 * 0.05).sin() * 0.4
    });
    std::fs::create_dir(room.path("sub")).expect("a folder");
    let mut names = vec!["tune.wav", "./sub/../tune.wav"];
    std::fs::hard_link(room.path("tune.wav"), room.path("hard.wav")).expect("a link");
    names.push("hard.wav");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(room.path("tune.wav"), room.path("soft.wav")).expect("a link");
        names.push("soft.wav");
    }
    let sound = std::fs::read(room.path("tune.wav")).expect("the sound");
    let rest = room.names();
    for name in names {
        for mut line in readers("tune.wav", &other) {
            line.push(name);
            room.run(&line).refused(2, "is the recording itself");
            line.push("--replace");
            room.run(&line).refused(2, "is the recording itself");
        }
    }
    assert_eq!(
        std::fs::read(room.path("tune.wav")).expect("the sound"),
        sound
    );
    assert_eq!(room.names(), rest);
}

/// A file that another program wrote gives way only when it is said; one of ours at once, unless it
/// is what is read.
#[test]
fn only_what_was_made_here_gives_way() {
    let room = Room::new();
    let tune = room.tune(1);
    std::fs::write(room.path("letter.txt"), b"Dear Thumbline,\nhow are you?").expect("written");
    for mut line in readers(&tune, &tune) {
        line.push("letter.txt");
        room.run(&line)
            .refused(2, "`letter.txt` is there already and nothing in it");
    }
    room.run(&["drill", "--bars", "1", "--midi", "letter.txt"])
        .refused(2, "letter.txt");
    std::fs::create_dir(room.path("mine")).expect("a folder");
    std::fs::copy(room.path("tune.wav"), room.path("mine/take.wav")).expect("copied");
    room.run(&["demo", "--out", "mine"]).refused(2, "take.wav");
    let kept = std::fs::read(room.path("letter.txt")).expect("the letter");
    assert!(kept.starts_with(b"Dear Thumbline"));
    room.run(&["analyze", &tune, "--json", "letter.txt", "--replace"])
        .well();
    // From here on it is ours, as is everything else in a format that names its software.
    for mut line in [
        vec!["analyze", &tune, "--json"],
        vec!["analyze", &tune, "--csv"],
        vec!["analyze", &tune, "--svg"],
        vec!["slow", &tune, "--speed", "0.5", "--out"],
        vec!["export", &tune, "--to", "wav", "--out"],
        vec!["export", &tune, "--to", "midi", "--out"],
        vec!["export", &tune, "--to", "jams", "--out"],
        vec!["strings", "--musicxml"],
        vec!["strings", "--svg"],
        vec!["drill", "--bars", "1", "--json"],
    ] {
        line.push("letter.txt");
        room.run(&line).well();
        room.run(&line).well();
    }
    // What was made here may be read and written at once, when it is said.
    room.run(&["slow", &tune, "--speed", "0.5", "--out", "slow.wav"])
        .well();
    let again = ["slow", "slow.wav", "--speed", "0.5", "--out", "slow.wav"];
    room.run(&again).refused(2, "--replace");
    room.run(&[&again[..], &["--replace"]].concat()).well();
}

/// A round practised at `at` on a tone.
fn round(at: i64) -> PracticeRound {
    let sound = Recording::new("tone", 8_000, vec![vec![0.1; 8]]).expect("sound");
    PracticeRound {
        recording: sound.hash(),
        name: "tone".into(),
        tuning: None,
        at: Moment(at),
        from_s: 0.0,
        to_s: 1.0,
        region: "bar 1".into(),
        speed: 1.0,
        thumb: None,
        fingers: None,
        take: None,
        note: String::new(),
        faults: Vec::new(),
    }
}

#[test]
fn a_journal_is_never_lost_to_its_copies() {
    let room = Room::new();
    let mine = Journal::open(&room.path("mine.sqlite")).expect("opens");
    let mut other = Journal::open(&room.path("other.sqlite")).expect("opens");
    other.keep(&round(7)).expect("kept");
    drop((mine, other));
    let run =
        |line: &[&str]| room.run(&[&["journal", "--journal", "mine.sqlite"][..], line].concat());
    run(&["backup", "mine.sqlite"]).refused(1, "is the journal itself");
    run(&["backup", "./mine.sqlite", "--replace"]).refused(1, "is the journal itself");
    run(&["restore", "mine.sqlite"]).refused(1, "is the journal itself");
    run(&["export", "--json", "mine.sqlite"]).refused(2, "mine.sqlite");
    run(&["export", "--csv", "mine.sqlite", "--replace"]).refused(2, "mine.sqlite");
    run(&["backup", "other.sqlite"]).refused(2, "1 rounds that this one lacks");
    std::fs::write(room.path("letter.txt"), b"dear reader").expect("written");
    run(&["backup", "letter.txt"]).refused(2, "not a backup of this journal");
    run(&["backup", "copy.sqlite"]).well();
    run(&["merge", "other.sqlite"]).well();
    run(&["backup", "copy.sqlite"]).well(); // an older copy of the same journal
    run(&["export", "--csv", "rounds.csv"]).well();
    run(&["export", "--csv", "rounds.csv"]).well();
    let copy = Journal::open(&room.path("copy.sqlite")).expect("opens");
    assert_eq!(copy.rounds(None, 9, 0).expect("reads").len(), 1);
}

/// What leaves the machine holds no path of it.
#[test]
fn reports_tell_nothing_of_the_machine() {
    let room = Room::new();
    let tune = room.tune(1);
    let folder = room.0.path().display().to_string();
    assert!(tune.starts_with(&folder));
    for line in [
        &["analyze", &tune, "--json", "-"][..],
        &["analyze", &tune, "--csv", "-"],
        &["analyze", &tune, "--svg", "-"],
        &["check", &tune, "--json", "-"],
        &["compare", &tune, &tune, "--json", "-"],
        &["compare", &tune, &tune, "--svg", "-"],
        &["strings", "--guess", &tune, "--json", "-"],
        &["export", &tune, "--to", "jams"],
        &["export", &tune, "--to", "midi"],
        &["export", &tune, "--to", "wav"],
    ] {
        let said = room.run(line).well().output.stdout;
        let held = said.windows(folder.len()).any(|w| w == folder.as_bytes());
        assert!(!held, "{line:?} tells of {folder}");
    }
    let found = json(&room.run(&["analyze", &tune, "--json", "-"]).well().said());
    assert_eq!(found["recording"]["name"], "tune.wav");
}

#[cfg(unix)]
#[test]
fn a_name_cannot_steer_the_terminal() {
    let room = Room::new();
    let name = "a\u{1b}[2Jb\u{7}c\u{202e}.wav";
    for line in [&["analyze", name][..], &["slow", "--speed", name], &[name]] {
        let said = room.run(line).complained();
        assert!(said.contains("c\\u{202e}.wav"), "{said:?}");
        assert!(!said.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{said:?}");
    }
    room.tune(1);
    std::fs::rename(room.path("tune.wav"), room.path(name)).expect("renamed");
    let done = room
        .run(&["slow", name, "--speed", "1", "--out", "\u{1b}[31m.wav"])
        .well();
    assert!(
        !done.complained().contains('\u{1b}'),
        "{:?}",
        done.complained()
    );
}

#[cfg(target_os = "linux")]
#[test]
fn help_to_a_full_device_is_an_error() {
    let full = || std::fs::File::options().write(true).open("/dev/full");
    let Ok(device) = full() else {
        println!("skipped: there is no /dev/full here");
        return;
    };
    drop(device);
    for line in [
        &["--help"][..],
        &["--version"],
        &["slow", "--help"],
        &["strings"],
    ] {
        let done = Command::new(env!("CARGO_BIN_EXE_thumbline"))
            .args(line)
            .stdout(full().expect("opens"))
            .output()
            .expect("the program starts");
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(1), "{line:?}: {said}");
        assert!(said.contains("standard output"), "{line:?}: {said}");
    }
}

#[test]
fn a_number_is_a_number_and_a_string_its_nearest_note() {
    let room = Room::new();
    let tune = room.tune(1);
    for speed in [" 0.5", "0.5 ", "\t0.5", "0.5 %"] {
        let speed = format!("--speed={speed}");
        room.run(&["slow", &tune, &speed, "--out", "out.wav"])
            .refused(2, "is not a number");
    }
    room.run(&["strings", "--tuning", "C-99 A D G B E"])
        .refused(2, "nearer to another");
    room.run(&["strings", "--tuning", "D-50 A D G A D"]).well();
    assert!(!Path::new(&room.path("out.wav")).exists());
}
