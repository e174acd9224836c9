//! What tracking comes to: a grid, its other readings, and what is doubtful about them.

use super::edits::{Conflict, Edit};
use crate::music::grid::Grid;
use crate::unit::Span;
use serde::{Deserialize, Serialize};

/// Another reading of the same notes, and the edit that gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// What it is by itself: meter and tempo, and where bar one is when those are the same.
    pub label: String,
    /// Append this to the list of edits to get it.
    pub edit: Edit,
    /// How probable it is against the grid that was chosen, 0 to 1.
    pub odds: f32,
}

/// A grid and what is to be known about it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Tracked {
    /// Beats and bars; empty where no pulse was found.
    pub grid: Grid,
    /// Other readings, most probable first.
    pub alternatives: Vec<Alternative>,
    /// Edits that gave way to later ones.
    pub conflicts: Vec<Conflict>,
    /// Time constant of the grid: notes this far from a beat still place it with 1/e of the
    /// weight of those on it; none for the even beats of a click.
    pub time_constant: Option<Span>,
    /// Plain sentences about what makes the grid doubtful.
    pub warnings: Vec<String>,
}
