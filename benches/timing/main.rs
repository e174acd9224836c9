//! Beats and drift on pieces whose every beat is known: how right, how sure, and what repairs them.
//!
//! `cargo xtask bench timing [FOLDER…]` prints the tables. Our own pieces are rendered with our own
//! strings; the real takes are those of `../shared/data/guitarset` where they are there; a FOLDER
//! holds NAME.json (as `thumbline analyze` writes it) or NAME.wav with NAME.truth.json. Nothing in
//! the analysis was fitted to our own pieces or to the takes; the takes were looked at while choosing.

#[allow(dead_code, reason = "labels are for tests")]
#[path = "../../tests/guitarset.rs"]
mod guitarset;
#[path = "../known.rs"]
mod known;
mod own;
mod real;
mod table;
mod variant;

use table::Set;

fn main() {
    let folders: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    own::drift();
    let mut sets = own::sets();
    sets.extend(real::sets());
    sets.extend(folders.iter().map(|folder| Set {
        name: folder.clone(),
        pieces: known::read(folder.as_ref()),
    }));
    table::print(&sets);
    own::time();
}
