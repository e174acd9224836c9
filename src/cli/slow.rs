//! `slow`: a recording slower or faster, at its own pitch.

use super::arguments::{self, Cut, PartArguments};
use super::outputs::OutputArguments;
use super::source;
use super::terminal::Terminal;
use super::{Command, sound, usage};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Options;
use thumbline::load::Part;
use thumbline::recording::Recording;
use thumbline::stretch::{self, Pitch, Speed, SpeedMap, transient};
use thumbline::unit::Cents;

/// Play a recording slower or faster at its own pitch, into a WAV file.
#[derive(Args)]
pub struct Slow {
    /// The recording (WAV, AIFF, FLAC, MP3, Ogg Vorbis, M4A).
    rec: PathBuf,
    /// Speed: 0.6 or 60%; 0.25 to 1.5.
    #[arg(long, value_parser = arguments::speed, required_unless_present = "speeds")]
    speed: Option<Speed>,
    /// A text file of changing speeds, a line each: seconds of the recording, speed from there on.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["speed", "from", "from_s", "to_s"])]
    speeds: Option<PathBuf>,
    /// Raise or lower the pitch by semitones, -12 to 12; 0.5 is 50 cents.
    #[arg(long, value_parser = arguments::semitones, default_value = "0", allow_negative_numbers = true)]
    pitch: Cents,
    #[command(flatten)]
    part: PartArguments,
    /// The WAV file to write; - is standard output.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write 32-bit floating point instead of 24-bit whole numbers.
    #[arg(long)]
    float: bool,
    #[command(flatten)]
    outputs: OutputArguments,
}

impl Command for Slow {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let mut read = vec![self.rec.as_path()];
        read.extend(self.speeds.as_deref());
        let target = self.outputs.target(&read, &self.out)?;
        let map = self.map()?;
        let recording = Arc::new(match self.part.choice()? {
            Cut::Seconds(part) => source::read(&self.rec, part, terminal)?,
            Cut::Bars(first, last) => self.bars(first, last, terminal)?,
        });
        sound::check_length(
            &recording,
            map.stretched(recording.frames(), recording.rate()),
        )?;
        let onsets = Arc::new(transient::onsets(&recording));
        let progress = terminal.progress("slowing");
        let channels = stretch::render(
            &recording,
            &onsets,
            &map,
            Pitch::nearest(self.pitch),
            |share| {
                progress.at(share);
                true
            },
        )?;
        drop(progress);
        sound::write(&target, recording.rate(), &channels, self.float, terminal)
    }
}

impl Slow {
    /// The sound of some bars alone.
    fn bars(&self, first: i32, last: i32, terminal: &Terminal) -> Result<Recording> {
        let whole = source::read(&self.rec, Part::WHOLE, terminal)?;
        let found = source::analyze(&whole, &Options::default(), terminal)?;
        let part = source::bars(&whole, &found, first, last)?;
        let from = part.from.frame(whole.rate());
        let to = part.to.map_or(whole.frames(), |to| to.frame(whole.rate()));
        let cut = |channel: &Vec<f32>| channel[from..to.min(channel.len())].to_vec();
        let channels = whole.channels().iter().map(cut).collect();
        Ok(Recording::new(whole.name(), whole.rate(), channels)?)
    }

    fn map(&self) -> Result<SpeedMap> {
        let Some(path) = &self.speeds else {
            return Ok(SpeedMap::constant(self.speed.unwrap_or(Speed::NORMAL)));
        };
        let name = path.display();
        let text = std::fs::read_to_string(path).map_err(|why| {
            anyhow::anyhow!("`{name}` cannot be read ({why}): check the file of speeds")
        })?;
        SpeedMap::parse(&text).map_err(|why| usage(format!("`{name}`: {why}")))
    }
}
