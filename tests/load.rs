//! Reading recordings: every format, every depth, in part and step by step, and bad files.

use proptest::prelude::*;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use thumbline::load::{Decoder, LoadError, Part, load};
use thumbline::recording::Recording;
use thumbline::unit::Seconds;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fixtures")
        .join(name)
}

/// The sound in the fixtures, as `tests/reference/fixtures.py` makes it.
fn tones() -> Vec<f32> {
    const RATE: f64 = 16_000.0;
    let parts = [(1_600, 196.0), (4_000, 293.66), (6_400, 392.0)];
    (0..9_600)
        .map(|n| {
            let sum: f64 = parts
                .iter()
                .filter(|(start, _)| n >= *start)
                .map(|&(start, hz)| {
                    let t = f64::from(n - start) / RATE;
                    0.3 * (-8.0 * t).exp() * (std::f64::consts::TAU * hz * t).sin()
                })
                .sum();
            ((sum * 32_767.0 + 0.5).floor() / 32_768.0) as f32
        })
        .collect()
}

/// The shift of `heard` against `truth` (in samples, positive is late) at which they agree best,
/// and that agreement as a signal-to-error ratio in dB.
fn agreement(heard: &[f32], truth: &[f32]) -> (i64, f64) {
    let at = |i: i64| usize::try_from(i).ok().and_then(|i| heard.get(i)).copied();
    let energy: f64 = truth.iter().map(|s| f64::from(*s).powi(2)).sum();
    (-3_000..=3_000)
        .map(|shift| {
            let error: f64 = truth
                .iter()
                .enumerate()
                .map(|(i, s)| f64::from(at(i as i64 + shift).unwrap_or(0.0) - s).powi(2))
                .sum();
            (shift, 10.0 * (energy / error.max(1e-12)).log10())
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .expect("shifts were tried")
}

fn check_fixture(name: &str, decibels: f64) {
    let recording = load(&fixture(name)).expect(name);
    assert_eq!(recording.rate(), 16_000, "{name}");
    assert_eq!(recording.channels().len(), 1, "{name}");
    let (shift, ratio) = agreement(&recording.channels()[0], &tones());
    println!(
        "{name}: shift {shift} samples, {ratio:.1} dB, {} frames",
        recording.frames()
    );
    assert_eq!(shift, 0, "{name} comes late");
    assert!(ratio > decibels, "{name}: {ratio:.1} dB");
}

#[test]
fn lossless_formats_are_read_exactly() {
    for name in ["tones.aiff", "tones.caf", "tones.flac", "tones-alac.m4a"] {
        check_fixture(name, 90.0);
        assert_eq!(load(&fixture(name)).expect(name).frames(), 9_600, "{name}");
    }
}

#[test]
fn lossy_formats_are_read_in_place() {
    check_fixture("tones.mp3", 15.0);
    check_fixture("tones.ogg", 15.0);
    check_fixture("tones-aac.m4a", 15.0);
}

fn wav(
    spec: hound::WavSpec,
    write: impl Fn(&mut hound::WavWriter<&mut Cursor<Vec<u8>>>),
) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a header");
    write(&mut writer);
    writer.finalize().expect("finished");
    bytes.into_inner()
}

fn spec(channels: u16, rate: u32, bits: u16, format: hound::SampleFormat) -> hound::WavSpec {
    hound::WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format: format,
    }
}

fn read(bytes: &[u8]) -> Result<Recording, LoadError> {
    let mut decoder = Decoder::from_bytes("bytes.wav", bytes.to_vec(), Part::WHOLE)?;
    while decoder.step()? {}
    decoder.finish()
}

#[test]
fn every_wav_depth_rate_and_width() {
    use hound::SampleFormat::{Float, Int};
    for (bits, rate, channels) in [
        (8, 8_000, 1),
        (16, 44_100, 2),
        (24, 96_000, 6),
        (32, 192_000, 1),
    ] {
        let full = f64::from(bits - 1).exp2();
        let values: Vec<i32> = (0..600)
            .map(|n| (f64::from(n).sin() * 0.9 * full) as i32)
            .collect();
        let bytes = wav(spec(channels, rate, bits, Int), |w| {
            for v in &values {
                w.write_sample(*v).expect("written");
            }
        });
        let recording = read(&bytes).expect("readable");
        assert_eq!(recording.rate(), rate);
        assert_eq!(recording.channels().len(), usize::from(channels));
        assert_eq!(recording.frames() * usize::from(channels), 600);
        for (i, v) in values.iter().enumerate() {
            let width = usize::from(channels);
            let heard = recording.channels()[i % width][i / width];
            assert!(
                (f64::from(heard) - f64::from(*v) / full).abs() < 1e-7,
                "{bits} bits"
            );
        }
    }
    let bytes = wav(spec(1, 48_000, 32, Float), |w| {
        for n in 0..100 {
            w.write_sample(n as f32 * 0.03 - 1.5).expect("written");
        }
    });
    let recording = read(&bytes).expect("readable");
    assert!(
        (recording.channels()[0][99] - 1.47).abs() < 1e-6,
        "floats beyond 1 stay"
    );
}

