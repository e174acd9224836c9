//! Running cargo and other programs from the project's root, and saying what failed.

use anyhow::{Context, Result, bail};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Makes the project's root the current directory, from wherever the chore was called.
pub fn at_root() -> Result<()> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .context("xtask has no parent")?;
    std::env::set_current_dir(root)
        .with_context(|| format!("cannot go to the project's root {}", root.display()))
}

/// Cargo, as it was called.
pub fn cargo() -> Command {
    Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
}

/// Runs a command to its end.
///
/// # Errors
/// When it cannot be started or does not exit with 0.
pub fn must(command: &mut Command) -> Result<()> {
    let what = described(command);
    let status = command
        .status()
        .with_context(|| format!("cannot start {what}"))?;
    if !status.success() {
        bail!("{what} failed ({status})");
    }
    Ok(())
}

/// `cargo build` with `args`.
pub fn build<S: AsRef<OsStr>>(args: &[S]) -> Result<()> {
    must(cargo().arg("build").args(args))
}

/// Where cargo puts what it builds.
pub fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| PathBuf::from("target"), PathBuf::from)
}

/// A built program under the folder of `profile` ("debug" or "release").
pub fn program(profile: &str, name: &str) -> PathBuf {
    target()
        .join(profile)
        .join(format!("{name}{}", std::env::consts::EXE_SUFFIX))
}

/// Recordings and scorers beside the project, where there are any.
pub fn shared() -> Option<PathBuf> {
    std::fs::canonicalize("../shared")
        .ok()
        .filter(|p| p.is_dir())
}

/// Can this program be started here, asked with a harmless argument?
pub fn present(program: &str, arg: &str) -> bool {
    Command::new(program)
        .arg(arg)
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

fn described(command: &Command) -> String {
    let words: Vec<_> = std::iter::once(command.get_program())
        .chain(command.get_args())
        .map(|word| word.to_string_lossy())
        .collect();
    format!("`{}`", words.join(" "))
}
