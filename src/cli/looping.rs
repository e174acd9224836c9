//! `loop`: a part of a recording again and again, at its own pitch and any speed.

use super::terminal::Terminal;
use super::{Command, arguments, sound, source};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::report::file::Target;
use thumbline::stretch::{Speed, Stretcher, transient};

/// Frames rendered between two looks at progress.
const BLOCK: usize = 4096;

/// Repeat a part of a recording at its own pitch, into a WAV file.
#[derive(Args)]
pub struct Loop {
    /// The recording (WAV, AIFF, FLAC, MP3, Ogg Vorbis, M4A).
    rec: PathBuf,
    /// Begin at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = arguments::seconds)]
    from_s: f64,
    /// End at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = arguments::seconds)]
    to_s: f64,
    /// Speed: 0.6 or 60%; 0.25 to 1.5.
    #[arg(long, value_parser = arguments::speed, default_value = "1")]
    speed: Speed,
    /// How many times it is played.
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=1000))]
    times: u32,
    /// The WAV file to write; - is standard output.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write 32-bit floating point instead of 24-bit whole numbers.
    #[arg(long)]
    float: bool,
}

impl Command for Loop {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let part = arguments::part(Some(self.from_s), Some(self.to_s))?;
        let (recording, region) = source::read_around(&self.rec, part, terminal)?;
        let recording = Arc::new(recording);
        let once = region.len() as f64 / self.speed.get();
        let frames = once * f64::from(self.times);
        sound::check_length(&recording, frames)?;
        let onsets = Arc::new(transient::onsets(&recording));
        let (rate, width) = (recording.rate(), recording.channels().len());
        let mut player = Stretcher::new(recording, onsets);
        player.set_speed(self.speed);
        player.seek(region.start);
        player.set_loop(Some(region));
        let progress = terminal.progress("looping");
        let frames = frames.round() as usize;
        let mut channels = vec![vec![0.0; frames]; width];
        for start in (0..frames).step_by(BLOCK) {
            let end = frames.min(start + BLOCK);
            let mut block: Vec<&mut [f32]> =
                channels.iter_mut().map(|c| &mut c[start..end]).collect();
            player.process(&mut block);
            progress.at(end as f64 / frames as f64);
        }
        drop(progress);
        sound::write(
            &Target::of(&self.out),
            rate,
            &channels,
            self.float,
            terminal,
        )
    }
}
