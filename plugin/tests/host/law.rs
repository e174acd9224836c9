//! A law of the plug-in's files: nothing under the state's lock reads, waits or works on sound. That none
//! goes round in a circle is held by the library's `tests/layers.rs`.

use std::fs;
use std::path::{Path, PathBuf};

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

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// A file without its comments and its tests.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).expect("UTF-8");
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    let lines = text
        .lines()
        .map(|l| l.split("//").next().unwrap_or_default());
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn nothing_under_the_lock_reads_waits_or_works_on_sound() {
    let own = src();
    let under: Vec<PathBuf> = rust_files(&own)
        .into_iter()
        .filter(|path| {
            let inside = path.strip_prefix(&own).expect("inside");
            let first = inside.iter().next().expect("a name").to_string_lossy();
            [
                "update",
                "update.rs",
                "state.rs",
                "snapshot_of.rs",
                "effect.rs",
                "message.rs",
                "command.rs",
            ]
            .contains(&&*first)
        })
        .collect();
    assert!(under.len() > 8);
    let forbidden = [
        "std::fs",
        "File::",
        "is_file(",
        "sync_all",
        "thread::",
        "Mutex",
        "Instant::now",
        "SystemTime",
        "Moment::now",
        "analyze(",
        "transient::",
        "load::load",
        "balanced(",
        "Journal::open",
        "println!",
    ];
    for path in under {
        let code = code(&path);
        for word in forbidden {
            assert!(!code.contains(word), "{}: {word}", path.display());
        }
    }
}
