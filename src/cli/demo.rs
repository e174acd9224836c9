//! `demo`: the whole job on the built-in tune.

use super::Command;
use super::terminal::Terminal;
use anyhow::{Context, Result};
use clap::Args;
use std::path::{Path, PathBuf};
use thumbline::demo;
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::report::wav::{self, Depth};

/// Frames a second of the demo's recordings.
const RATE: u32 = 44_100;

/// Try everything on a tune of our own: a recording, and a student's take with known mistakes.
#[derive(Args)]
pub struct Demo {
    /// Folder for the files that the demo writes; made when it is not there.
    #[arg(long, value_name = "FOLDER", default_value = "thumbline-demo")]
    out: PathBuf,
}

impl Command for Demo {
    fn run(self, terminal: &Terminal) -> Result<()> {
        std::fs::create_dir_all(&self.out).with_context(|| {
            format!(
                "the folder `{}` cannot be made: choose another with --out",
                self.out.display()
            )
        })?;
        terminal.remark("A guitar in DADGAD plays the tune, then a student plays it …");
        let recording = demo::recording(RATE)?;
        let take = demo::take(RATE)?;
        save(&self.out.join("recording.wav"), &recording.recording)?;
        save(&self.out.join("take.wav"), &take.recording)?;
        terminal.say(&format!(
            "written to {}: recording.wav, take.wav",
            self.out.display()
        ))?;
        Ok(())
    }
}

fn save(path: &Path, recording: &Recording) -> Result<()> {
    Target::of(path)
        .write(|out| wav::write(out, recording.rate(), recording.channels(), Depth::Int24))?;
    Ok(())
}
