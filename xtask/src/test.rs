//! `test`: every test of the workspace, then the outside checks; at the end what was skipped.

use crate::reference;
use crate::run;
use anyhow::{Context, Result, bail};
use std::io::{BufRead, BufReader};
use std::process::Stdio;

/// Runs all tests; `args` go to `cargo test` (a name filters the Rust tests and leaves the
/// outside checks out).
pub fn run(args: &[String]) -> Result<()> {
    let mut skipped = rust_tests(args)?;
    if args.is_empty() {
        let outcome = reference::run_all()?;
        skipped.extend(outcome.skipped);
        println!(
            "\noutside checks: {} passed, {} failed",
            outcome.passed,
            outcome.failed.len()
        );
        for name in &outcome.failed {
            println!("  failed: {name}");
        }
        report(&skipped);
        if !outcome.failed.is_empty() {
            bail!("{} outside checks failed", outcome.failed.len());
        }
    } else {
        report(&skipped);
    }
    Ok(())
}

/// Writes the format snapshots anew.
pub fn bless() -> Result<()> {
    run::must(
        run::cargo()
            .args(["test", "--quiet"])
            .env("THUMBLINE_BLESS", "1"),
    )
}

fn report(skipped: &[String]) {
    if skipped.is_empty() {
        println!("nothing was skipped");
        return;
    }
    println!("skipped here:");
    for line in skipped {
        println!("  {line}");
    }
}

/// `cargo test` over the workspace, its output passed on without the passing tests' own words;
/// of those, lines that begin with `skipped:` are kept.
fn rust_tests(args: &[String]) -> Result<Vec<String>> {
    let mut child = run::cargo()
        .args(["test", "--workspace", "--no-fail-fast"])
        .args(args)
        .args(["--", "--show-output"])
        .stdout(Stdio::piped())
        .spawn()
        .context("cannot start cargo test")?;
    let mut skipped = Vec::new();
    let mut in_successes = false;
    let out = child.stdout.take().context("cargo test has no output")?;
    for line in BufReader::new(out).lines() {
        let line = line.context("cargo test's output is not text")?;
        if let Some(reason) = line.trim_start().strip_prefix("skipped:") {
            let reason = reason.trim().to_owned();
            if !skipped.contains(&reason) {
                skipped.push(reason);
            }
        }
        match line.as_str() {
            "successes:" => in_successes = true,
            "failures:" => in_successes = false,
            _ if line.starts_with("test result:") => in_successes = false,
            _ => {}
        }
        if !in_successes && !line.trim().is_empty() {
            println!("{line}");
        }
    }
    let status = child.wait().context("cargo test vanished")?;
    if !status.success() {
        bail!("tests failed");
    }
    Ok(skipped)
}
