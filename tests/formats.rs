//! What players have: memos of telephones, videos, downloads, multichannel recorders. Each file is
//! made here by ffmpeg, the independent encoder; where there is none, that is said.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use thumbline::load::{LoadError, load};
use thumbline::recording::Recording;

/// Frames a second of the sound that is encoded.
const RATE: u32 = 48_000;

/// Two seconds: three plucks of a few partials each, the last one ringing into the end.
fn plucks(rate: u32) -> Vec<f32> {
    let rate = f64::from(rate);
    let strings = [(0.1, 146.83), (0.55, 220.0), (1.0, 293.66)];
    (0..(2.0 * rate) as usize)
        .map(|n| {
            let now = n as f64 / rate;
            let sum: f64 = strings
                .iter()
                .filter(|(start, _)| now >= *start)
                .flat_map(|&(start, hz)| (1..6).map(move |k| (start, hz * f64::from(k), k)))
                .map(|(start, hz, k)| {
                    let t = now - start;
                    let swell = (t * 500.0).min(1.0);
                    0.2 / f64::from(k)
                        * swell
                        * (-3.0 * t).exp()
                        * (std::f64::consts::TAU * hz * t).sin()
                })
                .sum();
            sum as f32
        })
        .collect()
}

struct Kitchen {
    folder: tempfile::TempDir,
}

