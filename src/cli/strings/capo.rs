//! `strings --capo-for`: where the capo goes so that a key has open strings.

use super::json::tuning as tuning_json;
use super::text::{WIDTH, wrapped};
use crate::cli::usage::usage;
use anyhow::Result;
use serde_json::json;
use std::fmt::Write;
use thumbline::music::capo::{Choice, choices};
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;

/// Places that are told.
const TOLD: usize = 4;

/// The best places of the capo for a key.
pub struct Places {
    key: String,
    name: String,
    tuning: Tuning,
    choices: Vec<Choice>,
}

/// Reads a key like `Eb major` (`Eb` alone is major) and finds the places.
pub fn answer(text: &str, name: &str, tuning: Tuning, presets: &Presets) -> Result<Places> {
    let key = if text.trim().contains(' ') {
        text.trim().to_owned()
    } else {
        format!("{} major", text.trim())
    };
    let scale = presets.scale(&key).map_err(|e| usage(e.to_string()))?;
    let tonic = key.split_whitespace().next().unwrap_or_default();
    let kind = presets
        .scales
        .iter()
        .find(|k| scale.name.ends_with(&k.name));
    let found = kind.and_then(|kind| choices(tonic, kind, &tuning));
    let mut choices = found.unwrap_or_default();
    choices.truncate(TOLD);
    Ok(Places {
        key: scale.name,
        name: name.to_owned(),
        tuning,
        choices,
    })
}

impl Places {
    /// In words. Writing to a string cannot fail.
    pub fn text(&self) -> String {
        let mut out = format!("Where to put the capo for {} in {}\n", self.key, self.name);
        for choice in &self.choices {
            let place = match choice.capo {
                0 => "no capo".to_owned(),
                fret => format!("capo {fret}"),
            };
            let _ = writeln!(
                out,
                "  {place}: shapes of {}, {:.1} open strings a chord",
                choice.shapes_of, choice.open
            );
            let chords: Vec<String> = choice
                .chords
                .iter()
                .map(|(sounds, shape, diagram)| {
                    if sounds == shape {
                        format!("{sounds} {diagram}")
                    } else {
                        format!("{shape} shape {diagram} sounds {sounds}")
                    }
                })
                .collect();
            let _ = writeln!(out, "    {}", wrapped(&chords.join(", "), WIDTH - 6));
        }
        if self.choices.is_empty() {
            out += "  no place gives its main chords in this tuning\n";
        }
        out
    }

    /// As JSON.
    pub fn json(&self) -> String {
        let document = json!({
            "schema": "thumbline.capo",
            "version": 1,
            "key": self.key,
            "tuning": tuning_json(&self.name, &self.tuning),
            "places": self.choices.iter().map(|c| json!({
                "capo": c.capo,
                "shapes_of": c.shapes_of,
                "open_strings_a_chord": c.open,
                "chords": c.chords.iter().map(|(sounds, shape, diagram)| json!({
                    "sounds": sounds, "shape": shape, "frets": diagram,
                })).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
        });
        format!("{document:#}\n")
    }
}
