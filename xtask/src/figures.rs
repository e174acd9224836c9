//! `figures`: the pictures of the README and the guide, drawn by the project itself.

use crate::run;
use anyhow::Result;
use std::process::Command;

/// Draws every picture again.
pub fn run() -> Result<()> {
    run::build(&["--release", "--quiet", "--bin", "thumbline"])?;
    run::must(Command::new(run::program("release", "thumbline")).args([
        "demo",
        "--out",
        "target/demo",
    ]))
}
