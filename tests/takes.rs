//! Takes kept beside the journal: what was played reads back to the last bit, and only a second
//! word removes it.

use std::path::PathBuf;
use thumbline::dsp::pluck::Chance;
use thumbline::journal::{Journal, Moment, PracticeRound};
use thumbline::load::load;
use thumbline::recording::Recording;
use thumbline::report::flac;

fn place() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("journal.sqlite");
    (folder, path)
}

/// A decaying tone in noise: whole numbers of `bits` bits.
fn tone(frames: usize, bits: i32, seed: u64) -> Vec<f32> {
    let mut chance = Chance::new(seed);
    let full = 2f64.powi(bits - 1);
    (0..frames)
        .map(|i| {
            let t = i as f64 / 44_100.0;
            let tone = (std::f64::consts::TAU * 196.0 * t).sin() * (-3.0 * (t % 0.5)).exp();
            let noise = 1e-4 * f64::from(chance.signed());
            (((0.8 * tone + noise) * full).round() / full) as f32
        })
        .collect()
}

/// Whether a decoder (symphonia) that checks the file's own MD5 agrees with it.
fn checked(bytes: &[u8]) -> Option<bool> {
    use symphonia::core::codecs::audio::AudioDecoderOptions;
    use symphonia::core::codecs::registry::CodecRegistry;
    use symphonia::core::formats::{FormatOptions, TrackType, probe::Hint};
    use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
    use symphonia::core::meta::MetadataOptions;
    let source = std::io::Cursor::new(bytes.to_vec());
    let stream = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
    let mut format = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .expect("FLAC");
    let track = format.default_track(TrackType::Audio).expect("a track");
    let parameters = track.codec_params.as_ref()?.audio()?.clone();
    let codecs: &CodecRegistry = symphonia::default::get_codecs();
    let mut options = AudioDecoderOptions::default();
    options.verify = true;
    let mut decoder = codecs
        .make_audio_decoder(&parameters, &options)
        .expect("a decoder");
    while let Ok(Some(packet)) = format.next_packet() {
        decoder.decode(&packet).expect("whole");
    }
    decoder.finalize().verify_ok
}

#[test]
fn flac_reads_back_to_the_last_bit() {
    let mut chance = Chance::new(5);
    let loud: Vec<f32> = (0..9000).map(|_| chance.signed()).collect();
    let rounded: Vec<f32> = loud.iter().map(|s| flac::rounded(*s)).collect();
    let mut step = vec![0.0f32; 5000];
    step[2500..].fill(flac::rounded(0.999));
    step[4000..].fill(-1.0);
    let sounds: [(&str, u32, Vec<Vec<f32>>); 8] = [
        ("24 bits", 44_100, vec![tone(30_000, 24, 1)]),
        (
            "16 bits, two channels",
            48_000,
            vec![tone(20_001, 16, 2), tone(20_001, 16, 3)],
        ),
        ("white noise at full scale", 96_000, vec![rounded]),
        ("steps between the extremes", 8_000, vec![step]),
        ("digital silence", 44_100, vec![vec![0.0; 10_000]]),
        ("one frame", 192_000, vec![vec![0.25]]),
        (
            "five frames",
            22_050,
            vec![vec![0.5, -0.5, 0.25, -1.0, 0.125]],
        ),
        (
            "eight channels",
            44_100,
            (0..8).map(|i| tone(4097, 24, 10 + i)).collect(),
        ),
    ];
    let folder = tempfile::tempdir().expect("a folder");
    for (what, rate, channels) in sounds {
        let path = folder.path().join("sound.flac");
        let mut bytes = Vec::new();
        flac::write(&mut bytes, rate, &channels).expect("writes");
        std::fs::write(&path, &bytes).expect("writes");
        let read = load(&path).unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_eq!(read.rate(), rate, "{what}");
        assert!(read.channels() == channels, "{what}");
        assert_eq!(
            checked(&bytes),
            Some(true),
            "{what}: the sum that players check"
        );
        let wav = 3 * channels.len() * channels[0].len();
        println!("{what}: {} of {wav} bytes", bytes.len());
    }
    assert!(flac::write(&mut Vec::new(), 44_100, &vec![vec![0.0; 4]; 9]).is_err());
    assert!(flac::write(&mut Vec::new(), 44_100, &[]).is_err());
}

/// Blocks beyond number 127 have longer headers (RFC 9639, 9.1.5).
#[test]
fn a_long_take_reads_back() {
    let channels = vec![tone(4096 * 140 + 7, 16, 8)];
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("long.flac");
    let mut bytes = Vec::new();
    flac::write(&mut bytes, 44_100, &channels).expect("writes");
    std::fs::write(&path, &bytes).expect("writes");
    assert!(load(&path).expect("reads").channels() == channels);
    assert!(
        bytes.len() < 2 * channels[0].len(),
        "smaller than 16 bits a sample"
    );
}

fn take(seed: u64) -> Recording {
    Recording::new("Träume — take", 44_100, vec![tone(20_000, 24, seed)]).expect("sound")
}

