//! `strings --harmonics`: nodes, what can be played in them, and a drill.

use super::json::tuning as tuning_json;
use super::text::{WIDTH, heading, wrapped};
use crate::cli::usage::usage;
use anyhow::Result;
use serde_json::json;
use std::fmt::Write;
use thumbline::music::drill::harmonics_stage;
use thumbline::music::harmonics::{
    HIGHEST, InHarmonics, Node, TOUCH, WITH_ONE_HAND, artificial, nodes, pluck_mm, scales,
    sounding_length_mm,
};
use thumbline::music::neck::harmonic_marks;
use thumbline::music::pitch::Key;
use thumbline::music::score::Score;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::report::neck::{Picture, svg};
use thumbline::report::sheet::Ground;
use thumbline::report::tab;
use thumbline::unit::Bpm;

/// Tempo of the relaxation drill.
const SLOWLY: Bpm = Bpm(60.0);

/// Scales that lack one or two notes, of which so many are shown.
const NEARLY: usize = 12;

/// Everything about harmonics in a tuning.
pub struct Harmonics {
    name: String,
    tuning: Tuning,
    /// Scale length, nut to saddle.
    scale_mm: f64,
    /// Sounding length, from nut or capo.
    length_mm: f64,
    /// Highest fret that is listed.
    highest: f64,
    nodes: Vec<Node>,
    /// With the 12th fret alone, then with all nodes up to the fifth partial.
    twelfth: Vec<InHarmonics>,
    scales: Vec<InHarmonics>,
}

/// Finds it for a guitar of scale length `scale_mm`, its capo where the tuning has it, listed up to
/// fret `highest`.
pub fn answer(
    name: &str,
    tuning: Tuning,
    presets: &Presets,
    scale_mm: f64,
    highest: i32,
) -> Result<Harmonics> {
    if !(100.0..=2000.0).contains(&scale_mm) {
        return Err(usage("a string is between 100 and 2000 mm long"));
    }
    let length_mm = sounding_length_mm(scale_mm, tuning.capo());
    // Whole-tone and chromatic collections are no scale to relax with.
    let kinds: Vec<_> = presets
        .scales
        .iter()
        .filter(|k| k.steps.len() < 12)
        .cloned()
        .collect();
    let all = nodes(&tuning, HIGHEST);
    Ok(Harmonics {
        name: name.to_owned(),
        scale_mm,
        length_mm,
        highest: f64::from(highest),
        twelfth: scales(&nodes(&tuning, 2), &kinds),
        scales: scales(&nodes(&tuning, 5), &kinds),
        nodes: all,
        tuning,
    })
}

fn pitch_name(node: &Node) -> String {
    Key { fifths: 1 }.pitch_name(node.pitch.nearest())
}

impl Harmonics {
    /// In words. Writing to a string cannot fail.
    pub fn text(&self) -> String {
        let mut out = String::new();
        heading(&mut out, &self.name, &self.tuning);
        let from = if self.tuning.capo() > 0 {
            "capo"
        } else {
            "nut"
        };
        let _ = writeln!(
            out,
            "\nNatural harmonics up to fret {:.0}: partial, pitch, cents off; where to touch\n\
             (mm from the {from}; the strings sound over {:.0} mm)",
            self.highest, self.length_mm
        );
        for string in (1..=self.tuning.strings()).rev() {
            let _ = writeln!(out, "  string {string}");
            for number in 2..=HIGHEST {
                self.line(&mut out, string, number);
            }
        }
        let _ = writeln!(out, "\n{}", wrapped(TOUCH, WIDTH - 2));
        let plucked: Vec<String> = (2..=5u8)
            .map(|n| format!("partial {n} at {:.0} mm", pluck_mm(n, self.length_mm)))
            .collect();
        let line = format!(
            "Where to pluck, from the saddle: {}. Nearer to the saddle the higher ones speak.",
            plucked.join(", ")
        );
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        let open = vec![Some(0); usize::from(self.tuning.strings())];
        let places: Vec<String> = artificial(&self.tuning, &open)
            .iter()
            .map(|a| {
                let name = Key { fifths: 1 }.pitch_name(a.pitch.nearest());
                format!("{}:{} {name}", a.string, a.touched)
            })
            .collect();
        let line = format!(
            "Harp harmonics: {WITH_ONE_HAND} Over open strings (string:fret touched): {}; over a chord \
             each moves up by its fret.",
            places.join(", ")
        );
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        let _ = writeln!(
            out,
            "\nIn 12th-fret harmonics alone: {}",
            whole(&self.twelfth)
        );
        let _ = writeln!(
            out,
            "In harmonics up to the 5th partial alone: {}",
            whole(&self.scales)
        );
        let _ = writeln!(out, "With stopped places for what is missing:");
        for near in self
            .scales
            .iter()
            .filter(|s| !s.missing.is_empty())
            .take(NEARLY)
        {
            let extra: Vec<String> = near.missing.iter().map(|c| self.place(near, *c)).collect();
            let _ = writeln!(out, "  {:<22} {}", near.scale.name, extra.join(", "));
        }
        let _ = writeln!(
            out,
            "\nA drill to relax with: let every note ring, light as a feather"
        );
        out.push_str(&tab::text(&self.score(), WIDTH));
        out
    }

