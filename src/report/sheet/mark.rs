//! A head on the page: what it stands for and where it can be touched.

use super::shape::{Point, Rect};

/// A head on the page.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Index of its note, in the piece's or the second take's list.
    pub note: usize,
    /// In a folded row the later notes that it stands for as well.
    pub others: Vec<usize>,
    /// Is it a note of the second take?
    pub second: bool,
    /// Middle of the head.
    pub head: Point,
    /// Foot of its stem on the row's line; none in free time.
    pub foot: Option<Point>,
    /// Around the head, for pointing at.
    pub area: Rect,
}

impl Mark {
    /// Does it stand for this note (of its own list)?
    pub fn holds(&self, note: usize) -> bool {
        self.note == note || self.others.contains(&note)
    }
}
