//! What `strings` has to say about a scale in a tuning.

use thumbline::music::moves::StringMove;
use thumbline::music::neck::{Neck, Wire};
use thumbline::music::score::Score;

/// A scale in a tuning, and the tuning it is compared with.
pub struct Answer {
    pub tuning_name: String,
    pub neck: Neck,
    pub against: String,
    pub moves: Vec<StringMove>,
    pub wires: Vec<Wire>,
    pub length_mm: f64,
}

impl Answer {
    pub fn title(&self) -> String {
        format!("{}, {}", self.neck.scale.name, self.tuning_name)
    }

    /// The best path as a piece.
    pub fn score(&self) -> Option<Score> {
        self.neck.score(&self.title())
    }
}
