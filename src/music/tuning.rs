//! A guitar's tuning: which pitch each open string has, with a capo or without.
//!
//! Owns pitches of strings and places on the neck; what a player does with them is elsewhere.
//! Named tunings are data (`presets/tunings.toml`).

mod named;
mod open_strings;

pub use named::NamedTuning;
pub use open_strings::{HIGHEST_CAPO, Tuning, TuningError};
