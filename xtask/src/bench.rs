//! `bench`: speed and quality figures. Timings are noisy, so each is a ratio within one run.

use crate::run;
use anyhow::Result;

/// Runs the benches whose name contains `args[0]`, or all of them.
pub fn run(args: &[String]) -> Result<()> {
    run::must(run::cargo().args(["bench", "--workspace"]).args(args))
}
