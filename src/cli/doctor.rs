//! `doctor`: what is there and what is missing, in words that can be pasted into a report.

use super::command::Command;
use super::terminal::Terminal;
use anyhow::Result;
use clap::Args;
use std::fs;
use std::path::Path;
use thumbline::home;
use thumbline::system::{PluginStandard, System};

/// Tell what is there: versions, folders, the plug-in, sound. Names no recordings.
#[derive(Args)]
pub struct Doctor {}

/// What was found out about one thing.
enum Found {
    Well(String),
    Amiss(String),
}

impl Command for Doctor {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let mut findings = vec![version()];
        findings.push(folder("takes and the journal", home::data().as_deref()));
        findings.push(folder("your own presets", home::presets().as_deref()));
        findings.push(folder("temporary files", Some(&std::env::temp_dir())));
        findings.push(window());
        findings.extend(PluginStandard::ALL.map(plugin));
        findings.extend(sound());
        let mut amiss = 0;
        for finding in &findings {
            match finding {
                Found::Well(text) => terminal.say(&format!("ok    {text}"))?,
                Found::Amiss(text) => {
                    amiss += 1;
                    terminal.say(&format!("look  {text}"))?;
                }
            }
        }
        let end = match amiss {
            0 => "Everything is in place.".to_owned(),
            1 => "One thing to look at.".to_owned(),
            n => format!("{n} things to look at."),
        };
        terminal.say(&format!("\n{end}"))?;
        Ok(())
    }
}

fn version() -> Found {
    Found::Well(format!(
        "thumbline {} on {} {}, {} cores",
        env!("CARGO_PKG_VERSION"),
        std::env::consts::OS,
        std::env::consts::ARCH,
        std::thread::available_parallelism().map_or(1, usize::from)
    ))
}

/// Can this folder be written, or be made where it is not there yet?
fn folder(what: &str, path: Option<&Path>) -> Found {
    let Some(path) = path else {
        return Found::Amiss(format!("no home folder for {what}: set HOME"));
    };
    let shown = tidy(path);
    let existing = path.ancestors().find(|p| p.is_dir());
    let later = if existing == Some(path) {
        ""
    } else {
        " (made when it is needed)"
    };
    match existing.map(probe) {
        Some(Ok(())) => Found::Well(format!("{what}: {shown}{later}")),
        Some(Err(why)) => Found::Amiss(format!("{what}: {shown} cannot be written ({why})")),
        None => Found::Amiss(format!("{what}: {shown} is missing")),
    }
}

/// Writes a small file into the folder and takes it away again.
fn probe(folder: &Path) -> std::io::Result<()> {
    let file = folder.join(format!(".thumbline-doctor-{}", std::process::id()));
    fs::write(&file, b"may be deleted")?;
    fs::remove_file(&file)
}

/// A path without the player's name in it.
fn tidy(path: &Path) -> String {
    let home = std::env::var_os("HOME").or_else(|| std::env::var_os("USERPROFILE"));
    match home.and_then(|home| path.strip_prefix(home).ok().map(Path::to_owned)) {
        Some(rest) => Path::new("~").join(rest).display().to_string(),
        None => path.display().to_string(),
    }
}

fn window() -> Found {
    let name = System::HERE.program("thumbline-standalone");
    let paths = std::env::var_os("PATH").unwrap_or_default();
    let beside = std::env::current_exe()
        .ok()
        .and_then(|p| Some(p.parent()?.to_owned()));
    let found = std::env::split_paths(&paths)
        .chain(beside)
        .map(|p| p.join(&name))
        .find(|p| p.is_file());
    match found {
        Some(path) => Found::Well(format!("the window: {}", tidy(&path))),
        None => Found::Amiss(format!("the window: {name} is not on PATH")),
    }
}

/// Is the plug-in where hosts look?
fn plugin(format: PluginStandard) -> Found {
    let place = System::HERE.plugin(format, "Thumbline", std::env::consts::ARCH);
    let folders = System::HERE.plugin_folders(format, |name| std::env::var_os(name));
    let name = format.name();
    if let Some(folder) = folders.iter().find(|folder| folder.join(&place).is_file()) {
        Found::Well(format!("plug-in, {name}: in {}", tidy(folder)))
    } else {
        let list: Vec<_> = folders.iter().map(|f| tidy(f)).collect();
        Found::Amiss(format!("plug-in, {name}: in none of {}", list.join(", ")))
    }
}

/// The sound systems that are running, and the devices that the system names.
fn sound() -> Vec<Found> {
    System::HERE
        .sound(|name| std::env::var_os(name))
        .into_iter()
        .map(|(what, there)| {
            if there {
                Found::Well(what)
            } else {
                Found::Amiss(what)
            }
        })
        .collect()
}
