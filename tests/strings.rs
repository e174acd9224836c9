//! Tunings, scales on the neck, harmonics and the `strings` command, against outside tables
//! (`tests/reference/guitar.toml`).

use serde::Deserialize;
use serde_json::Value;
use std::process::Command;
use thumbline::music::chord::{Chord, main_chords, shapes};
use thumbline::music::fingering::{Costs, paths};
use thumbline::music::harmonics::{fret_distance_mm, node_frets, nodes, number_at, scales};
use thumbline::music::moves::{Fate, fate, string_moves};
use thumbline::music::pitch::{Key, read_pitch};
use thumbline::music::tuning::{Tuning, TuningError};
use thumbline::preset::Presets;

#[derive(Deserialize)]
struct Reference {
    tuning: Vec<TuningRow>,
    standard: Standard,
    place: Vec<PlaceRow>,
    open: Vec<OpenRow>,
    frets: Frets,
    harmonic: Vec<HarmonicRow>,
}

#[derive(Deserialize)]
struct TuningRow {
    name: String,
    midi: Vec<i32>,
}

#[derive(Deserialize)]
struct Standard {
    hz: Vec<f64>,
    capo2_hz: Vec<f64>,
}

#[derive(Deserialize)]
struct PlaceRow {
    tuning: String,
    note: String,
    places: Vec<(u8, i32)>,
}

#[derive(Deserialize)]
struct OpenRow {
    tuning: String,
    scale: String,
    from: String,
    to: String,
    notes: Vec<String>,
}

#[derive(Deserialize)]
struct Frets {
    length_mm: f64,
    at: Vec<(f64, f64)>,
}

#[derive(Deserialize)]
struct HarmonicRow {
    number: u8,
    frets: Vec<f64>,
    semitones: i32,
    cents: f64,
}

fn reference() -> Reference {
    toml::from_str(include_str!("reference/guitar.toml")).expect("the reference is TOML")
}

fn tuning(name: &str) -> Tuning {
    Presets::built_in().tuning(name).expect("known").1
}

fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_thumbline"))
        .args(arguments)
        .env("THUMBLINE_PRESETS", "/nowhere")
        .output()
        .expect("the program runs");
    (
        output.status.code(),
        String::from_utf8(output.stdout).expect("UTF-8"),
        String::from_utf8(output.stderr).expect("UTF-8"),
    )
}

#[test]
fn tunings_are_those_of_the_tables() {
    let reference = reference();
    for row in reference.tuning {
        let found = tuning(&row.name);
        assert_eq!(found, Tuning::low_to_high(&row.midi), "{}", row.name);
        // Spelled out and read again it is the same.
        assert_eq!(Tuning::parse(&found.to_string()).as_ref(), Ok(&found));
    }
    for (capo, want) in [(0, reference.standard.hz), (2, reference.standard.capo2_hz)] {
        let guitar = Tuning::standard().with_capo(capo);
        for (string, hz) in (1..=6).rev().zip(want) {
            let sounding = guitar.sounding(string, 0).expect("there").hz();
            assert!((sounding - hz).abs() < 0.006, "string {string}: {sounding}");
        }
    }
    for row in reference.place {
        let midi = read_pitch(&row.note).expect("a note");
        assert_eq!(
            tuning(&row.tuning).places(midi, 15),
            row.places,
            "{}",
            row.note
        );
    }
}

