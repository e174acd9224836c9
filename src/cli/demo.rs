//! `demo`: the whole job on the built-in tune, whose mistakes are known.

use super::command::Command;
use super::outputs::OutputArguments;
use super::sound;
use super::source::{self, Analysed};
use super::terminal::Terminal;
use anyhow::{Context, Result};
use clap::Args;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Options;
use thumbline::compare::{Comparison, Model, compare};
use thumbline::deck::offline::{self, LoopPlan};
use thumbline::demo::{self, Planted, Rendition};
use thumbline::music::note::Role;
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::report::sheet::{self, Ground, Piece};
use thumbline::report::wav::{self, Depth};
use thumbline::report::{compare as words, json, svg};
use thumbline::stretch::transient;
use thumbline::timing::Reference;
use thumbline::unit::{Beats, Seconds};

/// Frames a second of the demo's recordings.
const RATE: u32 = 44_100;

/// The loop that is written: speed and rounds.
const LOOP: (f64, u32) = (0.6, 4);

/// The bar that is looped where the take asks for none: the first off the beat.
const BAR: i32 = 9;

/// What the demo writes; the loop's words name its bar.
const FILES: [(&str, &str); 8] = [
    ("recording.wav", "the recording"),
    ("take.wav", "the student's take"),
    ("loop.wav", "a bar of the recording"),
    (
        "recording.svg",
        "its bar sheet: thumb and fingers against the beat",
    ),
    ("take.svg", "the take's bar sheet"),
    (
        "both.svg",
        "the take's notes, hollow, on the recording's bar sheet",
    ),
    (
        "recording.json",
        "everything that was heard, for other programs",
    ),
    ("take.json", "the same of the take"),
];

/// Try everything on a tune of our own: a recording, and a student's take with known mistakes.
#[derive(Args)]
pub struct Demo {
    /// Folder for the files that the demo writes; made when it is not there.
    #[arg(long, value_name = "FOLDER", default_value = "thumbline-demo")]
    out: PathBuf,
    #[command(flatten)]
    outputs: OutputArguments,
}

/// One of the two: what was played, and what was heard of it.
struct Side {
    played: Rendition,
    heard: Analysed,
}

impl Command for Demo {
    fn run(self, terminal: &Terminal) -> Result<()> {
        for (name, _) in FILES {
            self.outputs.target(&[], &self.out.join(name))?;
        }
        std::fs::create_dir_all(&self.out).with_context(|| {
            let name = self.out.display();
            format!("the folder `{name}` cannot be made: choose another with --out")
        })?;
        terminal.remark("A guitar in DADGAD plays the tune, then a student plays it …");
        let model = self.side(demo::recording(RATE)?, "recording", terminal)?;
        let take = self.side(demo::take(RATE)?, "take", terminal)?;
        let with = Model {
            notes: &model.heard.found.notes,
            grid: &model.heard.found.grid,
            drifts: &model.heard.drift.notes,
        };
        let found = compare(with, &take.heard.found.notes);
        self.save("recording.svg", &picture(&model, None))?;
        let answers = found.page(with, &take.heard.found.notes, Reference::Recording);
        self.save("take.svg", &picture(&take, None))?;
        let second = sheet::Take {
            notes: &answers.0,
            drift: &answers.1,
        };
        self.save("both.svg", &picture(&model, Some(second)))?;
        let bar = self.looped(&model, &take, terminal)?;
        terminal.say(&account(&model, &take, &found))?;
        terminal.say(&self.files(bar))?;
        Ok(())
    }
}

impl Demo {
    /// Writes and hears one rendition.
    fn side(&self, played: Rendition, name: &str, terminal: &Terminal) -> Result<Side> {
        let recording = &played.recording;
        save_sound(&self.out.join(format!("{name}.wav")), recording)?;
        let heard = source::hear(recording, &Options::default(), terminal)?;
        let text = json::analysis(recording, &heard.found, &heard.drift);
        self.save(&format!("{name}.json"), &text)?;
        Ok(Side { played, heard })
    }

    fn save(&self, name: &str, text: &str) -> Result<()> {
        source::save(&Target::of(&self.out.join(name)), text)
    }

    /// Writes the bar that the take needs most, slowed and looped from the recording; its number.
    fn looped(&self, model: &Side, take: &Side, terminal: &Terminal) -> Result<i32> {
        let asked = sheet::sentences(&take.piece()).into_iter();
        let has = |bar: &i32| model.heard.found.grid.bar_range(*bar, *bar).is_some();
        let bar = asked
            .filter_map(|s| s.bar)
            .chain([BAR])
            .find(has)
            .unwrap_or(1);
        let recording = Arc::new(Recording::new(
            model.played.recording.name(),
            model.played.recording.rate(),
            model.played.recording.channels().to_vec(),
        )?);
        let part = source::bars(&recording, &model.heard.found, bar, bar)?;
        let to = part.to.unwrap_or(recording.end());
        let plan = LoopPlan {
            count_in: 1,
            ..LoopPlan::new(part.from, to, LOOP.1, LOOP.0)
        };
        let onsets = Arc::new(transient::onsets(&recording));
        let grid = &model.heard.found.grid;
        let channels = offline::render_loop(&recording, &onsets, grid, &plan, |_| true)?;
        let target = Target::of(&self.out.join("loop.wav"));
        sound::write(&target, recording.rate(), channels, false, terminal)?;
        Ok(bar)
    }