#[test]
fn samples_that_are_no_sound_become_silence_and_are_counted() {
    let bytes = wav(spec(1, 44_100, 32, hound::SampleFormat::Float), |w| {
        for v in [0.5, f32::NAN, f32::INFINITY, -1e30, f32::NEG_INFINITY, 0.25] {
            w.write_sample(v).expect("written");
        }
    });
    let recording = read(&bytes).expect("readable");
    assert_eq!(recording.channels()[0], [0.5, 0.0, 0.0, 0.0, 0.0, 0.25]);
    assert_eq!(recording.repaired(), 4);
}

#[test]
fn one_sample_is_a_recording() {
    let bytes = wav(spec(1, 44_100, 16, hound::SampleFormat::Int), |w| {
        w.write_sample(100i16).expect("written");
    });
    assert_eq!(read(&bytes).expect("readable").frames(), 1);
}

#[test]
fn what_is_no_recording_is_refused_by_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("tune.wav");
    let message = |path: &Path| {
        let text = load(path).expect_err("refused").to_string();
        assert!(text.contains(&path.display().to_string()), "{text}");
        assert!(!text.contains('\n'), "{text}");
        text
    };
    assert!(message(&path).contains("no file"));
    assert!(message(folder.path()).contains("folder"));
    std::fs::write(&path, b"").expect("written");
    assert!(message(&path).contains("empty"));
    std::fs::write(&path, b"a letter, not a tune\n".repeat(400)).expect("written");
    assert!(message(&path).contains("convert"));
    let no_frames = wav(spec(2, 44_100, 16, hound::SampleFormat::Int), |_| {});
    std::fs::write(&path, no_frames).expect("written");
    assert!(message(&path).contains("no sound"));
    let slow = wav(spec(1, 4_000, 16, hound::SampleFormat::Int), |w| {
        (0..4_000).for_each(|n| w.write_sample((n % 100) as i16).expect("written"));
    });
    std::fs::write(&path, slow).expect("written");
    assert!(message(&path).contains("4000 Hz"));
}

#[test]
fn a_cut_off_file_gives_what_is_there() {
    let whole = std::fs::read(fixture("tones.flac")).expect("the fixture");
    let half = whole[..whole.len() - 1_500].to_vec(); // its padding alone is 8 KiB
    let mut decoder = Decoder::from_bytes("half.flac", half, Part::WHOLE).expect("opens");
    while decoder.step().expect("reads") {}
    let warnings = decoder.warnings();
    let recording = decoder.finish().expect("something");
    assert!(recording.frames() > 1_000 && recording.frames() < 9_600);
    assert!(
        warnings.iter().any(|w| w.contains("half.flac")),
        "{warnings:?}"
    );
    assert_eq!(recording.channels()[0][..1_000], tones()[..1_000]);
    for name in ["tones.aiff", "tones.mp3", "tones.aac"] {
        let whole = std::fs::read(fixture(name)).expect("the fixture");
        let frames = read(&whole[..whole.len() / 2]).expect(name).frames();
        assert!(frames > 2_000 && frames < 8_000, "{name}: {frames}");
    }
}

#[test]
fn a_growing_prefix_is_the_beginning_of_the_whole() {
    let whole = load(&fixture("tones.mp3")).expect("readable");
    let mut decoder = Decoder::open(&fixture("tones.mp3"), Part::WHOLE).expect("opens");
    let mut last = 0;
    while decoder.step().expect("reads") {
        let prefix = decoder.prefix().expect("some sound");
        assert!(prefix.frames() >= last);
        last = prefix.frames();
        assert_eq!(prefix.channels()[0], whole.channels()[0][..last]);
    }
    assert_eq!(decoder.finish().expect("whole").hash(), whole.hash());
}

