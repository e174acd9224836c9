//! Cells with names, and which of them is near.

use super::cell::Cell;

/// A named cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// What it is called.
    pub name: String,
    /// One line about it.
    pub about: String,
    /// Its strokes.
    pub cell: Cell,
}

/// Patterns further away than this are not called near.
pub const NEAR: f64 = 0.8;

/// The patterns nearest to `cell`, nearest first, as (pattern, distance).
pub fn nearest<'a>(cell: &Cell, patterns: &'a [Pattern]) -> Vec<(&'a Pattern, f64)> {
    let mut ranked: Vec<_> = patterns
        .iter()
        .map(|p| (p, cell.distance(&p.cell)))
        .collect();
    ranked.sort_by(|a, b| a.1.total_cmp(&b.1));
    ranked
}
