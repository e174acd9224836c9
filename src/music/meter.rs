//! Meter: how many beats a bar has and how a beat divides.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A time signature, read by its beats: 6/8 has two beats of three eighths.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Meter {
    /// Upper figure, 1 to 15.
    pub count: u8,
    /// Lower figure: 2, 4, 8 or 16.
    pub unit: u8,
}

impl Meter {
    /// Four quarters.
    pub const COMMON: Self = Self { count: 4, unit: 4 };

    /// Meters that are recognised by ear; others are set by hand.
    pub const HEARD: [Self; 7] = [
        Self { count: 2, unit: 4 },
        Self { count: 3, unit: 4 },
        Self::COMMON,
        Self { count: 5, unit: 4 },
        Self { count: 6, unit: 8 },
        Self { count: 9, unit: 8 },
        Self { count: 12, unit: 8 },
    ];

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

    /// Slots a beat has when nothing finer is played: halves of a plain beat, thirds of a
    /// compound one, and the beat itself where the beat is already an eighth (7/8).
    pub fn plain_parts(self) -> u8 {
        match (self.is_compound(), self.unit) {
            (true, _) => 3,
            (false, 8 | 16) => 1,
            (false, _) => 2,
        }
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.count, self.unit)
    }
}

/// Why a text is no time signature.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not a time signature: write it like 3/4 or 6/8")]
pub struct MeterError(String);

impl FromStr for Meter {
    type Err = MeterError;

    fn from_str(text: &str) -> Result<Self, MeterError> {
        let wrong = || MeterError(text.to_owned());
        let (count, unit) = text.trim().split_once('/').ok_or_else(wrong)?;
        let count = count.trim().parse().map_err(|_| wrong())?;
        let unit = unit.trim().parse().map_err(|_| wrong())?;
        if (1..=15).contains(&count) && matches!(unit, 2 | 4 | 8 | 16) {
            Ok(Self { count, unit })
        } else {
            Err(wrong())
        }
    }
}
