//! Notes → the beat grid.
//!
//! Owns how beats, bars, meter and slots are found and how a player's edits bend them. What a
//! grid *is* belongs to `music/grid`; what a note's distance from it means, to `timing`.

pub mod edits;

pub use edits::{Conflict, Edit, GridEdits};
