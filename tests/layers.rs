//! The laws of the files: layers of `src/` as `DEVELOPERS.md` has them, no circle of files in any crate, and
//! where tests may stand.

mod imports;

use imports::{Crate, Uses, circles};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
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

/// A module of the law: its layer, and those beside it that it may use all the same.
struct Place {
    layer: usize,
    beside: Vec<String>,
}

/// The names in backticks in a text.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// The table of layers: `| 1 | `music`, `stretch` (uses `recording`) | … |`.
fn table() -> BTreeMap<String, Place> {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("the contributor's guide");
    let mut places = BTreeMap::new();
    for line in text.lines() {
        let mut cells = line.split('|').skip(1).map(str::trim);
        let Some(layer) = cells.next().and_then(|cell| cell.parse().ok()) else {
            continue;
        };
        // `a`, `b` (uses `c`), `d`: what stands in brackets belongs to the name before them.
        let mut last = String::new();
        for piece in cells.next().unwrap_or_default().split(['(', ')']) {
            if piece.starts_with("uses ") {
                let place: &mut Place = places.get_mut(&last).expect("a module before its bracket");
                place.beside = quoted(piece).map(str::to_owned).collect();
                continue;
            }
            for name in quoted(piece) {
                name.clone_into(&mut last);
                let beside = Vec::new();
                let new = places.insert(last.clone(), Place { layer, beside });
                assert!(new.is_none(), "`{name}` stands twice in the table");
            }
        }
    }
    places
}

/// The module of `src/` that a file belongs to.
fn module(file: &str) -> &str {
    let first = file.split(['/', '\\']).next().unwrap_or(file);
    first.trim_end_matches(".rs")
}

#[test]
fn modules_use_only_lower_layers() {
    let law = table();
    let files = rust_files(&root().join("src"));
    let mut known: Vec<&str> = law.keys().map(String::as_str).collect();
    for file in &files {
        let inside = file.strip_prefix(root().join("src")).expect("inside");
        let inside = inside.to_string_lossy();
        let name = module(&inside);
        let top = matches!(name, "lib" | "main" | "cli");
        assert!(top || law.contains_key(name), "`{name}` stands in no layer");
        known.retain(|k| *k != name);
    }
    assert!(known.is_empty(), "in the table and not in src/: {known:?}");
    let uses = Crate::read(&root().join("src/lib.rs")).uses();
    let mut needed = 0;
    let mut wrong = Vec::new();
    for ((from, to), names) in &uses {
        let (user, used) = (module(from), module(to));
        let (Some(own), Some(other)) = (law.get(user), law.get(used)) else {
            continue;
        };
        let allowed = own.beside.iter().any(|b| b == used);
        needed += usize::from(allowed);
        if user != used && other.layer >= own.layer && !allowed {
            wrong.push(format!(
                "{from} (layer {}) uses {used}: {names:?}",
                own.layer
            ));
        }
    }
    assert!(
        uses.len() > 500,
        "the reader of imports found only {}",
        uses.len()
    );
    assert!(needed > 5, "the table's brackets were not read");
    assert!(wrong.is_empty(), "layer law broken:\n{}", wrong.join("\n"));
    for (name, place) in &law {
        for beside in &place.beside {
            let pair =
                |(from, to): &&(String, String)| module(from) == name && module(to) == beside;
            assert!(
                uses.keys().any(|k| pair(&k)),
                "nothing in `{name}` uses `{beside}`"
            );
        }
    }
}

/// The crates of the workspace whose sources are here (a packaged library has its own alone).
fn crates() -> Vec<(&'static str, Uses)> {
    [
        "src/lib.rs",
        "src/main.rs",
        "plugin/src/lib.rs",
        "plugin/src/main.rs",
        "xtask/src/main.rs",
    ]
    .into_iter()
    .filter(|path| root().join(path).is_file())
    .map(|path| (path, Crate::read(&root().join(path)).uses()))
    .collect()
}

#[test]
fn no_circle_of_files() {
    for (root, uses) in crates() {
        if root.ends_with("src/lib.rs") {
            let count = uses.len();
            assert!(
                count > 60,
                "the reader of paths found only {count} in {root}"
            );
        }
        if let Some(circle) = circles(&uses).first() {
            let inside =
                |(from, to): &(String, String)| circle.contains(from) && circle.contains(to);
            let ways = uses.iter().filter(|(pair, _)| inside(pair));
            let ways: Vec<_> = ways
                .map(|((from, to), names)| format!("  {from} uses {to}: {names:?}"))
                .collect();
            panic!("a circle of files in {root}:\n{}", ways.join("\n"));
        }
    }
}

#[test]
fn a_circle_is_seen() {
    let pair = |from: &str, to: &str| {
        (
            (from.to_owned(), to.to_owned()),
            std::iter::once(String::new()).collect(),
        )
    };
    let mut uses: Uses = [pair("a", "b"), pair("b", "c"), pair("x", "a")].into();
    assert!(circles(&uses).is_empty());
    uses.extend([pair("c", "a")]);
    assert_eq!(circles(&uses), [["a", "b", "c"]]);
}

#[test]
fn no_mod_rs() {
    let found: Vec<_> = rust_files(&root().join("src"))
        .into_iter()
        .filter(|p| p.ends_with("mod.rs"))
        .collect();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn no_tests_inside_the_library() {
    // `[lib] test = false`: a test in there would never run.
    let found: Vec<_> = rust_files(&root().join("src"))
        .into_iter()
        .filter(|path| fs::read_to_string(path).is_ok_and(|s| s.contains("cfg(test)")))
        .collect();
    assert!(found.is_empty(), "move them to tests/: {found:?}");
}