#[test]
fn spelled_tunings_are_read_or_refused_clearly() {
    for spelled in [
        "D A D G A D",
        "DADGAD",
        "dadgad",
        "D2 A2 D3 G3 A3 D4",
        "d,a,d,g,a,d",
    ] {
        assert_eq!(
            Tuning::parse(spelled).as_ref(),
            Ok(&Tuning::dadgad()),
            "{spelled}"
        );
    }
    let partial = Tuning::parse("x A D F# A D+10").expect("readable");
    assert_eq!(partial.open(6), None);
    assert_eq!(partial.open(3), Some(54));
    assert!((partial.sounding(1, 0).expect("there").0 - 62.1).abs() < 1e-9);
    assert_eq!(Tuning::parse("B1 E A D G B E").expect("seven").strings(), 7);
    assert_eq!(Tuning::parse("D A D G A"), Err(TuningError::Count(5)));
    assert_eq!(Tuning::parse("x x x x x x"), Err(TuningError::Empty));
    for wrong in [
        "",
        "H A D G A D",
        "D A D G A D9",
        "é A D G A D",
        "D+999 A D G A D",
        "♯♯♯♯♯♯",
    ] {
        assert!(Tuning::parse(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn names_follow_the_key() {
    let presets = Presets::built_in();
    let names = |text: &str| -> Vec<String> {
        let scale = presets.scale(text).expect("known");
        scale
            .classes()
            .iter()
            .map(|c| scale.class_name(*c))
            .collect()
    };
    assert_eq!(names("D major"), ["D", "E", "F#", "G", "A", "B", "C#"]);
    assert_eq!(names("F major"), ["F", "G", "A", "Bb", "C", "D", "E"]);
    assert_eq!(
        names("D harmonic minor"),
        ["D", "E", "F", "G", "A", "Bb", "C#"]
    );
    assert_eq!(names("E minor pentatonic"), ["E", "G", "A", "B", "D"]);
    assert_eq!(names("D E F# A B"), ["D", "E", "F#", "A", "B"]);
    for midi in 0..128 {
        for fifths in -6..=6 {
            let name = Key::new(fifths).pitch_name(midi);
            assert_eq!(read_pitch(&name), Some(midi), "{name}");
        }
    }
}

#[test]
fn open_strings_are_those_of_the_tables() {
    let presets = Presets::built_in();
    for row in reference().open {
        let scale = presets.scale(&row.scale).expect("known");
        let guitar = tuning(&row.tuning);
        let (from, to) = (read_pitch(&row.from).unwrap(), read_pitch(&row.to).unwrap());
        let open: Vec<String> = scale
            .notes(from, to)
            .into_iter()
            .filter(|midi| guitar.places(*midi, 0).iter().any(|(_, fret)| *fret == 0))
            .map(|midi| scale.pitch_name(midi))
            .collect();
        assert_eq!(open, row.notes, "{} in {}", row.scale, row.tuning);
    }
}

#[test]
fn harmonics_are_those_of_the_table() {
    let reference = reference();
    for (fret, mm) in reference.frets.at {
        assert!((fret_distance_mm(reference.frets.length_mm, fret) - mm).abs() < 0.0006);
    }
    let guitar = Tuning::standard();
    let all = nodes(&guitar, 7);
    for row in reference.harmonic {
        let frets = node_frets(row.number);
        for want in &row.frets {
            assert!(
                frets.iter().any(|f| (f - want).abs() < 0.006),
                "{want} of {frets:?}"
            );
        }
        for node in all.iter().filter(|n| n.number == row.number) {
            let open = guitar.open(node.string).expect("there");
            assert_eq!(node.pitch.nearest(), open + row.semitones);
            assert!((node.cents.0 - row.cents).abs() < 0.001);
        }
    }
    // The 5th-fret harmonic of string 6 is string 1 open (329.628 Hz).
    let fourth = all
        .iter()
        .find(|n| n.string == 6 && n.number == 4)
        .expect("there");
    assert!((fourth.pitch.hz() - 329.628).abs() < 0.001);
    for (fret, number) in [
        (12, 2),
        (7, 3),
        (19, 3),
        (5, 4),
        (4, 5),
        (9, 5),
        (16, 5),
        (3, 6),
    ] {
        assert_eq!(number_at(fret), Some(number), "fret {fret}");
    }
    assert_eq!(number_at(1), None);
}

#[test]
fn a_minor_pentatonic_can_be_played_in_harmonics_alone() {
    // Common practice: E A D G B at the 12th fret of standard tuning are E minor pentatonic.
    let kinds = Presets::built_in().scales;
    let found = scales(&nodes(&Tuning::standard(), 2), &kinds);
    let whole: Vec<&str> = found
        .iter()
        .filter(|s| s.missing.is_empty())
        .map(|s| s.scale.name.as_str())
        .collect();
    assert!(whole.contains(&"E minor pentatonic"), "{whole:?}");
    assert!(whole.contains(&"G major pentatonic"), "{whole:?}");
    let major = found
        .iter()
        .find(|s| s.scale.name == "G major")
        .expect("listed");
    assert_eq!(major.missing, [0, 6], "C and F# are missing");
}

#[test]
fn paths_are_the_cheapest_and_ring_where_they_can() {
    let presets = Presets::built_in();
    for named in presets.tunings.iter().filter(|t| t.tuning.strings() == 6) {
        for scale in [
            "D major",
            "G major",
            "E minor",
            "A minor pentatonic",
            "C lydian",
        ] {
            let scale = presets.scale(scale).expect("known");
            let (low, high) = named.tuning.range().expect("strings");
            let line = scale.notes(low, high + 5);
            let found = paths(&named.tuning, &line, 12, &Costs::default(), 4);
            assert!(!found.is_empty(), "{}", named.name);
            for pair in found.windows(2) {
                assert!(pair[0].cost <= pair[1].cost);
                assert_ne!(pair[0].places, pair[1].places);
            }
            for path in &found {
                for (place, midi) in path.places.iter().zip(&line) {
                    assert_eq!(named.tuning.fret(place.string, *midi, 12), Some(place.fret));
                }
            }
            // No note of the best path is stopped where its own pitch is open at no cost.
            let open = line
                .iter()
                .filter(|m| named.tuning.places(**m, 0).iter().any(|p| p.1 == 0))
                .count();
            assert!(
                found[0].open_notes() + 1 >= open,
                "{} {}",
                named.name,
                scale.name
            );
        }
    }
    assert!(paths(&Tuning::standard(), &[], 12, &Costs::default(), 3).is_empty());
    assert!(paths(&Tuning::standard(), &[20], 12, &Costs::default(), 3).is_empty());
}

#[test]
fn usual_chords_of_standard_tuning_come_first() {
    // Common practice (no source), lowest string first.
    let usual = [
        ("G", [7, 11, 2], "320003"),
        ("C", [0, 4, 7], "x32010"),
        ("D", [2, 6, 9], "xx0232"),
        ("A", [9, 1, 4], "x02220"),
        ("E", [4, 8, 11], "022100"),
        ("Em", [4, 7, 11], "022000"),
        ("Am", [9, 0, 4], "x02210"),
    ];
    for (name, classes, want) in usual {
        let chord = Chord {
            degree: String::new(),
            name: name.to_owned(),
            classes,
        };
        let found: Vec<String> = shapes(&chord, &Tuning::standard(), 3)
            .iter()
            .map(|s| {
                let frets = s.frets.iter().rev();
                frets
                    .map(|f| f.map_or("x".to_owned(), |f| f.to_string()))
                    .collect()
            })
            .collect();
        assert!(found.iter().any(|f| f == want), "{name}: {found:?}");
    }
    let scale = Presets::built_in().scale("D major").unwrap();
    let names: Vec<String> = main_chords(&scale).into_iter().map(|c| c.name).collect();
    assert_eq!(names, ["D", "G", "A", "Bm", "Em", "F#m"]);
}

#[test]
fn what_stays_and_what_moves_is_told() {
    let moves = string_moves(&Tuning::standard(), &Tuning::dadgad());
    let frets: Vec<(u8, i32)> = moves.iter().map(|m| (m.string, m.frets())).collect();
    assert_eq!(frets, [(6, 2), (5, 0), (4, 0), (3, 0), (2, 2), (1, 2)]);
    let fate = |string, fret_| fate(&Tuning::standard(), &Tuning::dadgad(), string, fret_, 12);
    assert_eq!(fate(5, 3), Some(Fate::Stays));
    assert_eq!(fate(1, 0), Some(Fate::Moves(2)));
    assert_eq!(fate(1, 12), Some(Fate::Gone));
}

#[test]
fn the_command_answers_in_json_and_in_eighty_columns() {
    let start = std::time::Instant::now();
    let (code, out, _) = run(&[
        "strings", "--tuning", "DADGAD", "--scale", "D major", "--capo", "2", "--from", "E3",
        "--to", "E5", "--json", "-",
    ]);
    println!(
        "strings took {:.1} ms with its process",
        start.elapsed().as_secs_f64() * 1e3
    );
    assert_eq!(code, Some(0));
    let json: Value = serde_json::from_str(&out).expect("JSON");
    let notes = json["notes"].as_array().expect("notes");
    assert!(
        notes
            .iter()
            .all(|n| n["midi"].is_i64() && n["name"].is_string())
    );
    let e3 = &notes[0];
    assert_eq!(
        (e3["midi"].as_i64(), e3["name"].as_str()),
        (Some(52), Some("E3"))
    );
    assert_eq!(
        e3["places"][0],
        serde_json::json!({"string": 4, "fret": 0, "open": true})
    );
    assert_eq!(json["path"].as_array().expect("path").len(), notes.len());

    let (_, out, _) = run(&[
        "strings",
        "--harmonics",
        "--tuning",
        "standard",
        "--json",
        "-",
    ]);
    let json: Value = serde_json::from_str(&out).expect("JSON");
    let nodes = json["nodes"].as_array().expect("nodes");
    assert_eq!(nodes.len(), 6 * 17);
    for field in ["string", "number", "fret", "midi", "cents"] {
        assert!(nodes.iter().all(|n| n[field].is_number()), "{field}");
    }
    for arguments in [
        vec!["strings"],
        vec![
            "strings",
            "--tuning",
            "open C",
            "--scale",
            "F# minor pentatonic",
        ],
        vec![
            "strings",
            "--tuning",
            "eight strings",
            "--scale",
            "chromatic C",
        ],
        vec!["strings", "--harmonics", "--tuning", "DADGAD"],
    ] {
        let (_, out, err) = run(&arguments);
        for line in out
            .lines()
            .chain(err.lines().filter(|l| !l.contains("thumbline:")))
        {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}

#[test]
fn wrong_requests_are_told_in_one_line() {
    for (arguments, said) in [
        (vec!["strings", "--tuning", "dagdadq"], "DADGAD"),
        (vec!["strings", "--scale", "D majjor"], "`D major`"),
        (vec!["strings", "--from", "H3"], "`H3` is no note"),
        (vec!["strings", "--from", "D5", "--to", "D3"], "lower note"),
        (
            vec!["strings", "--from", "C0", "--to", "D0"],
            "no string reaches",
        ),
        (vec!["strings", "--capo", "40"], "capo"),
        (vec!["strings", "--highest", "99"], "between 1 and 24"),
        (vec!["strings", "--harmonics", "--length-mm", "1"], "mm"),
        (
            vec!["drill", "--pattern", "of-beat melodi"],
            "off-beat melody",
        ),
        (vec!["drill", "--tempo", "5"], "tempo"),
    ] {
        let (code, out, err) = run(&arguments);
        assert_eq!(code, Some(2), "{arguments:?}");
        assert!(out.is_empty());
        assert_eq!(err.lines().count(), 1, "{err}");
        assert!(err.contains(said), "{err}");
    }
}

#[test]
fn the_players_own_presets_are_added() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    std::fs::write(
        path("tunings.toml"),
        "[[tuning]]\nname = \"Mañana\"\nstrings = \"C A D G A D\"\n",
    )
    .unwrap();
    std::fs::write(path("scales.toml"), "nonsense").unwrap();
    let (presets, left_out) = Presets::with_folder(Some(folder.path()));
    assert_eq!(presets.tuning("mañana").unwrap().1.open(6), Some(36));
    assert_eq!(left_out.len(), 1);
    assert!(left_out[0].to_string().contains("scales.toml"));
    assert!(presets.scale("D major").is_ok(), "the built-in ones stay");
    let near = presets.tuning("manana").unwrap_err().to_string();
    assert!(near.contains("Mañana"), "{near}");
}
