//! `soak`: long and rough. What is said to be kept is kept, memory stays where it is, and the audio
//! thread never allocates.

use crate::run;
use anyhow::{Context, Result, bail};

/// Minutes of sound where none are named.
const MINUTES: f64 = 30.0;

/// `soak [deck|kills] [--minutes N] [--seed S]`: the deck under random acts for N minutes of sound,
/// then programs that are killed five hundred times while they write the journal, its takes, its
/// backups and reports.
///
/// # Errors
/// When one of them fails.
pub fn run(args: &[String]) -> Result<()> {
    let (mut minutes, mut seed, mut which) = (MINUTES, None, None);
    let mut rest = args.iter();
    while let Some(arg) = rest.next() {
        match arg.as_str() {
            "--minutes" => {
                let n = rest.next().and_then(|n| n.parse().ok());
                minutes = n.filter(|n| *n > 0.0).context("--minutes takes a number")?;
            }
            "--seed" => {
                let n = rest.next().and_then(|n| n.parse::<u64>().ok());
                seed = Some(n.context("--seed takes a number")?);
            }
            "deck" | "kills" if which.is_none() => which = Some(arg.as_str()),
            other => bail!("there is no `{other}` to soak: deck, kills, --minutes N, --seed S"),
        }
    }
    if which != Some("kills") {
        let mut command = run::cargo();
        command
            .args(["test", "--release", "--test", "deck_realtime", "--"])
            .args(["--ignored", "--nocapture", "half_an_hour_at_random"])
            .env("THUMBLINE_SOAK_MINUTES", minutes.to_string());
        if let Some(seed) = seed {
            command.env("THUMBLINE_SEED", seed.to_string());
        }
        run::must(&mut command)?;
    }
    if which != Some("deck") {
        run::must(
            run::cargo()
                .args(["test", "--test", "suite", "--", "--ignored", "--nocapture"])
                .arg("five_hundred_kills_lose_nothing"),
        )?;
    }
    Ok(())
}
