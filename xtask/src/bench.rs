//! `bench`: speed and quality figures. Timings are noisy, so each is a ratio within one run.

use crate::{reference, run};
use anyhow::Result;
use std::process::Command;

/// Benches that need nothing but Rust, in the order of `bench` without a name.
const OWN: [&str; 5] = ["job", "deck", "stretch", "timing", "guitarist"];

/// Runs the bench called `args[0]`, or all of [`OWN`]; what follows goes to it. Beside those there
/// are `soak` and `first-sound` (the deck and the plug-in) and, where Python is present, `analysis`
/// and `hearing`.
pub fn run(args: &[String]) -> Result<()> {
    let Some((name, rest)) = args.split_first() else {
        return OWN.iter().try_for_each(|name| own(name, &[]));
    };
    match name.as_str() {
        "soak" => left_out(&["--test", "deck_realtime"], "half_an_hour_at_random"),
        "first-sound" => {
            let host = ["--package", "thumbline-plugin", "--test", "host"];
            left_out(&host, "first_sound_of_five_minutes")
        }
        "analysis" => beside("bench_analysis.py", rest),
        "hearing" => beside("kinds_of_error.py", rest),
        name => own(name, rest),
    }
}

fn own(name: &str, args: &[String]) -> Result<()> {
    let mut command = run::cargo();
    command.args(["bench", "--features", "bench", "--bench", name, "--"]);
    run::must(command.args(args))
}

/// A test that is left out of the tests because it takes long, for what it prints: `soak` is half
/// an hour of sound through the deck, under the allocator that refuses.
fn left_out(binary: &[&str], name: &str) -> Result<()> {
    let mut command = run::cargo();
    command.args(["test", "--release"]).args(binary);
    command.args(["--", "--ignored", "--nocapture", name]);
    run::must(&mut command)
}

/// A script of `tests/reference` on the program as it is released: `analysis` for its speed beside
/// librosa's onset detector, `hearing` (with folders of recordings and their truth) for what it gets
/// wrong, by kind.
fn beside(script: &str, args: &[String]) -> Result<()> {
    let python = reference::environment()?;
    run::build(&["--release", "--quiet", "--bin", "thumbline"])?;
    let program = std::fs::canonicalize(run::program("release", "thumbline"))?;
    let mut command = Command::new(python);
    command
        .arg(format!("tests/reference/{script}"))
        .args(args)
        .env("THUMBLINE", program);
    run::must(&mut command)
}
