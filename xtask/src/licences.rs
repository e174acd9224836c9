//! The licences of the libraries that are inside the programs, for what others download.

use crate::run;
use anyhow::{Context, Result, bail};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Every library with its licence, then every text once, with the libraries that bring it.
pub fn third_parties() -> Result<String> {
    let mut list =
        String::from("Libraries inside Thumbline's programs, each with its licence.\n\n");
    let mut texts: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let folders = folders()?;
    for (package, licence) in packages()? {
        let _ = writeln!(list, "{package}: {licence}");
        let Some(folder) = folders.get(&package) else {
            continue;
        };
        for file in licence_files(folder) {
            if let Ok(text) = fs::read_to_string(&file) {
                texts
                    .entry(text.trim().replace("\r\n", "\n"))
                    .or_default()
                    .insert(package.clone());
            }
        }
    }
    for (text, whose) in texts {
        let whose: Vec<_> = whose.into_iter().collect();
        let _ = writeln!(
            list,
            "\n{}\n{}:\n\n{text}",
            "=".repeat(80),
            whose.join(", ")
        );
    }
    Ok(list)
}

/// May all of them be given to others? Which licences a player can live with stands in `deny.toml`,
/// once, for this and for cargo-deny.
///
/// # Errors
/// With every library whose licence is none of those.
pub fn check() -> Result<()> {
    let allowed = allowed(&fs::read_to_string("deny.toml").context("deny.toml")?);
    let wrong: Vec<String> = packages()?
        .into_iter()
        .filter(|(_, licence)| !holds(licence, &allowed))
        .map(|(package, licence)| format!("{package}: {licence}"))
        .collect();
    if wrong.is_empty() {
        return Ok(());
    }
    bail!(
        "licences that deny.toml does not allow:\n  {}",
        wrong.join("\n  ")
    )
}

/// Name-version and licence of what is compiled in.
fn packages() -> Result<BTreeSet<(String, String)>> {
    let mut command = run::cargo();
    command.args([
        "tree",
        "--workspace",
        "--locked",
        "--edges",
        "normal",
        "--prefix",
        "none",
    ]);
    command.args([
        "--features",
        "thumbline-plugin/standalone",
        "--format",
        "{p}|{l}",
    ]);
    let output = command.output().context("cargo tree cannot be started")?;
    let text = String::from_utf8(output.stdout)?;
    let package = |line: &str| {
        let (package, licence) = line.split_once('|')?;
        let mut words = package.split_whitespace();
        let (name, version) = (words.next()?, words.next()?.strip_prefix('v')?);
        let licence = licence.trim_end_matches(" (*)").to_owned();
        Some((format!("{name}-{version}"), licence))
    };
    let own = ["thumbline-", "xtask-"];
    Ok(text
        .lines()
        .filter_map(package)
        .filter(|(name, _)| !own.iter().any(|own| name.starts_with(own)))
        .collect())
}

/// Where the sources of each lie, read off cargo's own list.
fn folders() -> Result<BTreeMap<String, PathBuf>> {
    let mut command = run::cargo();
    command.args(["metadata", "--locked", "--format-version", "1"]);
    let output = command
        .output()
        .context("cargo metadata cannot be started")?;
    let text = String::from_utf8(output.stdout)?;
    let paths = text.split("\"manifest_path\":\"").skip(1);
    Ok(paths
        .filter_map(|rest| {
            let folder = Path::new(rest.split('"').next()?).parent()?.to_owned();
            Some((folder.file_name()?.to_string_lossy().into_owned(), folder))
        })
        .collect())
}

/// Files that are called a licence, in the folder or one below it.
fn licence_files(folder: &Path) -> Vec<PathBuf> {
    let named = |path: &Path| {
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .to_uppercase();
        let marks = ["LICENSE", "LICENCE", "COPYING", "NOTICE", "OFL", "UFL"];
        marks.iter().any(|mark| name.contains(mark))
            && Path::new(&name).extension().is_none_or(|e| e != "RS")
    };
    let inside = |folder: &Path| -> Vec<PathBuf> {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        entries.map(|entry| entry.path()).collect()
    };
    let mut found: Vec<_> = inside(folder)
        .into_iter()
        .flat_map(|path| {
            if path.is_dir() {
                inside(&path)
            } else {
                vec![path]
            }
        })
        .filter(|path| path.is_file() && named(path))
        .collect();
    found.sort();
    found
}

/// The names in `allow = [ … ]`.
fn allowed(deny: &str) -> BTreeSet<String> {
    let list = deny
        .split("allow = [")
        .nth(1)
        .and_then(|rest| rest.split(']').next());
    let quoted = list.unwrap_or_default().split('"').skip(1).step_by(2);
    quoted.map(str::to_owned).collect()
}

/// Does an SPDX expression hold where only `allowed` may be taken? (SPDX 2.3, annex D; the older
/// `A/B` is an OR.)
fn holds(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let expression = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = expression.split_whitespace().collect();
    let mut at = 0;
    let held = either(&words, &mut at, allowed);
    held && at == words.len() && !words.is_empty()
}

fn either(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    let mut held = both(words, at, allowed);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        held |= both(words, at, allowed);
    }
    held
}

fn both(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    let mut held = one(words, at, allowed);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        held &= one(words, at, allowed);
    }
    held
}

fn one(words: &[&str], at: &mut usize, allowed: &BTreeSet<String>) -> bool {
    if words.get(*at) == Some(&"(") {
        *at += 1;
        let held = either(words, at, allowed);
        *at += 1; // the closing bracket
        return held;
    }
    let mut name = words.get(*at).copied().unwrap_or_default().to_owned();
    *at += 1;
    if words.get(*at) == Some(&"WITH") {
        let exception = words.get(*at + 1).copied().unwrap_or_default();
        name = format!("{name} WITH {exception}");
        *at += 2;
    }
    allowed.contains(&name)
}
