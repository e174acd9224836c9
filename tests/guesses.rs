//! What is guessed is told as a guess, at every door: no string, fret, tuning or hand is printed as known where
//! it is not.

use serde_json::Value;
use std::borrow::Cow;
use std::process::Command;
use thumbline::analysis::one_guitar::Solo;
use thumbline::analysis::{Analysis, Options, analyze};
use thumbline::demo;
use thumbline::music::guess::told;
use thumbline::recording::Recording;
use thumbline::report::{csv, jams, json};
use thumbline::timing::{self, Reference};

const RATE: u32 = 22_050;

/// A recording whose tuning is not sure, and what was heard of it.
fn unsure() -> (Recording, Analysis) {
    let recording = demo::recording(RATE).expect("rendered").recording;
    let mut found = analyze(&recording, &Options::default(), &mut ()).expect("not cancelled");
    // Whatever it is taken for, here it is not sure.
    for guess in &mut found.guesses {
        guess.odds = guess.odds.min(0.4);
    }
    assert!(!found.tuning_known() && found.notes.iter().any(|n| n.string.is_some()));
    (recording, found)
}

fn documents(recording: &Recording, found: &Analysis) -> [Value; 3] {
    let drift = timing::of(found, Reference::OwnTempo);
    let read = |text: String| serde_json::from_str::<Value>(&text).expect("JSON");
    [
        read(json::analysis(recording, found, &drift)),
        read(json::check(recording, found, &drift)),
        read(jams::analysis("take", found)),
    ]
}

/// Every value under `key` anywhere in `value`.
fn under<'a>(value: &'a Value, key: &str, found: &mut Vec<&'a Value>) {
    match value {
        Value::Object(map) => {
            for (name, inner) in map {
                if name == key {
                    found.push(inner);
                }
                under(inner, key, found);
            }
        }
        Value::Array(list) => list.iter().for_each(|inner| under(inner, key, found)),
        _ => {}
    }
}

fn all_under<'a>(value: &'a Value, key: &str) -> Vec<&'a Value> {
    let mut found = Vec::new();
    under(value, key, &mut found);
    found
}

#[test]
fn no_report_names_strings_of_an_unsure_tuning() {
    let (recording, found) = unsure();
    for document in documents(&recording, &found) {
        for key in ["string", "fret", "strings"] {
            let named = all_under(&document, key);
            assert!(named.iter().all(|v| v.is_null()), "{key}: {named:?}");
        }
    }
    let [.., jams] = documents(&recording, &found);
    assert!(jams["sandbox"]["tuning"].is_null());
    assert_eq!(jams["sandbox"]["tuning_guess"], told(&found.guesses));
    assert!(told(&found.guesses).starts_with("unsure"));
    let drift = timing::of(&found, Reference::OwnTempo);
    let table = csv::notes(&found, &drift);
    let mut lines = table.lines();
    let head: Vec<&str> = lines.next().expect("a head").split(',').collect();
    let at = |name: &str| head.iter().position(|h| *h == name).expect("a column");
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        assert!(
            cells[at("string")].is_empty() && cells[at("fret")].is_empty(),
            "{line}"
        );
    }
}

#[test]
fn no_report_names_hands_where_no_guitar_plays() {
    let (recording, mut found) = unsure();
    found.solo = Solo {
        seconds: vec![Some(0.1); 4],
        odds: 0.1,
    };
    assert!(!found.solo.is_one_guitar());
    for document in documents(&recording, &found) {
        let named = all_under(&document, "role");
        assert!(named.iter().all(|v| v.is_null()), "{named:?}");
        let drifts = all_under(&document, "drift_ms");
        assert!(drifts.iter().all(|v| v.is_null()), "{drifts:?}");
    }
}

/// What a player types on a recording: each answer that rests on a guessed tuning says so with its odds, and
/// where none is sure, that it is not.
#[test]
fn every_command_tells_its_guess() {
    let room = tempfile::tempdir().expect("a folder");
    let said = |args: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_thumbline"))
            .args(args)
            .current_dir(room.path())
            .output()
            .expect("the program starts");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let (out, remarks) = (text(&output.stdout), text(&output.stderr));
        assert!(output.status.success(), "{args:?}: {remarks}");
        (out, remarks)
    };
    let tune = demo::recording(RATE).expect("rendered").recording;
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut file = hound::WavWriter::create(room.path().join("take.wav"), spec).expect("created");
    for sample in tune.blocks(0).flat_map(Cow::into_owned) {
        file.write_sample(sample).expect("written");
    }
    file.finalize().expect("finished");
    let (answer, _) = said(&["analyze", "take.wav"]);
    let sure = !answer.contains("tuning unsure");
    let asked: [&[&str]; 3] = [
        &["patterns", "take.wav"],
        &["export", "take.wav", "--to", "tab", "--out", "-"],
        &["strings", "--guess", "take.wav"],
    ];
    for args in asked {
        let (out, remarks) = said(args);
        let all = out + &remarks;
        assert!(all.contains(" %"), "{args:?}: {all}");
        let doubted = ["unsure", "not sure"].iter().any(|word| all.contains(word));
        assert!(sure || doubted || args[0] == "strings", "{args:?}: {all}");
    }
    let (read, _) = said(&["patterns", "take.wav", "--json", "-"]);
    let read: Value = serde_json::from_str(&read).expect("JSON");
    let strings = all_under(&read, "strings");
    assert!(!strings.is_empty());
    assert!(strings.iter().all(|v| v.is_null() != sure), "{strings:?}");
}
