//! Analysis → JAMS 0.3 (Humphrey et al. 2014, ISMIR): onsets, beats, tempo and notes, thumb and
//! fingers apart where one guitar plays.
//!
//! Namespaces are the standard's own: `onset`, `beat`, `tempo`, `note_midi`. Which annotation is
//! whose part stands in its sandbox as `role`.

use super::sign::SOFTWARE;
use crate::analysis::Analysis;
use crate::music::guess;
use crate::music::note::{Attack, Note, Role};
use serde_json::{Value, json};

/// The analysis of a recording called `title` as a JAMS document, ending in a newline.
pub fn analysis(title: &str, found: &Analysis) -> String {
    let end = found.end.0;
    let notes = |role: Option<Role>| {
        let of = move |n: &&Note| role.is_none_or(|role| n.role == role);
        let plucked = found.notes.iter().filter(|n| n.attack != Attack::Tap);
        plucked.filter(of)
    };
    let mut annotations = Vec::new();
    let hands: &[Option<Role>] = if found.solo.is_one_guitar() {
        &[Some(Role::Bass), Some(Role::Melody)]
    } else {
        &[None]
    };
    for role in hands.iter().copied() {
        let part = json!({ "role": role });
        let onsets: Vec<Value> = notes(role).map(onset).collect();
        annotations.push(annotation("onset", &onsets, end, &part));
        let pitched: Vec<Value> = notes(role).filter_map(pitched).collect();
        annotations.push(annotation("note_midi", &pitched, end, &part));
    }
    let beats: Vec<Value> = found
        .grid
        .beats()
        .iter()
        .map(|beat| {
            observation(
                beat.time.0,
                0.0,
                &json!(beat.place),
                f64::from(beat.confidence),
            )
        })
        .collect();
    annotations.push(annotation("beat", &beats, end, &json!({})));
    if let Some(tempo) = found.grid.tempo() {
        let whole = observation(0.0, end, &json!(tempo.0), 1.0);
        annotations.push(annotation("tempo", &[whole], end, &json!({})));
    }
    let document = json!({
        "file_metadata": {
            "title": title,
            "artist": "",
            "release": "",
            "duration": end,
            "identifiers": {},
            "jams_version": "0.3.4",
        },
        "annotations": annotations,
        "sandbox": {
            "tuning": found.tuning_known().then(|| found.tuning.to_string()),
            "tuning_guess": guess::told(&found.guesses),
            "meter": found.grid.meter.to_string(),
        },
    });
    format!("{document:#}\n")
}

fn onset(note: &Note) -> Value {
    observation(note.time.0, 0.0, &Value::Null, f64::from(note.confidence))
}

fn pitched(note: &Note) -> Option<Value> {
    let pitch = json!(note.pitch?.0);
    let length = (note.end - note.time).0.max(0.0);
    Some(observation(
        note.time.0,
        length,
        &pitch,
        f64::from(note.confidence),
    ))
}

fn observation(time: f64, duration: f64, value: &Value, confidence: f64) -> Value {
    json!({ "time": time, "duration": duration, "value": value, "confidence": confidence })
}

fn annotation(namespace: &str, data: &[Value], end: f64, sandbox: &Value) -> Value {
    json!({
        "annotation_metadata": {
            "curator": { "name": "", "email": "" },
            "annotator": {},
            "version": env!("CARGO_PKG_VERSION"),
            "corpus": "",
            "annotation_tools": SOFTWARE,
            "annotation_rules": "",
            "validation": "",
            "data_source": "program",
        },
        "namespace": namespace,
        "data": data,
        "sandbox": sandbox,
        "time": 0.0,
        "duration": end,
    })
}
