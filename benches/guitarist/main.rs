//! The guitarist's half in figures: how often the tuning, the picking pattern and the pairing of a
//! take are right on rendered pieces, and how long journal and comparison take.
//! `cargo xtask bench guitarist [tuning|journal|patterns|takes] [FIRST-SEED [SEEDS]]`.

#[path = "../../tests/compare_sound.rs"]
mod compare_sound;
#[path = "../../tests/invented.rs"]
mod invented;
mod journal;
mod patterns;
mod takes;
mod tuning;

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let number = |i: usize, usual: u64| args.get(i).and_then(|a| a.parse().ok()).unwrap_or(usual);
    let what = args.first().map_or("all", String::as_str);
    let (first, seeds) = (number(1, 101), number(2, 1));
    if matches!(what, "all" | "tuning") {
        tuning::run(first..first + seeds);
    }
    if matches!(what, "all" | "journal") {
        journal::run();
    }
    if matches!(what, "all" | "patterns") {
        patterns::run(first..first + seeds);
    }
    if matches!(what, "all" | "takes") {
        takes::run(first..first + 12 * seeds);
    }
}
