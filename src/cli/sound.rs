//! Sound that a command made, written as WAV.

use super::terminal::Terminal;
use anyhow::{Result, bail};
use std::borrow::Cow;
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::report::wav::{self, Depth};

/// Most bytes of samples that a command makes: what a WAV file holds (4 GiB) less room for its
/// header, at four bytes a sample.
const MOST_BYTES: f64 = 4.29e9;

/// Refuses to make more sound than a WAV file of it can hold.
pub fn check_length(recording: &Recording, frames: f64) -> Result<()> {
    if frames * 4.0 * recording.width() as f64 > MOST_BYTES {
        bail!(
            "`{}` would last {:.0} minutes, more than a WAV file can hold: \
             give a part of it with --from-s and --to-s",
            recording.name(),
            frames / f64::from(recording.rate()) / 60.0
        );
    }
    Ok(())
}

/// Writes planar `channels`: as 24-bit whole numbers, or floating point where asked for or where
/// the sound is louder than those can hold.
pub fn write(
    target: &Target,
    rate: u32,
    channels: Vec<Vec<f32>>,
    float: bool,
    terminal: &Terminal,
) -> Result<()> {
    write_recording(
        target,
        &Recording::new("", rate, channels)?,
        float,
        terminal,
    )
}

/// The same of sound that may lie on disk.
pub fn write_recording(
    target: &Target,
    sound: &Recording,
    float: bool,
    terminal: &Terminal,
) -> Result<()> {
    let loudest = |most: f32, block: Cow<[f32]>| block.iter().fold(most, |m, s| m.max(s.abs()));
    let peak = (0..sound.width()).fold(0.0, |most, c| sound.blocks(c).fold(most, loudest));
    if peak > 1.0 && !float {
        terminal.warn(&format!(
            "the sound is {:.1} dB louder than 24-bit WAV can hold: written as floating point",
            20.0 * peak.log10()
        ));
    }
    let depth = if float || peak > 1.0 {
        Depth::Float32
    } else {
        Depth::Int24
    };
    target.write(|out| wav::write_recording(out, sound, depth))?;
    if let Target::File(path) = target {
        let seconds = sound.end().0;
        terminal.remark(&format!("{}: {seconds:.1} s", path.display()));
    }
    Ok(())
}
