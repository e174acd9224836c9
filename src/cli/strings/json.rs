//! The answer of `strings` as JSON, schema `thumbline.strings`.
//!
//! Within one version fields are only added. Pitches are MIDI numbers (69 is A4 = 440 Hz), strings
//! count from 1, the highest, frets from the capo.

use super::answer::Answer;
use serde_json::{Value, json};
use thumbline::music::chord::Shape;
use thumbline::music::fingering::Path;
use thumbline::music::pitch::Key;
use thumbline::music::tuning::Tuning;

/// Version of the schema.
const VERSION: u32 = 1;

/// The whole answer, ending in a newline.
pub(super) fn of(answer: &Answer) -> String {
    let neck = &answer.neck;
    let (open, stopped) = neck.open_classes();
    let best = neck.paths.first();
    let document = json!({
        "schema": "thumbline.strings",
        "version": VERSION,
        "tuning": tuning(&answer.tuning_name, &neck.tuning),
        "scale": {
            "name": neck.scale.name,
            "notes": neck.scale.classes().iter().map(|c| neck.scale.class_name(*c))
                .collect::<Vec<_>>(),
            "can_be_open": open,
            "must_be_stopped": stopped,
        },
        "frets": answer.wires.iter().map(|w| json!({
            "fret": w.fret, "mm": round(w.mm),
        })).collect::<Vec<_>>(),
        "notes": neck.notes.iter().map(|note| json!({
            "midi": note.midi,
            "name": note.name,
            "places": note.places.iter().map(|(string, fret)| json!({
                "string": string,
                "fret": fret,
                "open": *fret == 0,
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "path": best.map_or_else(|| json!([]), places),
        "paths": neck.paths.iter().map(|path| json!({
            "cost": round(path.cost),
            "open_notes": path.open_notes(),
            "rings_on": round(path.ringing()),
            "path": places(path),
        })).collect::<Vec<_>>(),
        "against": {
            "tuning": answer.against,
            "strings": answer.moves.iter().map(|m| json!({
                "string": m.string,
                "from_midi": m.from,
                "to_midi": m.to,
                "frets": m.frets(),
                "stays": m.frets() == 0,
            })).collect::<Vec<_>>(),
        },
        "chords": neck.chords.iter().map(|(chord, shapes)| json!({
            "degree": chord.degree,
            "name": chord.name,
            "shapes": shapes.iter().map(shape).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "drones": neck.drones.iter().map(|d| json!({
            "strings": d.strings,
            "interval": d.interval,
            "open": d.open,
            "frets": d.steps,
        })).collect::<Vec<_>>(),
    });
    format!("{document:#}\n")
}

fn places(path: &Path) -> Value {
    path.places
        .iter()
        .enumerate()
        .map(|(i, p)| {
            json!({
                "midi": p.midi, "string": p.string, "fret": p.fret,
                "finger": path.fingers[i], "position": path.hands[i], "rings_on": path.rings[i],
            })
        })
        .collect()
}

/// One chord shape; frets and fingers from string 1.
pub fn shape(shape: &Shape) -> Value {
    json!({
        "name": shape.name,
        "frets": shape.frets,
        "diagram": shape.diagram(),
        "left_hand": (1..=shape.frets.len() as u8).map(|s| shape.finger(s)).collect::<Vec<_>>(),
        "position": shape.grip.position(),
        "span_mm": round(shape.grip.span_mm),
        "open": shape.open().len(),
        "fingers": shape.grip.presses.len(),
        "without_third": shape.missing.contains(&"third"),
        "missing": shape.missing,
        "remarks": shape.remarks(),
        "cost": round(shape.cost),
    })
}

fn round(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0
}

/// A tuning with target frequencies, lowest string first.
pub fn tuning(name: &str, tuning: &Tuning) -> Value {
    let bare = tuning.clone().with_capo(0);
    json!({
        "name": name,
        "capo": tuning.capo(),
        "strings": (1..=tuning.strings()).rev().map(|string| {
            bare.sounding(string, 0).map_or_else(
                || json!({ "string": string, "missing": true }),
                |pitch| json!({
                    "string": string,
                    "name": Key { fifths: 1 }.pitch_name(pitch.nearest()),
                    "midi": pitch.nearest(),
                    "cents": bare.off(string).0,
                    "hz": round(pitch.hz()),
                    "sounding_midi": tuning.open(string),
                }),
            )
        }).collect::<Vec<_>>(),
    })
}
