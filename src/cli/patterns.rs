//! `patterns`: the picking pattern that a recording repeats, its faithfulness and syncopation.

use super::outputs::OutputArguments;
use super::strings::text::{WIDTH, wrapped};
use super::terminal::Terminal;
use super::{Command, source, usage};
use anyhow::Result;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::load::Part;
use thumbline::music::meter::Meter;
use thumbline::music::note::Role;
use thumbline::music::picking::{self, Cell, Found, Pattern, Placed, count};
use thumbline::music::pitch::Key;
use thumbline::music::score::{Score, Written};
use thumbline::music::syncopation::{self, BarSyncopation, Sense};
use thumbline::music::tuning::Tuning;
use thumbline::preset::{self, Presets};
use thumbline::report::file::Target;
use thumbline::report::tab;
use thumbline::unit::{Beats, Bpm};

/// Known patterns that are named.
const NEAREST: usize = 3;

/// Below this share of strokes that agree with the cell, it is not called the pattern.
const HARDLY: f64 = 0.5;

/// From this share of its strokes on, a bar is said to keep the pattern.
const KEEPS: f64 = 0.75;

/// Patterns further away than this are not called near.
const NOTHING_ALIKE: f64 = 0.8;

/// Names of the two measures of syncopation, as printed.
const MISSED_BEAT: &str = "note-to-missed-beat (Longuet-Higgins & Lee 1984, variant A)";
const BEAT_DISTANCE: &str = "weighted note-to-beat distance (Gómez et al. 2005)";

/// Find the picking pattern that a recording repeats, how faithfully, and how it syncopates.
#[derive(Args)]
pub struct Patterns {
    /// The recording (most sound files and videos: thumbline manual files).
    rec: PathBuf,
    /// Tuning by name, or its strings from the lowest; guessed without it.
    #[arg(long)]
    tuning: Option<String>,
    /// Fret of the capo; only with --tuning.
    #[arg(long, requires = "tuning", default_value_t = 0)]
    capo: i32,
    /// Say more: every stroke's share, both measures of syncopation and their papers, bar by bar.
    #[arg(long)]
    details: bool,
    /// Write the pattern down to be edited and practised: a presets file.
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Write the answer as JSON; - is standard output.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    #[command(flatten)]
    outputs: OutputArguments,
}

impl Command for Patterns {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let named = [self.json.as_ref(), self.save.as_ref()];
        let [json, save] = self.outputs.targets(&[&self.rec], named)?;
        let presets = source::presets(terminal);
        let options = Options {
            tuning: given_tuning(&presets, self.tuning.as_deref(), self.capo)?,
            tunings: presets.tunings.clone(),
        };
        let recording = source::read_long(&self.rec, Part::WHOLE, terminal)?;
        let heard = source::analyze(&recording, &options, terminal)?;
        source::tell_tuning(&heard, terminal);
        let placed = picking::place(&heard.notes, &heard.grid);
        let meter = heard.grid.meter;
        let Some(found) = picking::find(&placed, meter) else {
            anyhow::bail!(
                "no pattern was found in `{}`: it takes a steady beat and at least two bars",
                recording.name()
            );
        };
        let answer = Answer {
            bars: syncopation(&placed, meter, found.cell.division),
            nearest: nearest(&found.cell, &presets),
            heard,
            found,
        };
        let shown = [&json, &save].contains(&&Some(Target::Output));
        if let Some(target) = save {
            let pattern = Pattern {
                name: recording.title().to_owned(),
                about: "found in a recording".to_owned(),
                cell: answer.found.cell.clone(),
            };
            source::save(&target, &preset::write_pattern(&pattern))?;
        }
        if let Some(target) = json {
            source::save(&target, &answer.json(recording.title()))?;
        }
        if !shown {
            let mut words = answer.text(&presets);
            if self.details {
                answer.details(&mut words);
            }
            terminal.say(words.trim_end())?;
        }
        Ok(())
    }
}

