//! What is kept, in every form it ever had: each is read whole, and written again without loss.

use serde_json::{Value, json};
use std::path::Path;
use thumbline::music::tuning::Tuning;
use thumbline::unit::Seconds;
use thumbline_plugin::control::{Control, Trigger};
use thumbline_plugin::session::{Edges, Session, VERSION};
use thumbline_plugin::snapshot::{ClickRate, Snap};

const HASH: &str = "abababababababababababababababababababababababababababababababab";

/// As it was before it had a version.
fn unversioned() -> Value {
    json!({
        "recording": {"name": "tune.wav", "path": "/music/tune.wav"},
        "position": 3.5,
        "rest_beats": 2,
    })
}

/// Version 1: no edges of loops, no tuning of takes, no reading of the beat, no pages.
fn version_1() -> Value {
    json!({
        "version": 1,
        "recording": {"name": "tune.wav", "path": "/music/tune.wav", "hash": HASH},
        "marks": {HASH: {
            "region": {"name": "", "from": 1.0, "to": 2.0},
            "regions": [{"name": "the hard bar", "from": 4.0, "to": 6.5}],
            "corrections": {"done": [], "undone": []},
            "tuning": null,
            "takes": [{"name": "take 1", "path": "/takes/1.wav",
                       "places": [{"frame": 0, "at": 1.0, "speed": 0.5}]}],
            "balance": -0.7,
        }},
        "position": 3.5,
        "snap": "beat",
        "count_in_bars": 1,
        "rest_beats": 2,
        "ladder": {"on": true, "start": 0.5, "step": 0.05, "rounds": 3, "top": 0.9,
                   "within_ms": 25.0},
        "click_rate": serde_json::to_value(ClickRate::Half).expect("a value"),
        "latency_ms": 12.5,
        "learnt": [["play", {"note": 36}], ["loop", {"controller": 64}]],
        "recent": ["/music/tune.wav", "/music/other.wav"],
        "look": {"ground": "paper", "zoom": 1.5, "scale": 1.25, "bars_a_row": 2,
                 "cautioned": true, "size": [1000.0, 700.0]},
    })
}

/// Version 2, with everything that came.
fn version_2() -> Value {
    let mut all = version_1();
    all["version"] = 2.into();
    let marks = &mut all["marks"][HASH];
    let tuning = Tuning::dadgad().with_capo(2);
    let tuning = serde_json::to_value(tuning).expect("a value");
    marks["tuning"] = tuning.clone();
    marks["takes"][0]["tuning"] = tuning;
    marks["regions"][0]["edges"] = "beats".into();
    all["pages"] = json!({"lesson": {"step": 3}});
    all
}

fn is_read(session: &Session) {
    let known = session.recording.as_ref().expect("a recording");
    assert_eq!(known.path, Path::new("/music/tune.wav"));
    assert_eq!(session.position, Seconds(3.5));
    assert_eq!(session.rest_beats, 2);
}

fn is_read_whole(session: &Session) {
    is_read(session);
    let marks = &session.marks[HASH];
    assert_eq!(marks.region.as_ref().map(|r| r.from), Some(Seconds(1.0)));
    assert_eq!(marks.regions[0].name, "the hard bar");
    assert_eq!(marks.takes[0].places[0].speed, 0.5);
    assert_eq!(marks.balance, -0.7);
    assert_eq!(session.snap, Snap::Beat);
    assert_eq!(session.count_in_bars, 1);
    assert_eq!(session.ladder.within_ms, Some(25.0));
    assert_eq!(session.click_rate, ClickRate::Half);
    assert_eq!(session.latency_ms, 12.5);
    assert_eq!(
        session.learnt,
        [
            (Control::Play, Trigger::Note(36)),
            (Control::Loop, Trigger::Controller(64))
        ]
    );
    assert_eq!(session.recent.len(), 2);
    assert_eq!(session.look.zoom, 1.5);
    assert!(session.look.cautioned);
}

/// Everything that was in `before` is in `after`, but for the version.
fn holds(after: &Value, before: &Value, place: &str) {
    match (after, before) {
        (Value::Object(after), Value::Object(before)) => {
            for (key, value) in before {
                if key != "version" {
                    let found = after.get(key).unwrap_or(&Value::Null);
                    holds(found, value, &format!("{place}/{key}"));
                }
            }
        }
        (Value::Array(after), Value::Array(before)) => {
            assert_eq!(after.len(), before.len(), "{place}");
            for (i, (after, before)) in after.iter().zip(before).enumerate() {
                holds(after, before, &format!("{place}/{i}"));
            }
        }
        _ => assert_eq!(after, before, "{place}"),
    }
}

#[test]
fn every_older_version_is_read_and_written_again_without_loss() {
    is_read(&Session::from_value(unversioned()));
    for raw in [version_1(), version_2()] {
        is_read_whole(&Session::from_value(raw));
    }
    for raw in [unversioned(), version_1(), version_2()] {
        let written = Session::from_value(raw.clone()).to_value();
        assert_eq!(written["version"], VERSION);
        holds(&written, &raw, "");
        // And again: what was read once is read the same ever after.
        assert_eq!(Session::from_value(written.clone()).to_value(), written);
    }
}

#[test]
fn what_came_with_version_2_has_its_default_in_an_older_one() {
    let old = Session::from_value(version_1());
    assert_eq!(old.marks[HASH].regions[0].edges, Edges::Free);
    assert_eq!(old.marks[HASH].takes[0].tuning, None);
    assert_eq!(old.marks[HASH].reading, None);
    assert!(old.pages.is_empty());
    let new = Session::from_value(version_2());
    assert_eq!(new.marks[HASH].regions[0].edges, Edges::Beats);
    let tuning = new.marks[HASH].takes[0].tuning.as_ref().expect("a tuning");
    assert_eq!(tuning.capo(), 2);
    assert_eq!(new.pages["lesson"]["step"], 3);
}
