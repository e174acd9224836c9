//! What leaves the process: analysis as JSON, CSV and bar sheet, drift as a table, sound as WAV.
//!
//! Each format turns values into bytes; [`mod@file`] puts the bytes where they belong, whole or not at
//! all. No format decides what a number means: that is `timing`.

pub mod along;
pub mod bar_picture;
pub mod compare;
pub mod csv;
pub mod export;
pub mod file;
pub mod flac;
pub mod jams;
pub mod json;
pub mod lesson;
pub mod marks;
pub mod midi;
pub mod musicxml;
pub mod neck;
pub mod pdf;
pub mod shapes;
pub mod sheet;
pub mod sign;
pub mod svg;
pub mod tab;
pub mod table;
pub mod wav;

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// The text with a capital at its beginning.
pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}
