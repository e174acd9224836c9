//! `check`: how far a take drifts from the beat.

use super::arguments::GuitarArguments;
use super::command::Command;
use super::outputs::OutputArguments;
use super::source;
use super::terminal::Terminal;
use anyhow::Result;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use thumbline::load::Part;
use thumbline::report::file::Target;
use thumbline::report::sheet::{self, Piece};
use thumbline::report::{json, table};
use thumbline::timing::{self, Reference};

/// Show where thumb and fingers fall against the beat: mean, spread, and slot by slot.
#[derive(Args)]
pub struct Check {
    /// The take.
    take: PathBuf,
    /// What to measure against.
    #[arg(long, value_enum, default_value = "own-tempo")]
    against: Against,
    /// Write the figures as JSON; - is standard output.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    #[command(flatten)]
    outputs: OutputArguments,
    #[command(flatten)]
    guitar: GuitarArguments,
}

#[derive(Clone, Copy, ValueEnum)]
enum Against {
    /// The take's own tempo, smoothed.
    OwnTempo,
    /// One strict tempo throughout.
    Strict,
    /// The thumb.
    Thumb,
}

impl Command for Check {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let [json_to] = self.outputs.targets(&[&self.take], [self.json.as_ref()])?;
        let recording = source::read_long(&self.take, Part::WHOLE, terminal)?;
        let found = source::analyze(&recording, &self.guitar.options()?, terminal)?;
        let reference = match self.against {
            Against::OwnTempo => Reference::OwnTempo,
            Against::Strict => Reference::Strict(None),
            Against::Thumb => Reference::Thumb,
        };
        let drift = timing::of(&found, reference);
        let shown = json_to == Some(Target::Output);
        if let Some(target) = json_to {
            source::save(&target, &json::check(&recording, &found, &drift))?;
        }
        if !shown {
            let piece = Piece::of(recording.title(), &found, &drift);
            let mut text = table::drift(&found, &drift);
            for sentence in sheet::sentences(&piece) {
                if sentence.bar.is_some() {
                    text.push_str("\n\n");
                    text.push_str(&sentence.text);
                }
            }
            terminal.say(&text)?;
        }
        Ok(())
    }
}
