//! `demo` and `standalone`: the product on the built-in demo, without a window and with one.

use crate::run;
use anyhow::{Result, bail};
use std::path::Path;
use std::process::Command;

const OUT: &str = "target/demo";

/// Builds the command line and runs the whole job on the demo; `--window` opens the standalone
/// program on the demo's recording instead.
pub fn run(args: &[String]) -> Result<()> {
    run::build(&["--release", "--quiet", "--bin", "thumbline"])?;
    run::must(Command::new(run::program("release", "thumbline")).args(["demo", "--out", OUT]))?;
    match args.first().map(String::as_str) {
        None => Ok(()),
        Some("--window") => standalone(Some(&format!("{OUT}/recording.wav"))),
        Some(other) => bail!("demo knows `--window`, not `{other}`"),
    }
}

/// Builds the standalone program and opens it, on a recording if one is given.
pub fn standalone(recording: Option<&str>) -> Result<()> {
    if cfg!(target_os = "linux") && !audio_headers() {
        bail!(
            "the standalone program needs the headers of ALSA and JACK; this installs them:\n  \
             sudo apt-get install pkg-config libasound2-dev libjack-jackd2-dev"
        );
    }
    run::build(&[
        "--release",
        "--package",
        "thumbline-plugin",
        "--features",
        "standalone",
    ])?;
    let program = run::program("release", "thumbline-standalone");
    run::must(Command::new(program).args(recording.map(Path::new)))
}

/// Are the headers there that the standalone program is built with?
pub fn audio_headers() -> bool {
    ["alsa", "jack"].iter().all(|library| {
        Command::new("pkg-config")
            .args(["--exists", library])
            .status()
            .is_ok_and(|status| status.success())
    })
}