    fn line(&self, out: &mut String, string: u8, number: u8) {
        let of: Vec<&Node> = self
            .nodes
            .iter()
            .filter(|n| n.string == string && n.number == number)
            .collect();
        let Some(first) = of.first() else { return };
        let places: Vec<String> = of
            .iter()
            .filter(|n| n.fret < self.highest + 0.5)
            .map(|n| format!("{:.2} ({:.0})", n.fret, n.distance_mm(self.length_mm)))
            .collect();
        if places.is_empty() {
            return;
        }
        // Five places fit into one line.
        let _ = writeln!(
            out,
            "    {number}  {:<4} {:+6.1}  {}",
            pitch_name(first),
            first.cents.0,
            places.join("  ")
        );
    }

    /// The lowest stopped place for a missing pitch class.
    fn place(&self, of: &InHarmonics, class: i32) -> String {
        let name = of.scale.class_name(class);
        (1..=12)
            .flat_map(|fret| (1..=self.tuning.strings()).map(move |s| (s, fret)))
            .find(|(s, fret)| {
                let open = self.tuning.open(*s);
                open.is_some_and(|open| (open + fret).rem_euclid(12) == class)
            })
            .map_or(name.clone(), |(s, fret)| format!("{name} at {s}:{fret}"))
    }

    /// As JSON.
    pub fn json(&self) -> String {
        let listed = |scales: &[InHarmonics]| {
            scales
                .iter()
                .filter(|s| s.missing.len() <= 2)
                .map(|s| {
                    json!({
                        "name": s.scale.name,
                        "missing": s.missing.iter().map(|c| s.scale.class_name(*c))
                            .collect::<Vec<_>>(),
                    })
                })
                .collect::<Vec<_>>()
        };
        let document = json!({
            "schema": "thumbline.harmonics",
            "version": 1,
            "tuning": tuning_json(&self.name, &self.tuning),
            "length_mm": self.length_mm,
            "pluck_mm": (2..=HIGHEST).map(|n| json!({
                "number": n, "from_saddle": rounded(pluck_mm(n, self.length_mm)),
            })).collect::<Vec<_>>(),
            "nodes": self.nodes.iter().map(|n| json!({
                "string": n.string,
                "number": n.number,
                "fret": rounded(n.fret),
                "mm": rounded(n.distance_mm(self.length_mm)),
                "midi": rounded(n.pitch.0),
                "name": pitch_name(n),
                "cents": rounded(n.cents.0),
            })).collect::<Vec<_>>(),
            "scales_at_12th_fret": listed(&self.twelfth),
            "scales": listed(&self.scales),
        });
        format!("{document:#}\n")
    }

    /// The relaxation drill.
    pub fn score(&self) -> Score {
        harmonics_stage(&self.tuning, SLOWLY).score
    }

    /// Nodes on the neck, octaves and twelfths strongly.
    pub fn picture(&self) -> String {
        /// Highest fret of the picture.
        const SHOWN: u8 = 20;
        let title = format!("Natural harmonics in {}", self.name);
        svg(
            &Picture {
                title: &title,
                tuning: &self.tuning,
                marks: &harmonic_marks(&self.tuning, f64::from(SHOWN), self.scale_mm),
                path: &[],
                highest: SHOWN,
            },
            Ground::Paper,
        )
    }
}

fn rounded(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0
}

/// Names of the scales that lack nothing.
fn whole(scales: &[InHarmonics]) -> String {
    let names: Vec<&str> = scales
        .iter()
        .filter(|s| s.missing.is_empty())
        .map(|s| s.scale.name.as_str())
        .collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        wrapped(&names.join(", "), 38)
    }
}