    fn files(&self, bar: i32) -> String {
        let (speed, times) = LOOP;
        let mut out = format!("\nWritten to {}:\n", self.out.display());
        for (name, what) in FILES {
            let what = match name {
                "loop.wav" => &format!(
                    "bar {bar} of the recording, {times} times at {:.0} %",
                    100.0 * speed
                ),
                _ => what,
            };
            let _ = writeln!(out, "  {name:<15} {what}"); // a string takes everything
        }
        out.truncate(out.trim_end().len());
        out
    }
}

impl Side {
    /// Notes of a hand that were heard where they were played (mir_eval's ±50 ms), of all played.
    fn caught(&self, role: Role) -> (usize, usize) {
        let notes = &self.heard.found.notes;
        let mut heard: Vec<Seconds> = notes
            .iter()
            .filter(|n| n.role == role)
            .map(|n| n.time)
            .collect();
        let mut caught = 0;
        let mut all = 0;
        for played in self.played.of_role(role) {
            all += 1;
            let near = |t: &Seconds| (*t - played.note.time).abs().ms() <= 50.0;
            if let Some(i) = heard.iter().position(near) {
                heard.remove(i);
                caught += 1;
            }
        }
        (caught, all)
    }

    fn piece(&self) -> Piece<'_> {
        let name = self.played.recording.name();
        Piece::of(name, &self.heard.found, &self.heard.drift)
    }
}

fn picture(side: &Side, second: Option<sheet::Take<'_>>) -> String {
    let piece = Piece {
        second,
        ..side.piece()
    };
    svg::write(&piece, sheet::Options::default(), Ground::Paper)
}

fn save_sound(path: &Path, recording: &Recording) -> Result<()> {
    Target::of(path)
        .write(|out| wav::write(out, recording.rate(), recording.channels(), Depth::Int24))?;
    Ok(())
}

/// What was played and what was found, side by side.
fn account(model: &Side, take: &Side, found: &Comparison) -> String {
    let mut out = String::new();
    for (name, side) in [("The recording", model), ("The take", take)] {
        let (thumb, all_thumb) = side.caught(Role::Bass);
        let (fingers, all_fingers) = side.caught(Role::Melody);
        let tempo = side.heard.found.grid.tempo().map_or(0.0, |t| t.0);
        let truth = side.played.grid.tempo().map_or(0.0, |t| t.0);
        // A string takes everything.
        let _ = writeln!(
            out,
            "{name}: {thumb} of {all_thumb} thumb and {fingers} of {all_fingers} finger notes \
             heard, {tempo:.1} beats a minute ({truth:.1} played)"
        );
    }
    let _ = writeln!(out, "\nThe student's mistakes, and what was found of them:");
    for planted in &take.played.planted {
        let (was, is) = finding(planted, model, take, found);
        let _ = writeln!(out, "  {was}\n    found: {is}");
    }
    let _ = writeln!(out, "\nIn a player's words:");
    for sentence in sheet::sentences(&take.piece()) {
        let _ = writeln!(out, "  {}", sentence.text);
    }
    for sentence in words::slants(found) {
        let _ = writeln!(out, "  {sentence}");
    }
    out.truncate(out.trim_end().len());
    out
}

/// A planted mistake in words, and what was found of it.
fn finding(planted: &Planted, model: &Side, take: &Side, found: &Comparison) -> (String, String) {
    match *planted {
        Planted::Late {
            role,
            place,
            by,
            notes,
        } => {
            let was = format!(
                "{} {:.0} ms late at beat {} of the bar, {notes} times",
                if role == Role::Bass {
                    "thumb"
                } else {
                    "fingers"
                },
                by.ms(),
                place.0 + 1.0
            );
            let at = |f: &&thumbline::compare::SlotFeel| {
                let slot = f64::from(f.slot.beat - 1)
                    + f64::from(f.slot.part) / f64::from(f.slot.parts.max(1));
                f.role == role && (slot - place.0).abs() < 0.01
            };
            let is = found.feel.iter().find(at).map_or_else(
                || "nothing at that place".to_owned(),
                |f| {
                    format!(
                        "{:.0} ms later than the recording there ({:.0} to {:.0}), {} notes",
                        f.difference.ms(),
                        f.low.ms(),
                        f.high.ms(),
                        f.n
                    )
                },
            );
            (was, is)
        }
        Planted::Missed { bar, place, string } => {
            let was = format!(
                "a note on string {string} left out in bar {bar}, beat {}",
                place.0 + 1.0
            );
            let before = f64::from(model.played.grid.meter.beats()) * f64::from(bar - 1);
            let at = model.played.grid.time_at(Beats(before + place.0));
            let near = |i: &usize| {
                let note = &model.heard.found.notes[*i];
                at.is_some_and(|at: Seconds| (note.time - at).abs().0 < 0.1)
            };
            let missed = found
                .rounds
                .iter()
                .flat_map(|r| &r.missed)
                .find(|i| near(i));
            let is = match missed {
                Some(_) => "missed there".to_owned(),
                None => "nothing".to_owned(),
            };
            (was, is)
        }
        Planted::Slower { from, to } => {
            let was = format!(
                "slower: {:.0} instead of {:.0} beats a minute",
                to.0, from.0
            );
            let tempo = |side: &Side| side.heard.found.grid.tempo().map_or(0.0, |t| t.0);
            let is = format!("{:.1} instead of {:.1}", tempo(take), tempo(model));
            (was, is)
        }
    }
}
