//! The outside checks of `tests/reference/check_*.py`: independent readers look at what we write.
//!
//! The conventions between a check and this file are in `tests/reference/README.md`.

use crate::system::System;
use crate::{bundle, run};
use anyhow::{Context, Result};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Exit code by which a check says that it cannot run here.
const SKIP: i32 = 77;

/// What the outside checks came to.
#[derive(Default)]
pub struct Outcome {
    /// How many were well.
    pub passed: usize,
    /// Names of those that were not.
    pub failed: Vec<String>,
    /// Those that could not run, with the reason.
    pub skipped: Vec<String>,
}

/// Runs every check that can run here.
pub fn run_all() -> Result<Outcome> {
    let mut outcome = Outcome::default();
    let checks = checks()?;
    if checks.is_empty() {
        return Ok(outcome);
    }
    let python = match environment() {
        Ok(python) => python,
        Err(reason) => {
            outcome
                .skipped
                .push(format!("{} outside checks: {reason:#}", checks.len()));
            return Ok(outcome);
        }
    };
    run::build(&["--workspace"])?;
    let bundles = bundle::for_tests()?;
    for check in checks {
        let name = check
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let mut command = Command::new(&python);
        command
            .arg(&check)
            .env(
                "THUMBLINE",
                std::fs::canonicalize(run::program("debug", "thumbline"))?,
            )
            .env("THUMBLINE_BUNDLES", &bundles);
        if let Some(shared) = run::shared() {
            command.env("THUMBLINE_SHARED", shared);
        }
        let output = command
            .output()
            .with_context(|| format!("cannot start {name}"))?;
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        let last = said
            .lines()
            .rev()
            .find(|l| !l.trim().is_empty())
            .unwrap_or("")
            .to_owned();
        match output.status.code() {
            Some(0) => {
                println!("check {name} ... ok   {last}");
                outcome.passed += 1;
            }
            Some(SKIP) => {
                println!("check {name} ... skipped");
                outcome.skipped.push(format!("{name}: {last}"));
            }
            _ => {
                println!("check {name} ... FAILED\n{said}");
                println!("{}", String::from_utf8_lossy(&output.stderr));
                outcome.failed.push(name);
            }
        }
    }
    Ok(outcome)
}

fn checks() -> Result<Vec<PathBuf>> {
    let folder = Path::new("tests/reference");
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .with_context(|| format!("cannot read {}", folder.display()))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            name.starts_with("check_") && name.ends_with(".py")
        })
        .collect();
    found.sort();
    Ok(found)
}

/// The Python of an environment that has what `requirements.txt` pins; made once, made anew when
/// the pins change.
pub fn environment() -> Result<PathBuf> {
    anyhow::ensure!(
        run::present("python3", "--version"),
        "there is no python3 here"
    );
    let requirements = Path::new("tests/reference/requirements.txt");
    let wanted = std::fs::read_to_string(requirements)?;
    let venv = run::target().join("reference-venv");
    let python = venv.join(System::HERE.python());
    let mark = venv.join("installed.txt");
    if std::fs::read_to_string(&mark).is_ok_and(|have| have == wanted) {
        return Ok(python);
    }
    println!("preparing the Python environment of the outside checks …");
    quietly(
        Command::new("python3").args(["-m", "venv"]).arg(&venv),
        "python3 cannot make a venv",
    )?;
    if let Err(error) = install(&python, &["-r", &requirements.to_string_lossy()]) {
        // One package that cannot be had here costs only the checks that need it: they say so.
        println!("{error:#}; trying them one by one");
        let pins = wanted
            .lines()
            .filter(|l| !l.is_empty() && !l.starts_with('#'));
        let mut had = 0;
        for pin in pins {
            match install(&python, &[pin]) {
                Ok(()) => had += 1,
                Err(_) => println!("  cannot be installed: {pin}"),
            }
        }
        anyhow::ensure!(had > 0, "{error:#}");
        return Ok(python);
    }
    std::fs::write(mark, wanted)?;
    Ok(python)
}

fn install(python: &Path, what: &[&str]) -> Result<()> {
    quietly(
        Command::new(python)
            .args(["-m", "pip", "install", "--quiet"])
            .arg("--disable-pip-version-check")
            .args(what),
        "the pinned Python packages cannot be installed",
    )
}

fn quietly(command: &mut Command, failing: &str) -> Result<()> {
    let output = command.output().context(failing.to_owned())?;
    anyhow::ensure!(
        output.status.success(),
        "{failing} ({})",
        String::from_utf8_lossy(&output.stderr)
            .lines()
            .last()
            .unwrap_or("no reason given")
    );
    Ok(())
}
