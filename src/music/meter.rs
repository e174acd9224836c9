//! Meter: how many beats a bar has and how a beat divides.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A time signature, read by its beats: 6/8 has two beats of three eighths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Meter {
    /// Upper figure, 1 to 15.
    pub count: u8,
    /// Lower figure: 2, 4, 8 or 16.
    pub unit: u8,
}

impl Meter {
    /// Four quarters.
    pub const COMMON: Self = Self { count: 4, unit: 4 };

    /// Beats a player counts in one bar: compound meters (6/8, 9/8, 12/8) count in threes.
    pub fn beats(self) -> u8 {
        if self.is_compound() {
            self.count / 3
        } else {
            self.count
        }
    }

    /// Does a beat divide in three by the signature itself?
    pub fn is_compound(self) -> bool {
        self.unit >= 8 && self.count > 3 && self.count.is_multiple_of(3)
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.count, self.unit)
    }
}
