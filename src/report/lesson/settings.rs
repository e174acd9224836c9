//! What a page was made with, written into it and read back.

use serde::{Deserialize, Serialize};

/// How a page was made: enough to make it again from the same recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Settings {
    /// Version of Thumbline.
    pub version: String,
    /// Name of the recording, without folders.
    pub recording: String,
    /// Identity of its sound.
    pub hash: String,
    /// First and last bar.
    pub bars: (i32, i32),
    /// Speeds as factors, slowest first, 1 to 4 of them.
    pub speeds: Vec<f64>,
    /// Heading.
    pub title: String,
    /// The teacher's words, as Markdown (CommonMark).
    #[serde(default)]
    pub words: String,
    /// Tuning as it was given; none where it was guessed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tuning: Option<String>,
    /// Fret of the capo as it was given.
    #[serde(default)]
    pub capo: i32,
    /// Name of the take that is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub take: Option<String>,
    /// Pattern whose drill is in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drill: Option<String>,
    /// Scale that is in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
    /// Chords that are in it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub chords: Vec<String>,
    /// Techniques of the left hand that are in it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub techniques: Vec<String>,
    /// Does it hold harmonics?
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub harmonics: bool,
    /// Does it hold a plan from the journal?
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub plan: bool,
}

/// A file that is no lesson page.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("this is not a lesson page: it holds no settings of one")]
pub struct NoLesson;

/// What stands before and after the settings in a page.
pub(super) const OPENING: &str = "<script type=\"application/json\" id=\"settings\">";
pub(super) const CLOSING: &str = "</script>";

/// The settings that `html` was made with.
///
/// # Errors
/// [`NoLesson`] when there are none.
pub fn read(html: &str) -> Result<Settings, NoLesson> {
    let from = html.find(OPENING).ok_or(NoLesson)? + OPENING.len();
    let length = html[from..].find(CLOSING).ok_or(NoLesson)?;
    serde_json::from_str(&html[from..from + length]).map_err(|_| NoLesson)
}
