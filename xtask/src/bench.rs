//! `bench`: speed and quality figures. Timings are noisy, so each is a ratio within one run.

use crate::run;
use anyhow::Result;

/// Runs the bench called `args[0]` (`job`, `deck` or `stretch`), or all; what follows goes to it.
pub fn run(args: &[String]) -> Result<()> {
    let mut command = run::cargo();
    command.args(["bench", "--features", "bench"]);
    match args.split_first() {
        Some((name, rest)) => command.args(["--bench", name, "--"]).args(rest),
        None => command.args(["--bench", "job", "--bench", "deck", "--bench", "stretch"]),
    };
    run::must(&mut command)
}
