//! Bytes → [`Recording`]: WAV (RF64 and BW64 too), AIFF, CAF, FLAC, MP3, Ogg (Vorbis, Opus, FLAC),
//! AAC, M4A (AAC, ALAC), and the sound of videos (MP4, MOV, MKV, WebM).
//!
//! Owns opening, decoding and refusing files; what a recording is lives in `recording`. [`load`]
//! reads a whole file. [`Decoder`] reads step by step: for a deck that plays the beginning while
//! the rest is still being read, and for a part of a file that is too long to hold.

mod decoder;
mod edit;
mod error;
mod foreign;
#[doc(hidden)]
pub mod guard;
pub mod melody;
mod opus;
mod wide;

pub use decoder::{Decoder, MOST_BYTES, Part};
pub use error::LoadError;
pub use guard::hush_readers;

use crate::recording::Recording;
use std::path::Path;

/// Endings of the names of files that can be read, for dialogs.
pub const ENDINGS: [&str; 21] = [
    "wav", "wave", "rf64", "bw64", "aif", "aiff", "caf", "flac", "mp3", "m4a", "m4b", "aac", "ogg",
    "oga", "opus", "mp4", "m4v", "mov", "3gp", "mkv", "webm",
];

/// The same formats in a player's words.
pub const FORMATS: &str =
    "WAV, AIFF, CAF, FLAC, MP3, M4A, Ogg, Opus, and the sound of videos (MP4, MOV, MKV, WebM)";

/// Reads the whole recording at `path`, at its own rate and with all its channels.
///
/// Damaged stretches become silence, as do samples that are no numbers; whoever wants to tell the
/// player uses a [`Decoder`] and its [`Decoder::warnings`].
///
/// # Errors
/// [`LoadError`], which names the file and says what to do.
pub fn load(path: &Path) -> Result<Recording, LoadError> {
    let mut decoder = Decoder::open(path, Part::WHOLE)?;
    while decoder.step()? {}
    decoder.finish()
}
