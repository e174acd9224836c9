//! `check`: what is asked of a change before its tests: formatting, lints, documentation.

use crate::run;
use anyhow::Result;

/// Runs rustfmt, clippy and rustdoc with warnings as errors, compiles the doors of `fuzz`, and looks at the licences of what
/// is linked in, with cargo-deny where it is installed.
pub fn run() -> Result<()> {
    run::must(run::cargo().args(["fmt", "--all", "--check"]))?;
    run::must(run::cargo().args([
        "clippy",
        "--workspace",
        "--all-targets",
        "--quiet",
        "--",
        "-D",
        "warnings",
    ]))?;
    // The library by itself, as another program takes it.
    run::must(run::cargo().args([
        "check",
        "--quiet",
        "--no-default-features",
        "--lib",
        "--examples",
    ]))?;
    crate::fuzz::check()?;
    run::must(
        run::cargo()
            .args(["doc", "--workspace", "--no-deps", "--quiet"])
            .env("RUSTDOCFLAGS", "-D warnings"),
    )?;
    if run::present("cargo-deny", "--version") {
        run::must(run::cargo().args(["deny", "check", "licenses", "bans"]))?;
    } else {
        crate::licences::check()?;
        println!("skipped: duplicates and advisories (cargo-deny is not installed)");
    }
    Ok(())
}
