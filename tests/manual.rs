//! The manual, the same in the terminal, in `--help`, in man pages and among the project's files;
//! and the commands for those who install.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use thumbline::manual::{PAGES, page};

fn thumbline(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_thumbline"))
        .args(arguments)
        .output()
        .expect("the program starts")
}

fn said(arguments: &[&str]) -> String {
    let output = thumbline(arguments);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

#[test]
fn every_page_of_the_folder_is_in_the_manual() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("manual");
    let mut files: Vec<_> = fs::read_dir(folder)
        .expect("the manual")
        .map(|e| {
            e.expect("a page")
                .path()
                .file_stem()
                .expect("a name")
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    let mut names = PAGES.map(|page| page.name.to_owned());
    files.sort();
    names.sort();
    assert_eq!(files, names);
    for page in PAGES {
        assert!(
            page.text.starts_with("# ") && page.text.len() > 300,
            "{}",
            page.name
        );
        let plain = page.plain();
        assert!(
            !plain.contains(['`', '#']) && !plain.contains("**") && !plain.contains("]("),
            "{plain}"
        );
    }
}

#[test]
fn the_same_words_in_the_terminal_in_help_and_in_man_pages() {
    let sentence = "Attacks are never stretched";
    assert!(page("slow").expect("a page").text.contains(sentence));
    let shown = said(&["manual", "slow"]);
    assert!(shown.contains(sentence) && shown.starts_with("Slow it down"));
    assert!(
        shown.lines().all(|line| line.chars().count() <= 90),
        "{shown}"
    );
    assert!(said(&["slow", "--help"]).contains(sentence));
    assert!(
        !said(&["slow", "-h"]).contains(sentence),
        "the short help is short"
    );
    let list = said(&["manual"]);
    assert!(
        PAGES.iter().all(|page| list.contains(page.title())),
        "{list}"
    );
    let unknown = thumbline(&["manual", "cooking"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unknown.stderr).contains("start"));

    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("man1");
    said(&["manual", "--man", &path.to_string_lossy()]);
    let slow = fs::read_to_string(path.join("thumbline-slow.1")).expect("a page for the command");
    assert!(slow.starts_with(".ie") || slow.contains(".TH"), "{slow}");
    assert!(slow.contains(sentence) && slow.contains("speed"));
    let whole = fs::read_to_string(path.join("thumbline.1")).expect("a page for the program");
    assert!(
        PAGES
            .iter()
            .all(|page| whole.contains(&page.title().to_uppercase()))
    );
}

#[test]
fn shells_complete_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let script = said(&["completions", shell]);
        for command in ["analyze", "slow", "loop", "compare", "doctor"] {
            assert!(script.contains(command), "{shell} does not know {command}");
        }
    }
}

#[test]
fn the_doctor_says_what_is_there_and_names_nobody() {
    let folder = tempfile::tempdir().expect("a folder");
    let home = folder.path().join("secretname");
    fs::create_dir(&home).expect("made");
    let run = || {
        let output = Command::new(env!("CARGO_BIN_EXE_thumbline"))
            .arg("doctor")
            .env("HOME", &home)
            .env_remove("XDG_DATA_HOME")
            .env_remove("XDG_CONFIG_HOME")
            .env_remove("THUMBLINE_DATA")
            .env_remove("THUMBLINE_PRESETS")
            .env_remove("CLAP_PATH")
            .output()
            .expect("the program starts");
        assert!(output.status.success());
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let text = run();
    assert!(
        text.contains(env!("CARGO_PKG_VERSION")) && text.contains("journal"),
        "{text}"
    );
    assert!(!text.contains("secretname"), "{text}");
    assert!(
        fs::read_dir(&home).expect("readable").next().is_none(),
        "it leaves nothing behind"
    );
    if cfg!(target_os = "linux") {
        fs::create_dir(home.join(".clap")).expect("made");
        fs::write(home.join(".clap/Thumbline.clap"), "stands for the plug-in").expect("written");
        let well = run();
        assert!(well.contains("ok    plug-in, CLAP: in ~/.clap"), "{well}");
    }
}

#[test]
fn one_side_of_a_recording_is_offered_and_taken() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("take.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("a header");
    for n in 0..44_100 {
        writer.write_sample(0i16).expect("written");
        writer
            .write_sample(((f64::from(n) * 0.05).sin() * 9_000.0) as i16)
            .expect("written");
    }
    writer.finalize().expect("finished");
    let out = folder.path().join("slow.wav");
    let slow = |side: &[&str]| {
        let (path, out) = (path.to_string_lossy(), out.to_string_lossy());
        let arguments = [&["slow", &path, "--speed", "1", "--out", &out], side].concat();
        let output = thumbline(&arguments);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        let channels = hound::WavReader::open(&*out).map_or(0, |r| r.spec().channels);
        (output.status.code(), text, channels)
    };
    let (code, text, channels) = slow(&[]);
    assert_eq!((code, channels), (Some(0), 2), "{text}");
    assert!(
        text.contains("its right side only") && text.contains("--side"),
        "{text}"
    );
    let (code, text, channels) = slow(&["--side", "right"]);
    assert_eq!((code, channels), (Some(0), 1), "{text}");
    assert!(!text.contains("only"), "{text}");
    let (code, text, _) = slow(&["--side", "3"]);
    assert_eq!(code, Some(2), "{text}");
    assert!(text.contains("2 channels"), "{text}");
}