/// A tuning by name or spelling with its capo, where one is given.
pub fn given_tuning(presets: &Presets, name: Option<&str>, capo: i32) -> Result<Option<Tuning>> {
    let Some(name) = name else { return Ok(None) };
    if !(0..=thumbline::music::tuning::HIGHEST_CAPO).contains(&capo) {
        return Err(usage("a capo sits between fret 0 (none) and 12"));
    }
    let (_, tuning) = presets.tuning(name).map_err(|e| usage(e.to_string()))?;
    Ok(Some(tuning.with_capo(capo)))
}

fn nearest(cell: &Cell, presets: &Presets) -> Vec<(String, f64)> {
    picking::nearest(cell, &presets.patterns)
        .into_iter()
        .take(NEAREST)
        .map(|(pattern, distance)| (pattern.name.clone(), distance))
        .collect()
}

/// The melody's syncopation bar by bar.
fn syncopation(placed: &[Placed], meter: Meter, division: u8) -> Vec<BarSyncopation> {
    let onsets: Vec<usize> = placed
        .iter()
        .filter(|n| n.role == Role::Melody)
        .map(|n| (n.at.0 * f64::from(division)).round())
        .filter(|slot| (0.0..1e7).contains(slot))
        .map(|slot| slot as usize)
        .collect();
    syncopation::line(&onsets, meter, division)
}

struct Answer {
    heard: Analysis,
    found: Found,
    nearest: Vec<(String, f64)>,
    bars: Vec<BarSyncopation>,
}

impl Answer {
    /// Mean of both measures over all bars.
    fn whole(&self) -> (f64, f64) {
        let bars = self.bars.len().max(1) as f64;
        let missed: i32 = self.bars.iter().map(|b| b.missed_beat).sum();
        let distance: f64 = self.bars.iter().map(|b| b.beat_distance).sum();
        (f64::from(missed) / bars, distance / bars)
    }

    fn faithful(&self) -> f64 {
        let fits = &self.found.fits;
        fits.iter().map(|f| f.faithful).sum::<f64>() / fits.len().max(1) as f64
    }

    /// A pulse of the melody as a player counts it.
    fn pulse(&self, pulse: usize) -> String {
        let cell = &self.found.cell;
        let at = Beats(pulse as f64 / f64::from(cell.division.max(1)));
        count(cell.meter, at)
    }

    /// What a player can use: tuning, cell, pushes and delays, bars that differ. Writing to a string
    /// cannot fail.
    fn text(&self, presets: &Presets) -> String {
        let cell = &self.found.cell;
        let tuning = &self.heard.tuning;
        let capo = match tuning.capo() {
            0 => "no capo".to_owned(),
            fret => format!("capo {fret}"),
        };
        let mut out = format!("Tuning {}, {capo}\n\n", presets.tuning_name(tuning));
        out += &tab::text(&self.score(), WIDTH);
        let bars = match cell.bars {
            1 => "one bar".to_owned(),
            n => format!("{n} bars"),
        };
        let fits = &self.found.fits;
        let keep = fits.iter().filter(|f| f.faithful >= KEEPS).count();
        let line = if self.faithful() < HARDLY {
            format!(
                "Hardly a pattern: what repeats most is {bars} of {} long, and most bars leave it.",
                cell.meter
            )
        } else {
            format!(
                "The pattern is {bars} of {} long; {keep} of {} bars keep it.",
                cell.meter,
                fits.len()
            )
        };
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        self.senses(&mut out);
        let other: Vec<String> = fits
            .iter()
            .filter(|f| f.faithful < KEEPS)
            .map(|f| f.number.to_string())
            .collect();
        if !other.is_empty() && keep > 0 {
            let line = format!("Bars that differ: {}", other.join(" "));
            let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        }
        self.variants(&mut out);
        if let Some((name, distance)) = self.nearest.first().filter(|(_, d)| *d < NOTHING_ALIKE) {
            let how = if *distance < 0.15 {
                "It is"
            } else {
                "Nearest known pattern:"
            };
            let _ = writeln!(out, "{how} “{name}”.");
        }
        let cells = cell.written().join(" / ");
        let line =
            format!("To practise it: thumbline drill --from REC, or edited: --cell \"{cells}\"");
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        out
    }

