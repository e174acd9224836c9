//! Exported files: bytes of the standards' own examples, timing kept, nothing malformed.

use midly::num::u28;
use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
use quick_xml::Reader;
use quick_xml::events::Event;
use thumbline::analysis::Analysis;
use thumbline::demo;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Role};
use thumbline::music::score::Score;
use thumbline::music::tuning::Tuning;
use thumbline::report::marks::{self, Cue};
use thumbline::report::wav::Depth;
use thumbline::report::{jams, midi, musicxml, tab};
use thumbline::unit::{Bpm, Seconds};

/// Note starts of a file in seconds, by its own tempo map: (time, key, channel).
fn starts(bytes: &[u8]) -> Vec<(f64, u8, u8)> {
    let smf = Smf::parse(bytes).expect("a MIDI file");
    let midly::Timing::Metrical(quarter) = smf.header.timing else {
        panic!("not in ticks");
    };
    let quarter = f64::from(quarter.as_int());
    let mut tempo: Vec<(u64, f64)> = Vec::new();
    let mut notes = Vec::new();
    for track in &smf.tracks {
        let mut tick = 0u64;
        for event in track {
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(micros)) => {
                    tempo.push((tick, f64::from(micros.as_int()) * 1e-6));
                }
                TrackEventKind::Midi {
                    channel,
                    message: MidiMessage::NoteOn { key, vel },
                } if vel.as_int() > 0 => notes.push((tick, key.as_int(), channel.as_int())),
                _ => {}
            }
        }
    }
    let seconds = |tick: u64| {
        let mut time = 0.0;
        for (i, (from, length)) in tempo.iter().enumerate() {
            let to = tempo.get(i + 1).map_or(tick, |t| t.0.min(tick));
            if to > *from {
                time += (to - from) as f64 / quarter * length;
            }
        }
        time
    };
    let mut starts: Vec<_> = notes
        .iter()
        .map(|(t, k, c)| (seconds(*t), *k, *c))
        .collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    starts
}

fn take() -> (demo::Rendition, Analysis) {
    let take = demo::take(8_000).expect("renders");
    let found = Analysis {
        notes: take.notes.iter().map(|n| n.note.clone()).collect(),
        grid: take.grid.clone(),
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning: Tuning::dadgad(),
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: take.recording.end(),
        alternatives: Vec::new(),
        warnings: Vec::new(),
    };
    (take, found)
}

#[test]
fn variable_lengths_and_the_example_file_are_the_standards() {
    // Standard MIDI Files 1.0, table of variable-length quantities.
    let table: [(u32, &[u8]); 10] = [
        (0x00, &[0x00]),
        (0x40, &[0x40]),
        (0x7F, &[0x7F]),
        (0x80, &[0x81, 0x00]),
        (0x2000, &[0xC0, 0x00]),
        (0x3FFF, &[0xFF, 0x7F]),
        (0x4000, &[0x81, 0x80, 0x00]),
        (0x001F_FFFF, &[0xFF, 0xFF, 0x7F]),
        (0x0800_0000, &[0xC0, 0x80, 0x80, 0x00]),
        (0x0FFF_FFFF, &[0xFF, 0xFF, 0xFF, 0x7F]),
    ];
    for (value, bytes) in table {
        let track = vec![midly::TrackEvent {
            delta: u28::new(value),
            kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
        }];
        let header = midly::Header::new(
            midly::Format::SingleTrack,
            midly::Timing::Metrical(96.into()),
        );
        let mut out = Vec::new();
        midly::write_std(&header, std::iter::once(&track), &mut out).expect("written");
        assert_eq!(&out[22..22 + bytes.len()], bytes, "{value:#x}");
    }
    // The specification's format-0 example: notes 48, 60, 67, 76 in 2 s at 120 bpm.
    let hex = "4D546864 00000006 0000 0001 0060 4D54726B 0000003B 00FF580404021808 \
               00FF510307A120 00C005 00C12E 00C246 00923060 003C60 60914340 60904C20 8140823040 \
               003C40 00814340 00804C40 00FF2F00";
    let hex: String = hex.chars().filter(|c| !c.is_whitespace()).collect();
    let bytes: Vec<u8> = (0..hex.len() / 2)
        .map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).expect("hex"))
        .collect();
    assert_eq!(bytes.len(), 81);
    let want = [(0.0, 48, 2), (0.0, 60, 2), (0.5, 67, 1), (1.0, 76, 0)];
    assert_eq!(starts(&bytes), want);
}

