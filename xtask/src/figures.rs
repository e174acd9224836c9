//! `figures`: the pictures of the README and the guide, drawn by the project itself into `.pictures/`.

use crate::{run, window};
use anyhow::{Context, Result};
use std::path::Path;
use std::process::Command;

/// What the demo draws, and what it is called among the pictures.
const OF_THE_DEMO: [(&str, &str); 2] = [
    ("recording.svg", "bar-sheet.svg"),
    ("both.svg", "compared.svg"),
];

/// Draws every picture again.
pub fn run() -> Result<()> {
    run::build(&["--release", "--quiet", "--bin", "thumbline"])?;
    let out = "target/demo";
    run::must(Command::new(run::program("release", "thumbline")).args(["demo", "--out", out]))?;
    std::fs::create_dir_all(".pictures")?;
    for (from, to) in OF_THE_DEMO {
        let from = format!("{out}/{from}");
        std::fs::copy(&from, format!(".pictures/{to}")).with_context(|| from.clone())?;
    }
    window::draw(
        Path::new(&format!("{out}/recording.wav")),
        Path::new(".pictures/window.png"),
    )?;
    println!("drawn into .pictures");
    Ok(())
}