    /// Where the melody is pushed ahead of its beat and where it is delayed behind it.
    fn senses(&self, out: &mut String) {
        let cell = &self.found.cell;
        let named = |wanted: fn(&Sense) -> bool| -> String {
            let senses = cell.melody_senses();
            let names: Vec<String> = senses
                .iter()
                .filter(|(_, s)| wanted(s))
                .map(|(at, _)| cell.count(Beats(*at)))
                .collect();
            names.join(" ")
        };
        let pushed = named(|s| matches!(s, Sense::Pushed { .. }));
        let delayed = named(|s| matches!(s, Sense::Delayed { .. }));
        if !pushed.is_empty() {
            let _ = writeln!(
                out,
                "The melody is pushed at {pushed}: each belongs to the next beat."
            );
        }
        if !delayed.is_empty() {
            let _ = writeln!(
                out,
                "It is delayed at {delayed}: each belongs to the beat before."
            );
        }
    }

    /// Every stroke, patterns near it, and both measures of syncopation bar by bar.
    fn details(&self, out: &mut String) {
        let cell = &self.found.cell;
        out.push('\n');
        for note in &cell.notes {
            let strings: Vec<String> = note.strings.iter().map(u8::to_string).collect();
            let _ = writeln!(
                out,
                "  bar {} beat {:<6} {}  string {:<6} in {:3.0} % of its repeats",
                (note.at.0 / f64::from(cell.meter.beats().max(1))) as i32 + 1,
                cell.count(note.at),
                note.finger,
                strings.join(" or "),
                100.0 * note.share
            );
        }
        let near: Vec<_> = self
            .nearest
            .iter()
            .filter(|(_, d)| *d < NOTHING_ALIKE)
            .collect();
        if near.is_empty() {
            let _ = writeln!(out, "\nNo known pattern is like it.");
        } else {
            let _ = writeln!(
                out,
                "\nNearest known patterns (0 is the same, 1 nothing in common)"
            );
        }
        for (name, distance) in near {
            let _ = writeln!(out, "  {distance:.2}  {name}");
        }
        self.bars_text(out);
    }

    fn bars_text(&self, out: &mut String) {
        let (missed, distance) = self.whole();
        let _ = writeln!(
            out,
            "\nEvery bar against the pattern: {:.0} % of strokes agree. Melody's syncopation:\n  \
             A: {MISSED_BEAT}, {missed:.2} a bar\n  B: {BEAT_DISTANCE}, {distance:.2}\n  \
             bar  pattern    A     B   made by",
            100.0 * self.faithful(),
        );
        for (i, fit) in self.found.fits.iter().enumerate() {
            let bar = self.bars.get(i);
            let by: Vec<String> = bar
                .iter()
                .flat_map(|b| &b.syncopes)
                .map(|s| format!("{}>{}", self.pulse(s.note), self.pulse(s.missed)))
                .collect();
            let line = format!(
                "  {:>3}  {:>5.0} %  {:>3}  {:>4.1}   {}",
                fit.number,
                100.0 * fit.faithful,
                bar.map_or(0, |b| b.missed_beat),
                bar.map_or(0.0, |b| b.beat_distance),
                by.join(" ")
            );
            let _ = writeln!(out, "{}", line.trim_end());
        }
        let _ = writeln!(
            out,
            "  (2&>3: a note after beat 2 that leaves beat 3 silent)"
        );
    }

