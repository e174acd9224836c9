//! `bench`: speed and quality figures. Timings are noisy, so each is a ratio within one run.

use crate::run;
use anyhow::Result;

/// Runs the bench called `args[0]` (`job`, `deck`, `stretch`, `soak` or `first-sound`), or the first
/// three; what follows goes to it.
pub fn run(args: &[String]) -> Result<()> {
    match args.first().map(String::as_str) {
        Some("soak") => return figures(&["--test", "deck_realtime"], "half_an_hour_at_random"),
        Some("first-sound") => {
            let host = ["--package", "thumbline-plugin", "--test", "host"];
            return figures(&host, "first_sound_of_five_minutes");
        }
        _ => {}
    }
    let mut command = run::cargo();
    command.args(["bench", "--features", "bench"]);
    match args.split_first() {
        Some((name, rest)) => command.args(["--bench", name, "--"]).args(rest),
        None => command.args(["--bench", "job", "--bench", "deck", "--bench", "stretch"]),
    };
    run::must(&mut command)
}

/// A test that is left out of the tests because it takes long, for what it prints: `soak` is half
/// an hour of sound through the deck, under the allocator that refuses.
fn figures(binary: &[&str], name: &str) -> Result<()> {
    let mut command = run::cargo();
    command.args(["test", "--release"]).args(binary);
    command.args(["--", "--ignored", "--nocapture", name]);
    run::must(&mut command)
}
