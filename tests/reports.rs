//! Reports: WAV bytes that others read, files written whole or not at all.

use proptest::prelude::*;
use std::io::{self, Cursor};
use std::path::Path;
use thumbline::report::file::Target;
use thumbline::report::wav::{self, Depth};

fn bytes(rate: u32, channels: &[Vec<f32>], depth: Depth) -> Vec<u8> {
    let mut out = Vec::new();
    wav::write(&mut out, rate, channels, depth).expect("memory takes it");
    out
}

#[test]
fn whole_numbers_of_24_bits_come_back_exactly() {
    let values: Vec<i32> = vec![0, 1, -1, 8_388_607, -8_388_608, 123_456, -654_321];
    let left: Vec<f32> = values.iter().map(|v| *v as f32 / 8_388_608.0).collect();
    let right: Vec<f32> = left.iter().rev().copied().collect();
    let file = bytes(44_100, &[left, right], Depth::Int24);
    let mut reader = hound::WavReader::new(Cursor::new(file)).expect("readable");
    let spec = reader.spec();
    assert_eq!(
        (spec.channels, spec.sample_rate, spec.bits_per_sample),
        (2, 44_100, 24)
    );
    let read: Vec<i32> = reader.samples().map(|s| s.expect("a sample")).collect();
    let expected: Vec<i32> = values
        .iter()
        .zip(values.iter().rev())
        .flat_map(|(l, r)| [*l, *r])
        .collect();
    assert_eq!(read, expected);
}

#[test]
fn too_loud_is_clipped_in_24_bits_and_kept_in_float() {
    let loud = vec![vec![1.5f32, -2.0, 0.25]];
    let mut ints =
        hound::WavReader::new(Cursor::new(bytes(8_000, &loud, Depth::Int24))).expect("readable");
    let read: Vec<i32> = ints.samples().map(|s| s.expect("a sample")).collect();
    assert_eq!(read, [8_388_607, -8_388_608, 2_097_152]);
    let mut floats =
        hound::WavReader::new(Cursor::new(bytes(8_000, &loud, Depth::Float32))).expect("readable");
    let read: Vec<f32> = floats.samples().map(|s| s.expect("a sample")).collect();
    assert_eq!(read, loud[0]);
}

/// Names in a folder, hidden ones too.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("a folder")
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

#[test]
fn a_report_that_fails_halfway_leaves_the_old_one_untouched() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("take.json");
    let target = Target::of(&path);
    target
        .write(|out| out.write_all(b"the first"))
        .expect("written");
    let failed = target.write(|out| {
        out.write_all(&vec![b'x'; 100_000])?;
        assert_eq!(std::fs::read(&path).expect("still there"), b"the first");
        Err(io::Error::other("the disk is full"))
    });
    let text = failed.expect_err("failed").to_string();
    assert!(
        text.contains("take.json") && text.contains("disk is full"),
        "{text}"
    );
    assert_eq!(std::fs::read(&path).expect("still there"), b"the first");
    assert_eq!(names(folder.path()), ["take.json"], "nothing is left over");
    target
        .write(|out| out.write_all(b"the second"))
        .expect("written");
    assert_eq!(std::fs::read(&path).expect("there"), b"the second");
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    for path in [
        folder.path().join("no/such/take.wav"),
        folder.path().to_owned(),
    ] {
        let text = Target::of(&path)
            .write(|out| out.write_all(b"x"))
            .expect_err("refused")
            .to_string();
        assert!(text.contains(&path.display().to_string()), "{text}");
        assert!(!text.contains('\n'), "{text}");
    }
    assert!(names(folder.path()).is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_sound_survives_writing_and_reading(
        frames in 0usize..300,
        width in 1usize..7,
        rate in prop::sample::select(vec![8_000u32, 22_050, 44_100, 192_000]),
        seed in any::<u32>(),
    ) {
        let channels: Vec<Vec<f32>> = (0..width)
            .map(|c| {
                (0..frames)
                    .map(|n| ((n as f32 + 1.0) * (c as f32 + 0.37) + seed as f32 * 1e-6).sin() * 0.99)
                    .collect()
            })
            .collect();
        for depth in [Depth::Int24, Depth::Float32] {
            let file = bytes(rate, &channels, depth);
            prop_assert_eq!(file.len() % 2, 0);
            prop_assert_eq!(
                u32::from_le_bytes(file[4..8].try_into().expect("four bytes")) as usize + 8,
                file.len()
            );
            let mut reader = hound::WavReader::new(Cursor::new(file)).expect("readable");
            prop_assert_eq!(reader.spec().sample_rate, rate);
            prop_assert_eq!(reader.spec().channels as usize, width);
            let read: Vec<f32> = match depth {
                Depth::Int24 => reader
                    .samples::<i32>()
                    .map(|s| s.expect("a sample") as f32 / 8_388_608.0)
                    .collect(),
                Depth::Float32 => reader.samples::<f32>().map(|s| s.expect("a sample")).collect(),
            };
            prop_assert_eq!(read.len(), frames * width);
            for (i, s) in read.iter().enumerate() {
                prop_assert!((s - channels[i % width][i / width]).abs() <= 0.6 / 8_388_608.0);
            }
        }
    }
}