#[test]
fn a_performance_keeps_every_onset() {
    let (_, found) = take();
    let bytes = midi::performance("Étude nº 1 — 雨", &found.notes, &found.grid).expect("written");
    let starts = starts(&bytes);
    let mut want: Vec<(f64, u8, Role)> = found
        .notes
        .iter()
        .filter_map(|n| Some((n.time.0, n.pitch?.nearest() as u8, n.role)))
        .collect();
    want.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    assert_eq!(starts.len(), want.len());
    for ((time, key, channel), (at, midi, role)) in starts.iter().zip(&want) {
        assert_eq!((*key, *channel == 0), (*midi, *role == Role::Bass));
        assert!((time - at).abs() < 0.0005, "{time} for {at}");
    }
    let smf = Smf::parse(&bytes).expect("a MIDI file");
    assert_eq!(smf.tracks.len(), 3);
}

#[test]
fn bar_lines_of_a_performance_lie_on_its_downbeats() {
    let times: Vec<Seconds> = (0..21)
        .map(|i| Seconds(1.37 + 0.61 * f64::from(i)))
        .collect();
    for meter in [
        Meter::COMMON,
        Meter { count: 3, unit: 4 },
        Meter { count: 6, unit: 8 },
    ] {
        for downbeat in 0..3 {
            let grid = Grid::from_beats(&times, downbeat, meter);
            let bytes = midi::performance("x", &[], &grid).expect("written");
            let smf = Smf::parse(&bytes).expect("a MIDI file");
            let mut bar = 0u64;
            let mut tick = 0u64;
            for event in &smf.tracks[0] {
                tick += u64::from(event.delta.as_int());
                if let TrackEventKind::Meta(MetaMessage::TimeSignature(count, _, _, _)) = event.kind
                    && count == meter.count
                {
                    bar = tick;
                }
            }
            // The first whole bar starts a whole number of bars before a downbeat.
            let beat = 960.0 * if meter.is_compound() { 1.5 } else { 1.0 };
            let lead = (1.37f64 / 0.61).ceil();
            let first = grid
                .beats()
                .iter()
                .position(|b| b.place == 1)
                .expect("a downbeat");
            let beats = lead + first as f64 - bar as f64 / beat;
            assert_eq!(beats % f64::from(meter.beats()), 0.0, "{meter} {downbeat}");
        }
    }
}

/// Every measure of a document: (part, number, units of each voice).
fn measures(xml: &[u8]) -> Vec<(String, Vec<u32>)> {
    let text = std::str::from_utf8(xml).expect("UTF-8");
    let mut reader = Reader::from_str(text);
    let mut out: Vec<(String, Vec<u32>)> = Vec::new();
    let (mut element, mut chord, mut voice) = (String::new(), false, 0usize);
    let mut depth = 0;
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Start(start) => {
                depth += 1;
                start.name().as_ref().clone_into(&mut element);
                match element.as_str() {
                    "measure" => {
                        out.push((String::new(), vec![0, 0]));
                        voice = 0;
                    }
                    "backup" => (voice, chord) = (1, false),
                    "note" => chord = false,
                    _ => {}
                }
            }
            Event::Empty(empty) => chord |= empty.name().as_ref() == "chord",
            Event::Text(text) if element == "duration" => {
                let units: u32 = text.as_ref().parse().expect("a number");
                if let Some(last) = out.last_mut().filter(|_| !chord) {
                    if voice == 1 && last.0.is_empty() {
                        "backed up".clone_into(&mut last.0); // the backup's own duration
                    } else {
                        last.1[voice] += units;
                    }
                }
            }
            Event::End(_) => {
                depth -= 1;
                element.clear();
            }
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    out
}

#[test]
fn every_measure_is_full_in_both_voices() {
    let (_, found) = take();
    let mut scores = vec![demo::tune()];
    for division in [1, 2, 3, 4, 6, 8] {
        let score = Score::of_notes(
            "<&> ü \u{1}",
            &found.notes,
            &found.grid,
            &found.tuning,
            division,
        );
        scores.push(score.expect("a grid"));
    }
    for (i, score) in scores.iter().enumerate() {
        let xml = musicxml::score(score).expect("written");
        let measures = measures(&xml);
        assert_eq!(measures.len(), 2 * score.bars());
        for (number, (_, voices)) in measures.iter().enumerate() {
            assert_eq!(voices, &[96, 96], "score {i}, measure {number}");
        }
    }
}

