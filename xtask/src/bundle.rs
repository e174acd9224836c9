//! `bundle`: the plug-in as CLAP and VST3 bundles.

use crate::run;
use anyhow::{Result, anyhow};
use std::path::PathBuf;

const PACKAGE: &str = "thumbline-plugin";

/// Release bundles in `target/bundled`; `args` go to `cargo build`.
pub fn run(args: &[String]) -> Result<()> {
    bundle(std::iter::once("--release".to_owned()).chain(args.iter().cloned()))
}

/// Bundles of what `cargo build --workspace` built, for the tests' own hosts; the folder they are
/// in. Nothing is built here: another choice of packages would build every library once more.
pub fn for_tests() -> Result<PathBuf> {
    nice_plug_xtask::bundle(&run::target(), PACKAGE, &[], false).map_err(|e| anyhow!("{e:#}"))?;
    Ok(std::fs::canonicalize(run::target().join("bundled"))?)
}

fn bundle(args: impl Iterator<Item = String>) -> Result<()> {
    let args = ["bundle".to_owned(), PACKAGE.to_owned()]
        .into_iter()
        .chain(args);
    nice_plug_xtask::main_with_args("cargo xtask", args).map_err(|e| anyhow!("{e:#}"))
}
