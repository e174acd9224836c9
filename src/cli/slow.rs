//! `slow`: a recording slower or faster, at its own pitch.

use super::arguments::{self, Cut, PartArguments};
use super::command::Command;
use super::outputs::OutputArguments;
use super::sound;
use super::source;
use super::terminal::{Progress, Terminal};
use super::usage::usage;
use anyhow::{Context, Result};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Options;
use thumbline::load::Part;
use thumbline::recording::{Recording, Spool};
use thumbline::stretch::{self, PitchShift, Speed, SpeedMap, transient};
use thumbline::unit::Cents;

/// Play a recording slower or faster at its own pitch, into a WAV file.
#[derive(Args)]
pub struct Slow {
    /// The recording (most sound files and videos: thumbline manual files).
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
            Cut::Seconds(part) => source::read_long(&self.rec, part, terminal)?,
            Cut::Bars(first, last) => self.bars(first, last, terminal)?,
        });
        sound::check_length(
            &recording,
            map.stretched(recording.frames(), recording.rate()),
        )?;
        let progress = terminal.progress("slowing");
        let made = slowed(&recording, &map, self.pitch, &progress)?;
        drop(progress);
        sound::write_recording(&target, &made, self.float, terminal)
    }
}

/// The whole of `recording` at the speeds of `map`: in memory, or on disk where the recording is.
fn slowed(
    recording: &Arc<Recording>,
    map: &SpeedMap,
    pitch: Cents,
    progress: &Progress,
) -> Result<Recording> {
    let onsets = Arc::new(transient::onsets(recording));
    let pitch = PitchShift::nearest(pitch);
    let (name, rate) = (recording.name(), recording.rate());
    if !recording.is_spooled() {
        let channels = stretch::render(recording, &onsets, map, pitch, |share| {
            progress.at(share);
            true
        })?;
        return Ok(Recording::new(name, rate, channels)?);
    }
    let full = "the disk for temporary files cannot take the slowed sound";
    let mut spool = Spool::new(recording.width()).context(full)?;
    let mut written = Ok(());
    let stopped = stretch::render_blocks(recording, &onsets, map, pitch, |block, share| {
        progress.at(share);
        written = spool.push(block);
        written.is_ok()
    });
    written.context(full)?;
    stopped?;
    Ok(Recording::spooled(name, rate, spool)?)
}

impl Slow {
    /// The sound of some bars alone.
    fn bars(&self, first: i32, last: i32, terminal: &Terminal) -> Result<Recording> {
        let whole = source::read_long(&self.rec, Part::WHOLE, terminal)?;
        let found = source::analyze(&whole, &Options::default(), terminal)?;
        let part = source::bars(&whole, &found, first, last)?;
        let from = part.from.frame(whole.rate());
        let to = part.to.map_or(whole.frames(), |to| to.frame(whole.rate()));
        let inside = from..to.min(whole.frames());
        let cut = |channel| whole.part(channel, inside.clone()).into_owned();
        let channels = (0..whole.width()).map(cut).collect();
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