#[test]
fn every_meter_is_written() {
    for count in 1..=15u8 {
        for unit in [2, 4, 8, 16] {
            let meter = Meter { count, unit };
            let bar = (1..=u32::from(count))
                .map(|c| format!("{c}:5.0 {c}&:2.2"))
                .collect::<Vec<_>>();
            let tune = Score::parse("x", Tuning::dadgad(), meter, Bpm(90.0), &bar.join(" "));
            let tune = tune.expect("readable");
            let xml = musicxml::score(&tune).expect("written");
            let full = 96 * u32::from(count) / u32::from(unit);
            for (_, voices) in measures(&xml) {
                assert_eq!(voices, [full, full], "{meter}");
            }
            assert!(!starts(&midi::score(&tune).expect("written")).is_empty());
            assert!(
                tab::text(&tune, 80)
                    .lines()
                    .all(|l| l.chars().count() <= 80),
                "{meter}"
            );
        }
    }
}

#[test]
fn nothing_heard_still_gives_valid_files() {
    let nothing = Analysis {
        notes: Vec::new(),
        grid: Grid::default(),
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning: Tuning::standard(),
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: Seconds(0.0),
        alternatives: Vec::new(),
        warnings: Vec::new(),
    };
    assert!(starts(&midi::performance("", &[], &nothing.grid).expect("written")).is_empty());
    let jams: serde_json::Value =
        serde_json::from_str(&jams::analysis("雨\n", &nothing)).expect("JSON");
    assert_eq!(jams["file_metadata"]["title"], "雨\n");
    assert!(Score::of_notes("", &[], &nothing.grid, &nothing.tuning, 2).is_none());
}

#[test]
fn hours_of_notes_fit_or_are_refused() {
    let times: Vec<Seconds> = (0..20_000).map(|i| Seconds(0.54 * f64::from(i))).collect();
    let grid = Grid::from_beats(&times, 0, Meter::COMMON);
    let mut note = take().1.notes[0].clone();
    let notes: Vec<_> = times
        .iter()
        .map(|t| {
            note.time = *t;
            note.end = Seconds(t.0 + 0.5);
            note.attack = Attack::Pluck;
            note.clone()
        })
        .collect();
    let starts = starts(&midi::performance("long", &notes, &grid).expect("written"));
    let (last, ..) = starts.last().expect("notes");
    assert!((last - times.last().unwrap().0).abs() < 0.001, "{last}");
}

#[test]
fn wav_marks_lie_where_the_standard_puts_them() {
    let channels = vec![vec![0.0f32; 1001]; 1];
    let cues = [
        Cue {
            frame: 10,
            name: "bar 1".to_owned(),
        },
        Cue {
            frame: 500,
            name: "tact ü".to_owned(),
        },
    ];
    let mut file = Vec::new();
    marks::write(
        &mut file,
        8_000,
        &channels,
        Depth::Int24,
        Some(100..200),
        &cues,
    )
    .expect("written");
    let word = |at: usize| u32::from_le_bytes(file[at..at + 4].try_into().unwrap());
    assert_eq!(word(4) as usize, file.len() - 8);
    let mut chunks = Vec::new();
    let mut at = 12;
    while at + 8 <= file.len() {
        chunks.push((file[at..at + 4].to_vec(), at + 8, word(at + 4)));
        at += 8 + word(at + 4) as usize + (word(at + 4) % 2) as usize;
    }
    assert_eq!(at, file.len(), "chunks fill the file");
    let find = |name: &[u8]| chunks.iter().find(|c| c.0 == name).expect("there").clone();
    let (_, smpl, size) = find(b"smpl");
    assert_eq!(size, 36 + 24);
    assert_eq!(
        (word(smpl + 36 + 8), word(smpl + 36 + 12)),
        (100, 199),
        "the end is inclusive"
    );
    assert_eq!(word(smpl + 8), 125_000, "nanoseconds a sample");
    let (_, cue, size) = find(b"cue ");
    assert_eq!((size, word(cue)), (4 + 2 * 24, 2));
    assert_eq!((word(cue + 4 + 20), word(cue + 28 + 20)), (10, 500));
}

#[test]
fn tablature_shows_strings_frets_and_fingers() {
    let text = tab::text(&demo::tune(), 80);
    assert!(text.lines().all(|l| l.chars().count() <= 80));
    let first: Vec<&str> = text.lines().take(8).collect();
    assert!(first[1].starts_with("D |0-"), "{text}");
    assert!(first[6].starts_with("D |0-"), "{text}");
    assert!(text.contains("<12>") && text.contains("h2") && text.contains("p2"));
}
