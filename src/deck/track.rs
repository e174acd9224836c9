//! A recording made ready for the audio thread: its samples and a stretch engine of its own.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::head::Head;
use crate::recording::Recording;
use crate::stretch::{OnsetTable, Stretcher};
use std::sync::Arc;

/// A recording ready to be played: its samples and an engine of its own.
pub struct Track {
    pub(super) head: Head,
}

/// The recording's rate is not the output's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the recording has {recording} frames a second, the output {output}: resample it first")]
pub struct RateMismatch {
    /// The recording's rate in Hz.
    pub recording: u32,
    /// The output's.
    pub output: u32,
}

impl Track {
    /// Prepares `recording`, which must be at the output's rate.
    ///
    /// # Errors
    /// [`RateMismatch`] when it is not.
    pub fn new(
        recording: Arc<Recording>,
        onsets: Arc<OnsetTable>,
        rate: u32,
    ) -> Result<Self, RateMismatch> {
        if recording.rate() != rate {
            return Err(RateMismatch {
                recording: recording.rate(),
                output: rate,
            });
        }
        Ok(Self {
            head: Head::new(Stretcher::new(recording, onsets)),
        })
    }
}
