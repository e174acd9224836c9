//! The window's figures are the command line's: `figures.json` is the answer of `thumbline strings --tuning
//! DADGAD --scale "D mixolydian" --json -`, which a test of the command line holds to it.

use crate::bench::{answer, click, labels, usual};
use crate::scenes::tune;
use serde_json::Value;
use std::collections::BTreeSet;

fn told() -> Value {
    serde_json::from_str(include_str!("figures.json")).expect("JSON")
}

fn list<'a>(of: &'a Value, key: &str) -> &'a [Value] {
    of[key].as_array().map_or(&[], Vec::as_slice)
}

#[test]
fn the_neck_shows_what_the_command_line_says() {
    let told = told();
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    let all = labels(&harness);
    let mm = |fret: u64| {
        list(&told, "frets")[fret as usize - 1]["mm"]
            .as_f64()
            .expect("mm")
    };
    let mut places = 0;
    for note in list(&told, "notes") {
        let name = note["name"].as_str().expect("a name");
        for place in list(note, "places") {
            let (string, fret) = (&place["string"], place["fret"].as_u64().expect("a fret"));
            let label = match fret {
                0 => format!("{name}: string {string} open"),
                _ => format!(
                    "{name}: string {string}, fret {fret}, {:.0} mm from the nut",
                    mm(fret)
                ),
            };
            assert!(all.contains(&label), "{label}");
            places += 1;
        }
    }
    assert!(places > 30, "{places}");
    let names = |key: &str| {
        let names = list(&told["scale"], key).iter();
        names
            .map(|n| n.as_str().expect("a name"))
            .collect::<Vec<_>>()
            .join("  ")
    };
    for line in [
        format!("Can ring open: {}", names("can_be_open")),
        format!("Must be stopped: {}", names("must_be_stopped")),
    ] {
        assert!(all.contains(&line), "{line}: {all:?}");
    }
}

#[test]
fn its_path_and_chords_are_the_command_line_s() {
    let told = told();
    let mut harness = usual(Some(tune(8)));
    click(&mut harness, "Neck");
    click(&mut harness, "Ringing path");
    let best = &list(&told, "paths")[0];
    let line = format!(
        "{:.0} of 100 notes ring on into the next; {} of {} are open strings.",
        100.0 * best["rings_on"].as_f64().expect("a share"),
        best["open_notes"],
        list(best, "path").len()
    );
    assert!(labels(&harness).contains(&line), "{line}");
    let view = answer(&harness.state().state.study.neck);
    let ours: Vec<(u64, i64)> = view.neck.paths[0]
        .places
        .iter()
        .map(|p| (u64::from(p.string), i64::from(p.fret)))
        .collect();
    let theirs: Vec<(u64, i64)> = list(best, "path")
        .iter()
        .map(|p| {
            (
                p["string"].as_u64().expect("a string"),
                p["fret"].as_i64().expect("a fret"),
            )
        })
        .collect();
    assert_eq!(ours, theirs);
    click(&mut harness, "Chord shapes");
    let all: BTreeSet<String> = labels(&harness).into_iter().collect();
    for chord in list(&told, "chords") {
        for shape in list(chord, "shapes") {
            let diagram = shape["diagram"].as_str().expect("a diagram");
            assert!(all.contains(diagram), "{diagram}");
        }
    }
}
