//! How large a page is drawn, how stretched, and what it shows.

use crate::music::note::Role;

/// How large, how stretched, what besides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Width of the page in points.
    pub width: f64,
    /// Size of everything but the page, 0.5 to 4; 1 is ordinary.
    pub zoom: f64,
    /// How much drift is stretched, 1 to 16; none chooses what fits the drift there is.
    pub magnifier: Option<u8>,
    /// Bars side by side in one row, 1 to 8.
    pub bars_a_row: u8,
    /// A row of tablature under each bar?
    pub strings: bool,
    /// Title, legend and counts above the rows?
    pub heading: bool,
    /// The strip of what repeats, on top of the rows (with a heading)?
    pub repeats: bool,
    /// Sentences: the first above the rows, the others below?
    pub words: bool,
    /// Whose notes.
    pub hands: Hands,
    /// Every note where it was played, also where nobody hears it?
    pub hairs: bool,
    /// Bars that play alike in one row? Then a row holds one bar.
    pub fold: Fold,
}

/// Whose notes a page shows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Hands {
    /// Both hands'.
    #[default]
    Both,
    /// The thumb's alone.
    Thumb,
    /// The fingers' alone.
    Fingers,
}

impl Hands {
    /// Are this hand's notes shown?
    pub fn shows(self, role: Role) -> bool {
        match self {
            Self::Both => true,
            Self::Thumb => role == Role::Bass,
            Self::Fingers => role == Role::Melody,
        }
    }
}

impl Default for Options {
    fn default() -> Self {
        Self {
            width: 1000.0,
            zoom: 1.0,
            magnifier: None,
            bars_a_row: 1,
            strings: false,
            heading: true,
            repeats: true,
            words: true,
            hands: Hands::Both,
            hairs: false,
            fold: Fold::Never,
        }
    }
}

/// Are bars that play alike one row?
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Fold {
    /// Every bar has its own.
    #[default]
    Never,
    /// Each pattern is one row, in order of its first bar; those whose bit is set (the first pattern's is
    /// 1) have their bars below them.
    Alike {
        /// Which are opened.
        open: u32,
    },
}