impl Kitchen {
    /// None where there is no ffmpeg.
    fn new() -> Option<Self> {
        let known = Command::new("ffmpeg")
            .arg("-version")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        if !known.is_ok_and(|s| s.success()) {
            println!("skipped: formats of telephones and videos (there is no ffmpeg here)");
            return None;
        }
        let kitchen = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        kitchen.wav("in.wav", RATE, &[plucks(RATE)]);
        Some(kitchen)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn wav(&self, name: &str, rate: u32, channels: &[Vec<f32>]) {
        let spec = hound::WavSpec {
            channels: channels.len() as u16,
            sample_rate: rate,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(self.path(name), spec).expect("a header");
        for n in 0..channels[0].len() {
            for channel in channels {
                writer
                    .write_sample((channel[n] * 32_768.0).round() as i16)
                    .expect("written");
            }
        }
        writer.finalize().expect("finished");
    }

    /// Makes `name` by ffmpeg's `arguments` in this folder; none where this ffmpeg cannot.
    fn cook(&self, name: &str, arguments: &str) -> Option<PathBuf> {
        let done = Command::new("ffmpeg")
            .current_dir(self.folder.path())
            .args(["-nostdin", "-y", "-v", "error"])
            .args(arguments.split_whitespace())
            .arg(name)
            .output()
            .expect("ffmpeg starts");
        if !done.status.success() {
            let said = String::from_utf8_lossy(&done.stderr).into_owned();
            let why = said.lines().next().unwrap_or("no reason given");
            println!("skipped: {name} (this ffmpeg cannot make it: {why})");
            return None;
        }
        Some(self.path(name))
    }
}

/// By how many frames `heard` comes late against `truth`, and how far above its error the sound
/// is, in dB, at the best shift and level.
fn agreement(heard: &[f32], truth: &[f32]) -> (i64, f64) {
    let at = |i: i64| {
        usize::try_from(i)
            .ok()
            .and_then(|i| heard.get(i))
            .map_or(0.0, |s| f64::from(*s))
    };
    let energy: f64 = truth.iter().map(|s| f64::from(*s).powi(2)).sum();
    // The first pluck tells the shift.
    let first = 4_000..16_000;
    let product = |shift: i64| -> f64 {
        let pairs = first.clone().map(|i| (truth[i], at(i as i64 + shift)));
        pairs.map(|(t, h)| f64::from(t) * h).sum()
    };
    let shift = (-2_500..=2_500)
        .max_by(|a, b| product(*a).total_cmp(&product(*b)))
        .expect("some");
    let error: f64 = truth
        .iter()
        .enumerate()
        .map(|(i, t)| (f64::from(*t) - at(i as i64 + shift)).powi(2))
        .sum();
    (shift, 10.0 * (energy / error.max(1e-12)).log10())
}

fn read(path: &Path) -> Recording {
    load(path).unwrap_or_else(|why| panic!("{why}"))
}

const PICTURE: &str = "-f lavfi -i testsrc=duration=2:size=64x48:rate=10";

#[test]
fn every_format_that_players_have_opens_in_place() {
    let Some(kitchen) = Kitchen::new() else {
        return;
    };
    let truth = plucks(RATE);
    // Name, how it is made, dB that the codec leaves above its error (of 16 bits no more than 80).
    let made = [
        (
            "memo.opus",
            "-i in.wav -c:a libopus -b:a 160k".to_owned(),
            15.0,
        ),
        (
            "memo.ogg",
            "-i in.wav -c:a libopus -b:a 160k".to_owned(),
            15.0,
        ),
        ("flac.ogg", "-i in.wav -c:a flac -f ogg".to_owned(), 60.0),
        (
            "memo.webm",
            "-i in.wav -c:a libopus -b:a 160k".to_owned(),
            15.0,
        ),
        (
            "memo.caf",
            "-i in.wav -c:a libopus -b:a 160k".to_owned(),
            15.0,
        ),
        (
            "film.webm",
            format!("{PICTURE} -i in.wav -c:v libvpx -c:a libopus -b:a 160k"),
            15.0,
        ),
        (
            "vorbis.webm",
            format!("{PICTURE} -i in.wav -c:v libvpx -c:a libvorbis -q:a 6"),
            15.0,
        ),
        (
            "film.mkv",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a aac -b:a 160k"),
            15.0,
        ),
        (
            "film.mp4",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a aac -b:a 160k"),
            15.0,
        ),
        (
            "opus.mp4",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a libopus -b:a 160k"),
            15.0,
        ),
        (
            "film.mov",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a aac -b:a 160k"),
            15.0,
        ),
        (
            "pcm.mov",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a pcm_s16le"),
            60.0,
        ),
        (
            "call.3gp",
            "-i in.wav -c:a aac -b:a 160k -f 3gp".to_owned(),
            15.0,
        ),
        (
            "big.wav",
            "-i in.wav -c:a pcm_s24le -rf64 always".to_owned(),
            60.0,
        ),
        ("adpcm.wav", "-i in.wav -c:a adpcm_ms".to_owned(), 15.0),
        (
            "audio.m4b",
            "-i in.wav -c:a aac -b:a 160k -f mp4".to_owned(),
            15.0,
        ),
    ];
    for (name, how, decibels) in made {
        let Some(path) = kitchen.cook(name, &how) else {
            continue;
        };
        let recording = read(&path);
        assert_eq!(recording.rate(), RATE, "{name}");
        let (shift, ratio) = agreement(&recording.channels()[0], &truth);
        let extra = recording.frames() as i64 - truth.len() as i64;
        println!("{name}: {shift} frames late, {ratio:.1} dB, {extra} frames too many");
        assert!(ratio > decibels, "{name}: {ratio:.1} dB");
        // AAC in Matroska says nothing of its lead-in: the encoder's delay is left.
        let most = if name == "film.mkv" { 2_112 } else { 1 };
        assert!(shift.abs() <= most, "{name} comes {shift} frames late");
        // A last packet may end in up to 120 ms of silence (RFC 6716), AAC's in 1,024 frames.
        assert!(
            (-1..=5760).contains(&(extra - shift)),
            "{name}: {extra} frames too many"
        );
    }
}

#[test]
fn eight_to_a_hundred_and_ninety_two_kilohertz() {
    let Some(kitchen) = Kitchen::new() else {
        return;
    };
    let made = [
        ("telephone.wav", "-i in.wav -ar 8000 -c:a pcm_mulaw", 8_000),
        ("exchange.wav", "-i in.wav -ar 8000 -c:a pcm_alaw", 8_000),
        (
            "memo.mp3",
            "-i in.wav -ar 8000 -c:a libmp3lame -b:a 32k",
            8_000,
        ),
        ("memo.m4a", "-i in.wav -ar 11025 -c:a aac -b:a 32k", 11_025),
        ("studio.flac", "-i in.wav -ar 192000 -c:a flac", 192_000),
        (
            "studio.aiff",
            "-i in.wav -ar 176400 -c:a pcm_s24be",
            176_400,
        ),
    ];
    for (name, how, rate) in made {
        let Some(path) = kitchen.cook(name, how) else {
            continue;
        };
        let recording = read(&path);
        assert_eq!(recording.rate(), rate, "{name}");
        let length = recording.end().0;
        assert!((1.99..2.35).contains(&length), "{name}: {length} s");
    }
}

#[test]
fn a_sound_track_that_begins_late_begins_with_its_sound() {
    let Some(kitchen) = Kitchen::new() else {
        return;
    };
    let truth = plucks(RATE);
    for name in ["late.mp4", "late.mov", "late.mkv"] {
        let how = format!("{PICTURE} -itsoffset 0.7 -i in.wav -c:v mpeg4 -c:a pcm_s16le");
        let how = if name == "late.mp4" {
            how.replace("pcm_s16le", "aac -b:a 160k")
        } else {
            how
        };
        let Some(path) = kitchen.cook(name, &how) else {
            continue;
        };
        let (shift, ratio) = agreement(&read(&path).channels()[0], &truth);
        println!("{name}: {shift} frames late, {ratio:.1} dB");
        // In MP4 the encoder's lead-in of 1,024 frames fills the end of the gap.
        let most = if name == "late.mp4" { 1_024 } else { 1 };
        assert!(
            shift.abs() <= most && ratio > 15.0,
            "{name}: {shift} frames late, {ratio:.1} dB"
        );
    }
}

#[test]
fn the_lossless_wide_wave_ends_with_its_sound() {
    // BW64 (ITU-R BS.2088) by hand: sizes in `ds64`, a chunk of text after the sound.
    let sound: Vec<i16> = (0..4_000i16).map(|n| n % 100 * 300).collect();
    let data: Vec<u8> = sound.iter().flat_map(|s| s.to_le_bytes()).collect();
    let chunk = |name: &[u8], size: u32, body: &[u8]| [name, &size.to_le_bytes(), body].concat();
    let format = [1, 0, 1, 0, 0x80, 0xbb, 0, 0, 0, 0x77, 1, 0, 2, 0, 16, 0];
    let wide = [
        &0u64.to_le_bytes()[..],
        &(data.len() as u64).to_le_bytes(),
        &4_000u64.to_le_bytes(),
        &[0; 4],
    ]
    .concat();
    for name in [b"BW64", b"RF64"] {
        let bytes = [
            chunk(name, u32::MAX, b"WAVE"),
            chunk(b"ds64", 28, &wide),
            chunk(b"fmt ", 16, &format),
            chunk(b"data", u32::MAX, &data),
            chunk(b"axml", 4_000, &[b'x'; 4_000]),
        ]
        .concat();
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("long.wav");
        fs::write(&path, bytes).expect("written");
        let recording = read(&path);
        assert_eq!((recording.rate(), recording.frames()), (48_000, 4_000));
        let heard = recording.channels()[0]
            .iter()
            .map(|s| (s * 32_768.0) as i16);
        assert!(heard.eq(sound.iter().copied()));
    }
}

#[test]
fn what_cannot_be_read_is_named_with_the_way_out() {
    let Some(kitchen) = Kitchen::new() else {
        return;
    };
    let made = [
        (
            "old.wma",
            "-i in.wav -c:a wmav2".to_owned(),
            "Windows Media",
        ),
        (
            "cinema.mkv",
            format!("{PICTURE} -i in.wav -c:v mpeg4 -c:a ac3"),
            "coding of its own",
        ),
        (
            "silent.mkv",
            format!("{PICTURE} -c:v mpeg4"),
            "no sound at all",
        ),
    ];
    for (name, how, word) in made {
        let Some(path) = kitchen.cook(name, &how) else {
            continue;
        };
        let text = load(&path).expect_err(name).to_string();
        assert!(text.contains(word) && text.contains(name), "{text}");
        if word != "no sound at all" {
            assert!(text.contains("convert it to WAV or FLAC"), "{text}");
        }
    }
    for (name, head, word) in [
        ("speech.amr", &b"#!AMR\n"[..], "AMR"),
        ("tune.mid", b"MThd", "MIDI"),
    ] {
        let path = kitchen.path(name);
        fs::write(&path, [head, &[0; 64]].concat()).expect("written");
        let error = load(&path).expect_err(name);
        assert!(
            matches!(error, LoadError::Foreign { .. }) && error.to_string().contains(word),
            "{error}"
        );
    }
}

#[test]
fn a_guitar_on_one_side_is_noticed() {
    let guitar = plucks(RATE);
    let hiss: Vec<f32> = (0..guitar.len())
        .map(|n| (n * 7919 % 101) as f32 * 1e-6)
        .collect();
    let new = |channels: Vec<Vec<f32>>| Recording::new("take", RATE, channels).expect("sound");
    assert_eq!(
        new(vec![guitar.clone(), hiss.clone()]).lone_channel(),
        Some(0)
    );
    assert_eq!(
        new(vec![hiss.clone(), guitar.clone()]).lone_channel(),
        Some(1)
    );
    let six = [
        hiss.clone(),
        hiss.clone(),
        guitar.clone(),
        hiss.clone(),
        hiss.clone(),
        hiss,
    ];
    assert_eq!(new(six.to_vec()).lone_channel(), Some(2));
    let soft: Vec<f32> = guitar.iter().map(|s| s * 0.1).collect(); // 20 dB below: a second microphone
    assert_eq!(new(vec![guitar.clone(), soft]).lone_channel(), None);
    assert_eq!(new(vec![guitar.clone()]).lone_channel(), None);
    assert_eq!(new(vec![vec![0.0; 10], vec![0.0; 10]]).lone_channel(), None);
    let alone = new(vec![vec![0.0; guitar.len()], guitar.clone()])
        .channel(1)
        .expect("two channels");
    assert_eq!(alone.channels(), [guitar]);
}