fn round(sound: &Recording, kept: Option<thumbline::recording::ContentHash>) -> PracticeRound {
    PracticeRound {
        recording: sound.hash(),
        name: sound.name().to_owned(),
        tuning: None,
        at: Moment(1_767_225_600_000),
        from_s: 0.0,
        to_s: 4.0,
        region: "bar 1".into(),
        speed: 0.8,
        thumb: None,
        fingers: None,
        take: kept,
        note: String::new(),
        faults: Vec::new(),
    }
}

#[test]
fn a_kept_take_is_found_again_and_survives_its_page() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let sound = take(1);
    let hash = journal.keep_sound(&sound).expect("keeps");
    assert_eq!(hash, sound.hash(), "24 bits lose nothing");
    assert_eq!(journal.keep_sound(&sound).expect("is known"), hash);
    journal.keep(&round(&sound, Some(hash))).expect("keeps");
    let kept = journal.takes().expect("reads");
    assert_eq!(kept.len(), 1);
    assert_eq!((kept[0].hash, kept[0].rounds), (hash, 1));
    assert_eq!(load(&kept[0].file).expect("reads").hash(), hash);
    // Finer than 24 bits: what reads back is what the hash names.
    let fine = Recording::new("fine", 44_100, vec![vec![0.1f32 / 3.0, 1e-9, 0.7]]).expect("sound");
    let rounded = journal.keep_sound(&fine).expect("keeps");
    assert_ne!(rounded, fine.hash());
    let there = journal.takes().expect("reads");
    let file = &there
        .iter()
        .find(|t| t.hash == rounded)
        .expect("is listed")
        .file;
    assert_eq!(load(file).expect("reads").hash(), rounded);
    // The page goes, the takes stay; a take goes only by itself.
    assert_eq!(journal.forget(sound.hash()).expect("forgets"), 1);
    assert_eq!(journal.takes().expect("reads").len(), 2);
    journal.discard_take(hash).expect("discards");
    assert!(!kept[0].file.exists());
    assert_eq!(journal.takes().expect("reads").len(), 1);
    journal.check().expect("sound");
}

#[test]
fn a_take_that_is_measured_again_is_not_practised_again() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    let sound = take(5);
    for (at, new) in [(0, 1), (60_000, 0)] {
        let mut again = round(&sound, None);
        again.at.0 += at;
        let kept = journal.keep_with_sound(&sound, vec![again]).expect("keeps");
        assert!(kept.new == new && kept.soundless.is_none());
    }
    let rounds = journal.rounds(None, 9, 0).expect("reads");
    assert_eq!(rounds.len(), 1);
    assert_eq!(rounds[0].take, Some(sound.hash()));
    // Nine channels are more than FLAC holds: the figures are kept without the sound.
    let wide = Recording::new("wide", 8_000, vec![vec![0.5; 80]; 9]).expect("sound");
    let other = round(&take(6), None);
    let kept = journal.keep_with_sound(&wide, vec![other]).expect("keeps");
    assert!(kept.new == 1 && kept.soundless.is_some());
    assert_eq!(journal.rounds(None, 9, 0).expect("reads").len(), 2);
}

#[test]
fn takes_travel_with_a_merge() {
    let (_a, here) = place();
    let (_b, there) = place();
    let mut mine = Journal::open(&here).expect("opens");
    let mut theirs = Journal::open(&there).expect("opens");
    let (both, other, lost) = (take(2), take(3), take(4));
    mine.keep_sound(&both).expect("keeps");
    for sound in [&both, &other, &lost] {
        let hash = theirs.keep_sound(sound).expect("keeps");
        theirs.keep(&round(sound, Some(hash))).expect("keeps");
    }
    let gone = theirs.takes_folder().join(format!("{}.flac", lost.hash()));
    std::fs::remove_file(gone).expect("removes");
    drop(theirs);
    let merged = mine.merge(&there).expect("merges");
    assert_eq!((merged.added, merged.takes), (3, 1));
    let kept = mine.takes().expect("reads");
    assert_eq!(kept.len(), 2);
    for t in kept {
        assert!(t.file.starts_with(mine.takes_folder()));
        assert_eq!(load(&t.file).expect("reads").hash(), t.hash);
    }
}

/// A folder that cannot be made: the take is refused with the reason, the journal goes on.
#[test]
fn where_no_take_can_be_written_the_journal_goes_on() {
    let (_folder, path) = place();
    let mut journal = Journal::open(&path).expect("opens");
    std::fs::write(journal.takes_folder(), b"in the way").expect("writes");
    let sound = take(6);
    assert!(journal.keep_sound(&sound).is_err());
    assert!(journal.takes().expect("reads").is_empty());
    journal.keep(&round(&sound, None)).expect("keeps");
    let nine = Recording::new("nine", 44_100, vec![vec![0.0; 8]; 9]).expect("sound");
    assert!(journal.keep_sound(&nine).is_err());
}