#[test]
fn a_part_is_cut_to_the_frame() {
    let whole = load(&fixture("tones.flac")).expect("readable");
    let part = Part {
        from: Seconds(0.1),
        to: Some(Seconds(0.35)),
    };
    let mut decoder = Decoder::open(&fixture("tones.flac"), part).expect("opens");
    while decoder.step().expect("reads") {}
    let recording = decoder.finish().expect("a part");
    assert_eq!(recording.channels()[0], whole.channels()[0][1_600..5_600]);
    let after = Part {
        from: Seconds(7.0),
        to: None,
    };
    let mut decoder = Decoder::open(&fixture("tones.flac"), after).expect("opens");
    while decoder.step().expect("reads") {}
    assert!(matches!(decoder.finish(), Err(LoadError::Outside { .. })));
}

/// A sparse WAV file that says, truly, that it is three hours long.
fn three_hours(path: &Path) {
    let head = wav(spec(2, 44_100, 16, hound::SampleFormat::Int), |w| {
        (0..44_100).for_each(|n| w.write_sample((n % 64) as i16).expect("written"));
    });
    let data = 3 * 3600 * 44_100 * 4u32;
    let mut bytes = head;
    let at = bytes
        .windows(4)
        .position(|w| w == b"data")
        .expect("a data chunk");
    bytes[at + 4..at + 8].copy_from_slice(&data.to_le_bytes());
    bytes[4..8].copy_from_slice(&(data + at as u32).to_le_bytes());
    std::fs::write(path, &bytes).expect("written");
    let file = std::fs::File::options()
        .write(true)
        .open(path)
        .expect("opens");
    file.set_len(u64::from(data) + at as u64 + 8)
        .expect("grows");
}

#[test]
fn three_hours_are_refused_at_once_and_a_part_still_works() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("evening.wav");
    three_hours(&path);
    let text = load(&path).expect_err("too long").to_string();
    assert!(
        text.contains("--from-s") && text.contains("50 minutes"),
        "{text}"
    );
    let part = Part {
        from: Seconds(20.0),
        to: Some(Seconds(21.0)),
    };
    let mut decoder = Decoder::open(&path, part).expect("opens");
    while decoder.step().expect("reads") {}
    assert_eq!(decoder.finish().expect("a second").frames(), 44_100);
}

#[test]
fn a_false_promise_of_length_is_not_believed() {
    let mut bytes = wav(spec(1, 44_100, 16, hound::SampleFormat::Int), |w| {
        (0..500).for_each(|n| w.write_sample((n % 64) as i16).expect("written"));
    });
    let at = bytes
        .windows(4)
        .position(|w| w == b"data")
        .expect("a data chunk");
    bytes[4..8].copy_from_slice(&0xFFFF_FFF8u32.to_le_bytes());
    bytes[at + 4..at + 8].copy_from_slice(&0xFFFF_FF00u32.to_le_bytes());
    assert_eq!(read(&bytes).expect("readable").frames(), 500);
}

fn damaged_fixture() -> impl Strategy<Value = Vec<u8>> {
    let names = [
        "tones.mp3",
        "tones.ogg",
        "tones-aac.m4a",
        "tones.aac",
        "tones-alac.m4a",
        "tones.flac",
        "tones.aiff",
        "tones.caf",
    ];
    let changes = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..24);
    (
        0..names.len(),
        changes,
        any::<prop::sample::Index>(),
        any::<bool>(),
    )
        .prop_map(move |(which, changes, cut, head)| {
            let mut bytes = std::fs::read(fixture(names[which])).expect("the fixture");
            // Headers steer more than sound does: half of the cases damage only the beginning.
            let reach = if head {
                bytes.len().min(256)
            } else {
                bytes.len()
            };
            for (at, value) in changes {
                bytes[at.index(reach)] = value;
            }
            if !head {
                bytes.truncate(1 + cut.index(bytes.len()));
            }
            bytes
        })
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn damaged_files_never_panic(bytes in damaged_fixture()) {
        match read(&bytes) {
            Ok(recording) => {
                prop_assert!(recording.frames() > 0);
                prop_assert!(recording.channels().iter().flatten().all(|s| s.is_finite()));
            }
            Err(error) => prop_assert!(!error.to_string().contains('\n')),
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read(&bytes);
    }
}
