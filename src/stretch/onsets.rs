//! The onset table: where strings are plucked, as frames of the recording.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

/// Why frames cannot become an [`OnsetTable`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum OnsetError {
    /// An onset is not later than the one before it.
    #[error("onset {index} (frame {frame}) is not later than the onset before it")]
    Order {
        /// Which onset, counted from 0.
        index: usize,
        /// Its frame.
        frame: usize,
    },
    /// An onset lies outside the recording.
    #[error("onset {index} (frame {frame}) lies after the recording's end (frame {end})")]
    Range {
        /// Which onset, counted from 0.
        index: usize,
        /// Its frame.
        frame: usize,
        /// Frames in the recording.
        end: usize,
    },
}

/// Onsets of one recording: frames, strictly ascending, all inside it. Immutable, so that it can
/// be shared with a playing [`super::Stretcher`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OnsetTable {
    frames: Vec<usize>,
}

impl OnsetTable {
    /// A table of `onsets` (frames) for a recording of `frames` frames.
    ///
    /// # Errors
    /// [`OnsetError`] when an onset is not later than the one before it or not inside the
    /// recording.
    pub fn new(onsets: Vec<usize>, frames: usize) -> Result<Self, OnsetError> {
        for (index, &frame) in onsets.iter().enumerate() {
            if index > 0 && frame <= onsets[index - 1] {
                return Err(OnsetError::Order { index, frame });
            }
            if frame >= frames {
                return Err(OnsetError::Range {
                    index,
                    frame,
                    end: frames,
                });
            }
        }
        Ok(Self { frames: onsets })
    }

    /// A table made of whatever is usable in `onsets`: sorted, doubles and frames outside the
    /// recording dropped.
    pub fn cleaned(mut onsets: Vec<usize>, frames: usize) -> Self {
        onsets.retain(|&onset| onset < frames);
        onsets.sort_unstable();
        onsets.dedup();
        Self { frames: onsets }
    }

    /// The onsets, ascending, in frames.
    pub fn frames(&self) -> &[usize] {
        &self.frames
    }

    /// The last onset at or before `frame`.
    pub(super) fn at_or_before(&self, frame: f64) -> Option<usize> {
        let after = self.frames.partition_point(|&o| o as f64 <= frame);
        after.checked_sub(1).map(|i| self.frames[i])
    }

    /// The first onset after `frame`.
    pub(super) fn after(&self, frame: f64) -> Option<usize> {
        let i = self.frames.partition_point(|&o| o as f64 <= frame);
        self.frames.get(i).copied()
    }
}
