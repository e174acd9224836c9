//! `patterns`: the picking pattern that a recording repeats, its faithfulness and syncopation.

use super::command::Command;
use super::outputs::OutputArguments;
use super::source;
use super::strings::text::{WIDTH, wrapped};
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::Result;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::load::Part;
use thumbline::music::guess;
use thumbline::music::picking::{NEAR, Pattern, PatternReading};
use thumbline::music::tuning::Tuning;
use thumbline::preset::{self, Presets};
use thumbline::report::file::Target;
use thumbline::report::tab;
use thumbline::unit::Bpm;

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
        let reading = read(&heard, &presets, recording.name())?;
        let answer = Answer { heard, reading };
        let shown = [&json, &save].contains(&&Some(Target::Output));
        if let Some(target) = save {
            let pattern = Pattern {
                name: recording.title().to_owned(),
                about: "found in a recording".to_owned(),
                cell: answer.reading.found.cell.clone(),
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

/// The pattern that a recording repeats.
pub fn read(heard: &Analysis, presets: &Presets, name: &str) -> Result<PatternReading> {
    let found = PatternReading::of(&heard.notes, &heard.grid, &presets.patterns);
    found.ok_or_else(|| {
        anyhow::anyhow!(
            "no pattern was found in `{name}`: it takes a steady beat and at least two bars"
        )
    })
}

struct Answer {
    heard: Analysis,
    reading: PatternReading,
}

impl Answer {
    /// What a player can use: tuning, cell, pushes and delays, bars that differ. Writing to a string
    /// cannot fail.
    fn text(&self, presets: &Presets) -> String {
        let cell = &self.reading.found.cell;
        let tuning = &self.heard.tuning;
        let capo = match tuning.capo() {
            0 => "no capo".to_owned(),
            fret => format!("capo {fret}"),
        };
        let mut out = if self.heard.tuning_known() {
            format!("Tuning {}, {capo}\n\n", presets.tuning_name(tuning))
        } else {
            let said = guess::told(&self.heard.guesses);
            let line = format!("Tuning {said}; the strings below are those of the first.");
            wrapped(&line, WIDTH) + "\n\n"
        };
        let tempo = self.heard.grid.tempo().unwrap_or(Bpm(90.0));
        out += &tab::text(&cell.score(tuning, tempo), WIDTH);
        for said in self.reading.sentences() {
            let _ = writeln!(out, "{}", wrapped(&said, WIDTH - 2));
        }
        let cells = cell.written().join(" / ");
        let line =
            format!("To practise it: thumbline drill --from REC, or edited: --cell \"{cells}\"");
        let _ = writeln!(out, "{}", wrapped(&line, WIDTH - 2));
        out
    }

    /// Every stroke, patterns near it, and both measures of syncopation bar by bar.
    fn details(&self, out: &mut String) {
        let cell = &self.reading.found.cell;
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
            .reading
            .nearest
            .iter()
            .filter(|(_, d)| *d < NEAR)
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
        let (missed, distance) = self.reading.syncopation();
        let _ = writeln!(
            out,
            "\nEvery bar against the pattern: {:.0} % of strokes agree. Melody's syncopation:\n  \
             A: {MISSED_BEAT}, {missed:.2} a bar\n  B: {BEAT_DISTANCE}, {distance:.2}\n  \
             bar  pattern    A     B   made by",
            100.0 * self.reading.faithful(),
        );
        for (i, fit) in self.reading.found.fits.iter().enumerate() {
            let bar = self.reading.bars.get(i);
            let by: Vec<String> = bar
                .iter()
                .flat_map(|b| &b.syncopes)
                .map(|s| {
                    format!(
                        "{}>{}",
                        self.reading.pulse(s.note),
                        self.reading.pulse(s.missed)
                    )
                })
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

    fn json(&self, name: &str) -> String {
        let cell = &self.reading.found.cell;
        let (missed, distance) = self.reading.syncopation();
        let slots: Vec<Value> = cell
            .notes
            .iter()
            .map(|n| {
                json!({
                    "slot": (n.at.0 * f64::from(cell.division)).round() as i64,
                    "beat": plain(n.at.0),
                    "count": cell.count(n.at),
                    "role": n.role,
                    "strings": self.heard.tuning_known().then_some(&n.strings),
                    "finger": n.finger,
                    "share": plain(n.share),
                })
            })
            .collect();
        let document = json!({
            "schema": "thumbline.patterns",
            "version": 1,
            "recording": name,
            "tuning_known": self.heard.tuning_known(),
            "tuning_guess": guess::told(&self.heard.guesses),
            "cell": {
                "bars": cell.bars,
                "meter": cell.meter.to_string(),
                "slots_a_beat": cell.division,
                "slots": slots,
            },
            "nearest": self.reading.nearest.iter()
                .map(|(name, distance)| json!({ "name": name, "distance": plain(*distance) }))
                .collect::<Vec<_>>(),
            "faithful": plain(self.reading.faithful()),
            "bars": self.reading.found.fits.iter().map(|f| json!({
                "bar": f.number,
                "bar_of_cell": f.of_cell + 1,
                "faithful": plain(f.faithful),
            })).collect::<Vec<_>>(),
            "variants": self.reading.found.variants.iter().map(|v| json!({
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
                "bars": self.reading.bars.iter().map(|b| json!({
                    "bar": b.bar + 1,
                    "missed_beat": b.missed_beat,
                    "beat_distance": plain(b.beat_distance),
                    "notes": b.syncopes.iter().map(|s| json!({
                        "note": self.reading.pulse(s.note),
                        "missed": self.reading.pulse(s.missed),
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
