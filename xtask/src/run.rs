//! Running cargo and other programs from the project's root, and saying what failed.

use crate::system::System;
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

/// A built program under the folder of `profile` ("debug" for `dev`, "release").
pub fn program(profile: &str, name: &str) -> PathBuf {
    target().join(profile).join(System::HERE.program(name))
}

/// Copies a file, making the folders it goes into.
pub fn copy(from: &Path, to: &Path) -> Result<()> {
    if let Some(folder) = to.parent() {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    }
    std::fs::copy(from, to)
        .map(drop)
        .with_context(|| format!("cannot copy {} to {}", from.display(), to.display()))
}

/// Writes a file, making the folders it goes into.
pub fn write(to: &Path, text: &str) -> Result<()> {
    if let Some(folder) = to.parent() {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    }
    std::fs::write(to, text).with_context(|| format!("cannot write {}", to.display()))
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
