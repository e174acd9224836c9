//! The laws of the plug-in's files: none goes round in a circle, and nothing under the state's lock
//! reads, waits or works on sound.

use std::collections::{BTreeMap, BTreeSet};
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

/// Files by the path of their module.
fn modules() -> BTreeMap<Vec<String>, PathBuf> {
    let src = src();
    let name = |path: &Path| -> Vec<String> {
        let inside = path.strip_prefix(&src).expect("inside").with_extension("");
        inside
            .iter()
            .map(|part| part.to_string_lossy().into_owned())
            .collect()
    };
    let files = rust_files(&src).into_iter();
    files.map(|path| (name(&path), path)).collect()
}

/// Paths that begin with `start` in `code`: what follows it, up to the first name that is no part
/// of a path; groups in braces are taken apart.
fn paths(code: &str, start: &str) -> Vec<Vec<String>> {
    let word = |c: char| c.is_alphanumeric() || c == '_';
    let mut found = Vec::new();
    for (at, _) in code.match_indices(start) {
        if code[..at]
            .chars()
            .next_back()
            .is_some_and(|c| word(c) || c == ':')
        {
            continue;
        }
        let mut rest = &code[at + start.len()..];
        let mut path = Vec::new();
        loop {
            if let Some(group) = rest.strip_prefix('{') {
                let group = group.split('}').next().unwrap_or_default();
                for part in group.split(',') {
                    let name: String = part.trim().chars().take_while(|c| word(*c)).collect();
                    found.push([path.clone(), vec![name]].concat());
                }
                break;
            }
            let name: String = rest.chars().take_while(|c| word(*c)).collect();
            rest = &rest[name.len()..];
            path.push(name);
            if let Some(more) = rest.strip_prefix("::") {
                rest = more;
            } else {
                found.push(path);
                break;
            }
        }
    }
    found
}

#[test]
fn no_circle_of_files() {
    let modules = modules();
    let file_of = |path: &[String]| {
        (1..=path.len())
            .rev()
            .map(|n| path[..n].to_vec())
            .find(|part| modules.contains_key(part))
    };
    let mut uses: BTreeMap<Vec<String>, BTreeSet<Vec<String>>> = BTreeMap::new();
    for (module, path) in &modules {
        if matches!(module[0].as_str(), "lib" | "main") {
            continue;
        }
        let code = code(path);
        let parent = &module[..module.len() - 1];
        let absolute = paths(&code, "crate::").into_iter();
        let beside = paths(&code, "super::")
            .into_iter()
            .map(|p| [parent, &p].concat());
        let within = paths(&code, "use ")
            .into_iter()
            .map(|p| [&module[..], &p].concat());
        let found = absolute.chain(beside).chain(within);
        let found = found.filter_map(|p| file_of(&p)).filter(|p| p != module);
        uses.entry(module.clone()).or_default().extend(found);
    }
    let count: usize = uses.values().map(BTreeSet::len).sum();
    assert!(count > 60, "the reader of paths found only {count}");
    // Take away what uses nothing that is left, until nothing changes.
    let mut left = uses;
    loop {
        let names: BTreeSet<Vec<String>> = left.keys().cloned().collect();
        let before = left.len();
        left.retain(|_, used| used.iter().any(|u| names.contains(u)));
        if left.len() == before {
            break;
        }
    }
    let names: Vec<String> = left.keys().map(|m| m.join("::")).collect();
    assert!(names.is_empty(), "in or behind a circle: {names:?}");
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
                "wish.rs",
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
