//! The layer law: a module of `src/` uses only modules of lower layers, or of its own.

use std::fs;
use std::path::{Path, PathBuf};

const LAYERS: [&[&str]; 5] = [
    &["unit", "dsp", "home", "parallel", "stop", "system", "xml"],
    &["music", "recording", "stretch"],
    &["load", "analysis", "deck"],
    &["timing", "compare", "separate", "along"],
    &["report", "journal", "manual", "preset", "demo"],
];

/// Modules of one layer that may use each other, with the reason.
const SIDEWAYS: [(&str, &str); 9] = [
    ("parallel", "stop"),     // threads stop with their caller
    ("dsp", "unit"),          // filters speak in seconds and decibels
    ("stretch", "recording"), // the engine reads the recording it stretches
    ("deck", "load"),         // decoding feeds the deck
    ("compare", "timing"),    // comparing is drift against another player
    ("along", "timing"),      // live lateness is drift too
    ("demo", "report"),       // the demo writes what it found
    ("preset", "report"),     // own presets are written whole
    ("journal", "report"),    // takes are kept as sound files
];

fn layer(module: &str) -> Option<usize> {
    LAYERS.iter().position(|names| names.contains(&module))
}

fn rust_files(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(dir).expect("src is readable").flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

/// First path segments after `crate::` on lines of code.
fn used_modules(source: &str) -> Vec<String> {
    source
        .lines()
        .map(|line| line.split("//").next().unwrap_or(""))
        .flat_map(|code| code.split("crate::").skip(1))
        .flat_map(|rest| match rest.strip_prefix('{') {
            Some(group) => group
                .split(['}', ','])
                .map(|part| part.trim().split("::").next().unwrap_or("").to_owned())
                .collect(),
            None => vec![
                rest.split(|c: char| !c.is_alphanumeric() && c != '_')
                    .next()
                    .unwrap_or("")
                    .to_owned(),
            ],
        })
        .filter(|name| layer(name).is_some())
        .collect()
}

#[test]
fn modules_use_only_lower_layers() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    let mut seen = 0;
    for file in rust_files(&src) {
        let inside = file.strip_prefix(&src).expect("inside src");
        let first = inside.iter().next().expect("a name").to_string_lossy();
        let module = first.trim_end_matches(".rs").to_owned();
        if matches!(module.as_str(), "lib" | "main" | "cli") {
            continue;
        }
        let own =
            layer(&module).unwrap_or_else(|| panic!("{} belongs to no layer", inside.display()));
        for used in used_modules(&fs::read_to_string(&file).expect("source is UTF-8")) {
            seen += 1;
            let below = layer(&used).is_some_and(|l| l < own);
            if used != module && !below && !SIDEWAYS.contains(&(module.as_str(), used.as_str())) {
                wrong.push(format!("{} (layer {own}) uses {used}", inside.display()));
            }
        }
    }
    assert!(seen > 5, "the reader of `use` lines found nothing");
    assert!(wrong.is_empty(), "layer law broken:\n{}", wrong.join("\n"));
}

#[test]
fn no_mod_rs() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let found: Vec<_> = rust_files(&src)
        .into_iter()
        .filter(|p| p.ends_with("mod.rs"))
        .collect();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn no_tests_inside_the_library() {
    // `[lib] test = false`: a test in there would never run.
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let found: Vec<_> = rust_files(&src)
        .into_iter()
        .filter(|path| fs::read_to_string(path).is_ok_and(|s| s.contains("cfg(test)")))
        .collect();
    assert!(found.is_empty(), "move them to tests/: {found:?}");
}
