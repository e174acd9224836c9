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
mod opus;
mod wide;

pub use decoder::{Decoder, MOST_BYTES, Part};
pub use error::LoadError;
pub use guard::hush_readers;

use crate::recording::Recording;
use std::path::Path;

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
