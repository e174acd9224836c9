//! `loop`: a part of a recording again and again, as the deck plays it.

use super::command::Command;
use super::outputs::OutputArguments;
use super::terminal::Terminal;
use super::usage::usage;
use super::{arguments, sound, source};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Options;
use thumbline::deck::ClickRate;
use thumbline::deck::offline::{self, ClickTrack, LoopPlan, OfflineError};
use thumbline::load::Part;
use thumbline::music::grid::Grid;
use thumbline::recording::Recording;
use thumbline::stretch::{Speed, transient};
use thumbline::unit::{Cents, Decibels};

/// Level of the click.
const CLICK: Decibels = Decibels(-12.0);

/// Repeat a part of a recording at its own pitch, into a WAV file.
#[derive(Args)]
pub struct Loop {
    /// The recording (most sound files and videos: thumbline manual files).
    rec: PathBuf,
    /// Bars to repeat, as counted by analyze: 5-6, or one bar as 5.
    #[arg(long, value_name = "BARS", value_parser = arguments::bars, allow_hyphen_values = true)]
    #[arg(required_unless_present_all = ["from_s", "to_s"])]
    bars: Option<(i32, i32)>,
    /// Begin at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = arguments::seconds)]
    #[arg(conflicts_with = "bars", requires = "to_s")]
    from_s: Option<f64>,
    /// End at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = arguments::seconds)]
    #[arg(conflicts_with = "bars", requires = "from_s")]
    to_s: Option<f64>,
    /// Speed: 0.6 or 60%; 0.25 to 1.5.
    #[arg(long, value_parser = arguments::speed, default_value = "1")]
    speed: Speed,
    /// How many times to play it.
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=1000))]
    times: u32,
    /// Raise or lower the pitch by semitones, -12 to 12; 0.5 is 50 cents.
    #[arg(long, value_parser = arguments::semitones, default_value = "0")]
    #[arg(allow_negative_numbers = true)]
    pitch: Cents,
    /// Count in for one bar.
    #[arg(long)]
    count_in: bool,
    /// Click on every beat.
    #[arg(long)]
    click: bool,
    /// The WAV file to write; - is standard output.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write 32-bit floating point instead of 24-bit whole numbers.
    #[arg(long)]
    float: bool,
    #[command(flatten)]
    outputs: OutputArguments,
}

impl Command for Loop {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let target = self.outputs.target(&[&self.rec], &self.out)?;
        let (recording, grid, part) = self.material(terminal)?;
        let recording = Arc::new(recording);
        let speed = self.speed.get();
        let to = part.to.unwrap_or(recording.end());
        let plan = LoopPlan {
            pitch: self.pitch,
            count_in: u8::from(self.count_in),
            click: self.click.then_some(ClickTrack {
                rate: ClickRate::Beat,
                level: CLICK,
                swing: 0.5,
            }),
            ..LoopPlan::new(part.from, to, self.times, speed)
        };
        let seconds = f64::from(self.times) * (to - part.from).0 / speed;
        let frames = seconds * f64::from(recording.rate());
        sound::check_length(&recording, frames)?;
        let onsets = Arc::new(transient::onsets(&recording));
        let progress = terminal.progress("looping");
        let channels = offline::render_loop(&recording, &onsets, &grid, &plan, |done| {
            progress.at(done as f64 / frames);
            true
        })
        .map_err(|error| match error {
            OfflineError::Region => usage(error.to_string()),
            other => other.into(),
        })?;
        drop(progress);
        sound::write(&target, recording.rate(), channels, self.float, terminal)
    }
}

impl Loop {
    /// The sound to read from, its beats where they are needed, and the part to repeat.
    fn material(&self, terminal: &Terminal) -> Result<(Recording, Grid, Part)> {
        let part = arguments::part(self.from_s, self.to_s)?;
        let counted = self.count_in || self.click;
        if self.bars.is_none() && !counted {
            let (recording, part) = source::read_around(&self.rec, part, terminal)?;
            return Ok((recording, Grid::default(), part));
        }
        let recording = source::read(&self.rec, Part::WHOLE, terminal)?;
        let found = source::analyze(&recording, &Options::default(), terminal)?;
        if found.grid.is_empty() {
            return Err(usage(format!(
                "no steady beat was found in `{}`, so it has no bars and no click: choose the \
                 part with --from-s and --to-s alone",
                recording.name()
            )));
        }
        let part = match self.bars {
            Some((first, last)) => source::bars(&recording, &found, first, last)?,
            None => source::inside(&recording, part)?,
        };
        Ok((recording, found.grid, part))
    }
}
