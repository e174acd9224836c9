//! `bench`: speed and quality figures. Timings are noisy, so each is a ratio within one run.

use crate::run;
use anyhow::Result;

/// Runs the bench called `args[0]` (`job`, `deck`, `stretch` or `soak`), or all but the last; what
/// follows goes to it.
pub fn run(args: &[String]) -> Result<()> {
    if args.first().is_some_and(|name| name == "soak") {
        return soak();
    }
    let mut command = run::cargo();
    command.args(["bench", "--features", "bench"]);
    match args.split_first() {
        Some((name, rest)) => command.args(["--bench", name, "--"]).args(rest),
        None => command.args(["--bench", "job", "--bench", "deck", "--bench", "stretch"]),
    };
    run::must(&mut command)
}

/// Half an hour of sound through the deck, under the allocator that refuses.
fn soak() -> Result<()> {
    let mut command = run::cargo();
    command.args(["test", "--release", "--test", "deck_realtime", "--"]);
    command.args(["--ignored", "--nocapture", "half_an_hour_at_random"]);
    run::must(&mut command)
}
