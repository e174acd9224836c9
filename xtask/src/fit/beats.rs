//! The priors, the confidence and the network of the beats.

use crate::run;
use anyhow::{Result, bail};
use std::path::Path;
use std::process::Command;

const RECIPE: &str = "xtask/train/beats";
const MADE: &str = "target/fit/beats";
const WEIGHTS: &str = "src/analysis/beat/beat_net/beats.f16";

const HELP: &str = "\
cargo xtask fit beats [--network MINUTES] [--pieces N] [COLLECTIONS] [FOLDER…]

  fits the table of priors and the confidence of the beats and prints them, on N performances (80)
  that it makes and on every FOLDER of NAME.json or NAME.wav with NAME.truth.json, each counting alike;
  with --network it first trains the network for MINUTES and puts its weights in place
  (python3 with numpy, and PyTorch for the network)

  COLLECTIONS, of music that others wrote or played (xtask/train/beats says their forms):
  --scores FILE  --played FILE  --parts FILE; without them all music is invented";

/// Runs `fit beats` with these arguments.
pub fn run(args: &[String]) -> Result<()> {
    let (mut minutes, mut pieces) = (None, "80".to_owned());
    let (mut collections, mut folders) = (Vec::new(), Vec::new());
    let mut rest = args.iter();
    while let Some(arg) = rest.next() {
        let mut value = || match rest.next() {
            Some(value) => Ok(value.clone()),
            None => bail!("`{arg}` needs a value\n\n{HELP}"),
        };
        match arg.as_str() {
            "--network" => minutes = Some(value()?),
            "--pieces" => pieces = value()?,
            "--scores" | "--played" | "--parts" => collections.extend([arg.clone(), value()?]),
            other if other.starts_with("--") => bail!("`{other}` is not known\n\n{HELP}"),
            folder => folders.push(folder.to_owned()),
        }
    }
    if let Some(minutes) = minutes {
        network(&minutes, &collections)?;
    }
    let kept = format!("{MADE}/kept");
    let mut making = python("performances.py");
    making.args(["--out", &kept, "--pieces", &pieces]);
    run::must(making.args(&collections))?;
    let mut fitting = run::cargo();
    fitting.args(["bench", "--bench", "fit", "--", "beats", &kept]);
    run::must(fitting.args(&folders))
}

/// Trains the network and puts its weights in place.
fn network(minutes: &str, collections: &[String]) -> Result<()> {
    let mut training = python("fit.py");
    training.args(["--out", MADE, "--minutes", minutes, "--width", "64"]);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    training.args(["--workers", &workers.saturating_sub(1).max(1).to_string()]);
    run::must(training.args(collections))?;
    std::fs::copy(Path::new(MADE).join("beats-64.f16"), WEIGHTS)?;
    Ok(())
}

fn python(script: &str) -> Command {
    let mut command = Command::new("python3");
    command.arg(format!("{RECIPE}/{script}"));
    command
}
