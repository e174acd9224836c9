//! `demo` and `standalone`: the product on the built-in demo, without a window and with one.

use crate::run;
use crate::system::System;
use anyhow::{Result, bail};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What to do where [`audio_headers`] are missing.
pub const NO_HEADERS: &str = "\
the standalone program needs the headers of ALSA and JACK; this installs them:
  sudo apt-get install pkg-config libasound2-dev libjack-jackd2-dev";

const OUT: &str = "target/demo";

/// Builds the command line and runs the whole job on the demo; `--window` opens the standalone
/// program on the demo's recording instead.
pub fn run(args: &[String]) -> Result<()> {
    run::must(Command::new(command_line()?).args(["demo", "--out", OUT]))?;
    match args.first().map(String::as_str) {
        None => Ok(()),
        Some("--window") => standalone(Some(&format!("{OUT}/recording.wav"))),
        Some(other) => bail!("demo knows `--window`, not `{other}`"),
    }
}

/// Builds the standalone program and opens it, on a recording if one is given.
pub fn standalone(recording: Option<&str>) -> Result<()> {
    if !audio_headers() {
        bail!(NO_HEADERS);
    }
    window()?;
    let program = run::program("debug", "thumbline-standalone");
    run::must(Command::new(program).args(recording.map(Path::new)))
}

/// Builds the command line with the whole workspace, so that the tests find every library built as
/// they want it.
pub fn command_line() -> Result<PathBuf> {
    run::build(&["--quiet", "--workspace", "--bin", "thumbline"])?;
    Ok(run::program("debug", "thumbline"))
}

/// Builds the standalone program, in the same way.
pub fn window() -> Result<()> {
    run::build(&[
        "--workspace",
        "--features",
        "thumbline-plugin/standalone",
        "--bin",
        "thumbline-standalone",
    ])
}

/// Are the headers there that the standalone program is built with? Only Linux needs them.
pub fn audio_headers() -> bool {
    System::HERE != System::Linux
        || ["alsa", "jack"].iter().all(|library| {
            Command::new("pkg-config")
                .args(["--exists", library])
                .status()
                .is_ok_and(|status| status.success())
        })
}
