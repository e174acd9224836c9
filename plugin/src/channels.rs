//! Which channels of the recording are heard.

use nice_plug::prelude::*;

/// Which channels of the recording are heard, on both sides.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Enum)]
pub enum Channels {
    /// As recorded.
    #[default]
    #[id = "stereo"]
    #[name = "Stereo"]
    Stereo,
    /// The left channel.
    #[id = "left"]
    #[name = "Left"]
    Left,
    /// The right channel.
    #[id = "right"]
    #[name = "Right"]
    Right,
    /// What both sides share: (left + right) / 2.
    #[id = "mid"]
    #[name = "Mid"]
    Mid,
    /// What they do not share: (left − right) / 2.
    #[id = "side"]
    #[name = "Side"]
    Side,
}

impl Channels {
    /// Its stable name.
    pub fn id(self) -> &'static str {
        match self {
            Self::Stereo => "stereo",
            Self::Left => "left",
            Self::Right => "right",
            Self::Mid => "mid",
            Self::Side => "side",
        }
    }

    /// The one of that name; stereo where there is none.
    pub fn of_id(id: &str) -> Self {
        [Self::Left, Self::Right, Self::Mid, Self::Side]
            .into_iter()
            .find(|c| c.id() == id)
            .unwrap_or_default()
    }
}