    /// Other ways of playing a bar that come back.
    fn variants(&self, out: &mut String) {
        for variant in &self.found.variants {
            let bars: Vec<String> = variant.bars.iter().map(i32::to_string).collect();
            let strokes: Vec<String> = variant
                .strokes
                .iter()
                .map(|(at, role)| {
                    let part = if *role == Role::Bass {
                        "thumb"
                    } else {
                        "fingers"
                    };
                    format!("{} {part}", count(self.found.cell.meter, *at))
                })
                .collect();
            let line = format!(
                "Bars {} play instead: {}",
                bars.join(" "),
                strokes.join(", ")
            );
            let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        }
    }

    /// The cell on its strings, left hand aside.
    fn score(&self) -> Score {
        let cell = &self.found.cell;
        let notes = cell
            .notes
            .iter()
            .filter_map(|n| {
                let strings = if n.touch.brush.is_some() {
                    n.strings.as_slice()
                } else {
                    n.strings.get(..1)?
                };
                Some(strings.iter().map(move |string| {
                    let mut note = Written::pluck(n.at, Beats(1.0), *string, 0);
                    note.role = n.role;
                    note.finger = Some(n.finger);
                    note.touch = n.touch;
                    note
                }))
            })
            .flatten()
            .collect();
        let mut score = Score {
            title: "pattern".to_owned(),
            tuning: self.heard.tuning.clone(),
            meter: cell.meter,
            tempo: self.heard.grid.tempo().unwrap_or(Bpm(90.0)),
            key: Key::default(),
            notes,
        };
        score.settle();
        score
    }

    fn json(&self, name: &str) -> String {
        let cell = &self.found.cell;
        let (missed, distance) = self.whole();
        let slots: Vec<Value> = cell
            .notes
            .iter()
            .map(|n| {
                json!({
                    "slot": (n.at.0 * f64::from(cell.division)).round() as i64,
                    "beat": plain(n.at.0),
                    "count": cell.count(n.at),
                    "role": n.role,
                    "strings": n.strings,
                    "finger": n.finger,
                    "share": plain(n.share),
                })
            })
            .collect();
        let document = json!({
            "schema": "thumbline.patterns",
            "version": 1,
            "recording": name,
            "cell": {
                "bars": cell.bars,
                "meter": cell.meter.to_string(),
                "slots_a_beat": cell.division,
                "slots": slots,
            },
            "nearest": self.nearest.iter()
                .map(|(name, distance)| json!({ "name": name, "distance": plain(*distance) }))
                .collect::<Vec<_>>(),
            "faithful": plain(self.faithful()),
            "bars": self.found.fits.iter().map(|f| json!({
                "bar": f.number,
                "bar_of_cell": f.of_cell + 1,
                "faithful": plain(f.faithful),
            })).collect::<Vec<_>>(),
            "variants": self.found.variants.iter().map(|v| json!({
                "bar_of_cell": v.of_cell + 1,
                "bars": v.bars,
                "strokes": v.strokes.iter().map(|(at, role)| json!({
                    "beat": plain(at.0),
                    "role": role,
                })).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
            "syncopation": {
                "measures": { "missed_beat": MISSED_BEAT, "beat_distance": BEAT_DISTANCE },
                "line": "melody",
                "missed_beat_a_bar": plain(missed),
                "beat_distance": plain(distance),
                "bars": self.bars.iter().map(|b| json!({
                    "bar": b.bar + 1,
                    "missed_beat": b.missed_beat,
                    "beat_distance": plain(b.beat_distance),
                    "notes": b.syncopes.iter().map(|s| json!({
                        "note": self.pulse(s.note),
                        "missed": self.pulse(s.missed),
                        "strength": s.strength,
                    })).collect::<Vec<_>>(),
                })).collect::<Vec<_>>(),
            },
        });
        format!("{document:#}\n")
    }
}

fn plain(x: f64) -> f64 {
    (x * 10_000.0).round() / 10_000.0
}
