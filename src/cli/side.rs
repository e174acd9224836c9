//! One side of a recording: `--side`.

use super::usage::usage;
use anyhow::Result;
use std::fmt;
use std::str::FromStr;
use thumbline::recording::Recording;

/// One channel of a recording, as a player names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Side(pub usize);

impl FromStr for Side {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match (text, text.parse::<usize>()) {
            ("left", _) => Ok(Self(0)),
            ("right", _) => Ok(Self(1)),
            (_, Ok(number @ 1..)) => Ok(Self(number - 1)),
            _ => Err("a side is left, right, or the number of a channel from 1 on".to_owned()),
        }
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            0 => write!(f, "left"),
            1 => write!(f, "right"),
            other => write!(f, "{}", other + 1),
        }
    }
}

impl Side {
    pub fn of(self, recording: &Recording) -> Result<Recording> {
        recording.channel(self.0).ok_or_else(|| {
            let (name, width) = (recording.name(), recording.width());
            let channels = if width == 1 { "channel" } else { "channels" };
            usage(format!(
                "`{name}` has {width} {channels} and no side `{self}`: leave --side out"
            ))
        })
    }
}
