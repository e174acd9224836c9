//! The commands as a player types them: results, exit codes, one-line errors, no half-written
//! files.

mod safe;

use proptest::prelude::*;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A folder to work in.
struct Room(TempDir);

impl Room {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// A WAV file of `frames` frames in `channels` channels made by `sample(frame, channel)`.
    fn wav(
        &self,
        name: &str,
        (rate, channels, frames): (u32, u16, usize),
        sample: impl Fn(usize, u16) -> f32,
    ) -> String {
        let spec = hound::WavSpec {
            channels,
            sample_rate: rate,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let path = self.path(name);
        let mut writer = hound::WavWriter::create(&path, spec).expect("created");
        for n in 0..frames {
            for c in 0..channels {
                writer.write_sample(sample(n, c)).expect("written");
            }
        }
        writer.finalize().expect("finished");
        path.display().to_string()
    }

    /// Three seconds of tones that begin every half second.
    fn tune(&self, channels: u16) -> String {
        self.wav("tune.wav", (44_100, channels, 132_300), |n, c| {
            let t = (n % 22_050) as f32 / 44_100.0;
            let hz = 110.0 * (1 + (n / 22_050) % 3) as f32;
            let level = if c == 0 { 0.4 } else { 0.3 };
            level * (-6.0 * t).exp() * (std::f32::consts::TAU * hz * t).sin()
        })
    }

    fn run(&self, arguments: &[&str]) -> Done {
        let output = Command::new(env!("CARGO_BIN_EXE_thumbline"))
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .expect("the program starts");
        Done {
            asked: arguments.join(" "),
            output,
        }
    }

    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(self.0.path())
            .expect("the folder")
            .map(|e| {
                e.expect("an entry")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        names.sort();
        names
    }
}

struct Done {
    asked: String,
    output: Output,
}

impl Done {
    fn said(&self) -> String {
        String::from_utf8_lossy(&self.output.stdout).into_owned()
    }

    fn complained(&self) -> String {
        String::from_utf8_lossy(&self.output.stderr).into_owned()
    }

    fn well(self) -> Self {
        let code = self.output.status.code();
        assert_eq!(code, Some(0), "{}: {}", self.asked, self.complained());
        self
    }

    /// Refused with `code` in one line that names `what`.
    fn refused(self, code: i32, what: &str) {
        let text = self.complained();
        assert_eq!(
            self.output.status.code(),
            Some(code),
            "{}: {text}",
            self.asked
        );
        assert_eq!(text.lines().count(), 1, "{}: {text}", self.asked);
        assert!(text.starts_with("thumbline: "), "{text}");
        assert!(
            text.contains(what),
            "{}: {text} does not say {what}",
            self.asked
        );
        assert!(self.said().is_empty(), "{}", self.said());
    }
}

fn read(path: &Path) -> (hound::WavSpec, Vec<i32>) {
    let mut reader = hound::WavReader::open(path).expect("a WAV file");
    let samples = reader.samples().map(|s| s.expect("a sample")).collect();
    (reader.spec(), samples)
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).expect("JSON")
}

#[test]
fn recordings_at_fault_end_with_1_and_commands_with_2() {
    let room = Room::new();
    let tune = room.tune(1);
    std::fs::write(room.path("empty.wav"), b"").expect("written");
    std::fs::write(room.path("letter.wav"), b"dear reader\n".repeat(300)).expect("written");
    let none = room.wav("none.wav", (44_100, 1, 0), |_, _| 0.0);
    let before = room.names();
    for file in ["nowhere.wav", "empty.wav", "letter.wav", none.as_str(), "."] {
        room.run(&["analyze", file, "--json", "out.json"])
            .refused(1, file);
        room.run(&["check", file]).refused(1, file);
        room.run(&["slow", file, "--speed", "0.5", "--out", "out.wav"])
            .refused(1, file);
        let part = ["--from-s", "0", "--to-s", "1", "--out", "out.wav"];
        room.run(&[&["loop", file][..], &part].concat())
            .refused(1, file);
    }
    let slow = |more: &[&str]| room.run(&[&["slow", tune.as_str()][..], more].concat());
    for speed in ["0", "100", "-1", "nan", "inf", "fast", "0.24", "151%"] {
        slow(&["--out", "out.wav", &format!("--speed={speed}")]).refused(2, "speed");
    }
    slow(&["--speed", "0.5"]).refused(2, "--out");
    slow(&["--out", "out.wav"]).refused(2, "--speed");
    slow(&["--speed", "1", "--out", "out.wav", "--from-s", "9"]).refused(2, "tune.wav");
    slow(&[
        "--speed", "1", "--out", "out.wav", "--from-s", "2", "--to-s", "1",
    ])
    .refused(2, "--to-s");
    slow(&["--speed", "1", "--out", "out.wav", "--pitch", "13"]).refused(2, "12");
    slow(&["--speed", "1", "--out", "no/folder/out.wav"]).refused(1, "no/folder/out.wav");
    slow(&["--speeds", "nowhere.txt", "--out", "out.wav"]).refused(1, "nowhere.txt");
    std::fs::write(room.path("map.txt"), "0 0.5\n1 7\n").expect("written");
    slow(&["--speeds", "map.txt", "--out", "out.wav"]).refused(2, "map.txt");
    std::fs::remove_file(room.path("map.txt")).expect("removed");
    for bars in ["0-400", "900", "6-5", "x"] {
        room.run(&["loop", &tune, "--bars", bars, "--out", "out.wav", "--quiet"])
            .refused(2, "bar");
    }
    room.run(&[
        "loop", &tune, "--from-s", "1", "--to-s", "99", "--out", "out.wav",
    ])
    .refused(2, "tune.wav");
    room.run(&[
        "loop", &tune, "--from-s", "1", "--to-s", "2", "--times", "0", "--out", "out.wav",
    ])
    .refused(2, "times");
    room.run(&["analyze", &tune, "--json", "a", "--csv", "a"])
        .refused(2, "same");
    room.run(&["dance"]).refused(2, "dance");
    room.run(&[]).refused(2, "analyze");
    assert_eq!(room.names(), before, "nothing was written");
}

#[test]
fn doubtful_recordings_give_a_result_and_a_note() {
    let room = Room::new();
    let silent = room.wav("silent.wav", (44_100, 2, 88_200), |_, _| 0.0);
    let broken = room.wav("broken.wav", (44_100, 1, 44_100), |n, _| match n {
        0..100 => f32::NAN,
        100..200 => f32::INFINITY,
        _ => (n as f32 * 0.02).sin() * 0.3,
    });
    let one = room.wav("one.wav", (44_100, 1, 1), |_, _| 0.5);
    let six = room.wav("six.wav", (48_000, 6, 48_000), |n, c| {
        (n as f32 * 0.01 * f32::from(c + 1)).sin() * 0.2
    });
    let slow8 = room.wav("slow8.wav", (8_000, 1, 8_000), |n, _| {
        (n as f32 * 0.2).sin() * 0.5
    });
    for (file, note) in [
        (&silent, "silent"),
        (&broken, "200 samples"),
        (&one, "too short"),
        (&six, ""),
        (&slow8, ""),
    ] {
        let done = room.run(&["analyze", file, "--json", "-"]).well();
        assert!(done.complained().contains(note), "{}", done.complained());
        let found = json(&done.said());
        assert_eq!(found["schema"], "thumbline.analysis");
        assert!(found["onsets"].is_array() && found["beats_s"].is_array());
        room.run(&["check", file]).well();
        room.run(&["slow", file, "--speed", "0.5", "--out", "out.wav"])
            .well();
    }
    let quiet = room
        .run(&["analyze", &silent, "--quiet", "--json", "-"])
        .well();
    assert!(quiet.complained().is_empty());
}

#[test]
fn slow_keeps_rate_channels_and_length_and_full_speed_is_exact() {
    let room = Room::new();
    for channels in [1, 2] {
        let tune = room.tune(channels);
        for speed in [0.25, 0.5, 0.7, 1.5] {
            let text = speed.to_string();
            room.run(&["slow", &tune, "--speed", &text, "--out", "out.wav"])
                .well();
            let (spec, samples) = read(&room.path("out.wav"));
            assert_eq!(
                (spec.sample_rate, spec.channels, spec.bits_per_sample),
                (44_100, channels, 24)
            );
            let frames = (132_300.0f64 / speed).round() as usize;
            assert_eq!(samples.len(), frames * usize::from(channels), "at {speed}");
        }
        room.run(&[
            "slow", &tune, "--speed", "100%", "--float", "--out", "out.wav",
        ])
        .well();
        let same = |path: &Path| -> Vec<f32> {
            let mut reader = hound::WavReader::open(path).expect("a WAV file");
            reader.samples().map(|s| s.expect("a sample")).collect()
        };
        assert_eq!(same(&room.path("out.wav")), same(Path::new(&tune)));
    }
}

#[test]
fn too_loud_for_24_bits_is_written_as_floating_point() {
    let room = Room::new();
    let loud = room.wav("loud.wav", (44_100, 1, 22_050), |n, _| {
        1.8 * (n as f32 * 0.05).sin()
    });
    let done = room
        .run(&["slow", &loud, "--speed", "1", "--out", "out.wav"])
        .well();
    assert!(
        done.complained().contains("louder"),
        "{}",
        done.complained()
    );
    let spec = hound::WavReader::open(room.path("out.wav"))
        .expect("a WAV file")
        .spec();
    assert_eq!(spec.sample_format, hound::SampleFormat::Float);
}

#[test]
fn a_loop_is_its_part_so_many_times() {
    let room = Room::new();
    let tune = room.tune(1);
    let part = [
        "--from-s", "0.5", "--to-s", "1.7", "--times", "3", "--speed", "0.5",
    ];
    room.run(&[&["loop", tune.as_str(), "--out", "out.wav"][..], &part].concat())
        .well();
    let (spec, samples) = read(&room.path("out.wav"));
    assert_eq!(spec.channels, 1);
    let expected = (3.0f64 * 1.2 / 0.5 * 44_100.0).round() as usize;
    assert!(
        samples.len().abs_diff(expected) <= 4,
        "{} for {expected}",
        samples.len()
    );
}

#[test]
fn reports_go_to_standard_output_alone() {
    let room = Room::new();
    let tune = room.tune(1);
    let csv = room.run(&["analyze", &tune, "--csv", "-"]).well().said();
    assert!(csv.starts_with("time_s,") && csv.lines().all(|l| l.matches(',').count() == 15));
    let check = room.run(&["check", &tune, "--json", "-"]).well().said();
    assert_eq!(json(&check)["schema"], "thumbline.check");
    let sound = room
        .run(&["slow", &tune, "--speed", "0.8", "--out", "-"])
        .well();
    let reader =
        hound::WavReader::new(std::io::Cursor::new(sound.output.stdout)).expect("a WAV file");
    assert_eq!(reader.duration(), (132_300.0f64 / 0.8).round() as u32);
}

#[test]
fn help_and_version_are_answers() {
    let room = Room::new();
    for arguments in [
        &["--help"][..],
        &["--version"],
        &["slow", "--help"],
        &["loop", "-h"],
    ] {
        assert!(!room.run(arguments).well().said().is_empty());
    }
}

fn number() -> impl Strategy<Value = String> {
    prop_oneof![
        (-2.0f64..8.0).prop_map(|v| format!("{v:.3}")),
        any::<f64>().prop_map(|v| v.to_string()),
        Just("1e308".to_owned()),
        "[0-9.%-]{0,5}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 60,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Whatever numbers are typed: done, or one line and nothing written.
    #[test]
    fn any_numbers_are_done_or_refused(
        speed in number(),
        from in number(),
        to in number(),
        times in number(),
        looping in any::<bool>(),
    ) {
        let room = Room::new();
        let tune = room.wav("tune.wav", (8_000, 1, 16_000), |n, _| (n as f32 * 0.3).sin() * 0.5);
        let (speed, from) = (format!("--speed={speed}"), format!("--from-s={from}"));
        let (to, times) = (format!("--to-s={to}"), format!("--times={times}"));
        let mut line = vec![if looping { "loop" } else { "slow" }, &tune, "--out", "out.wav"];
        line.extend([speed.as_str(), from.as_str(), to.as_str()]);
        if looping {
            line.push(&times);
        }
        let done = room.run(&line);
        let code = done.output.status.code();
        let text = done.complained();
        prop_assert!(!text.contains("panicked"), "{}", text);
        if code == Some(0) {
            prop_assert!(room.path("out.wav").exists());
        } else {
            prop_assert!(code == Some(1) || code == Some(2), "{:?} {}", code, text);
            prop_assert_eq!(text.lines().count(), 1, "{}", text);
            prop_assert_eq!(room.names(), ["tune.wav"]);
        }
    }
}
