//! A decoded recording: its samples, its rate and its identity.
//!
//! Decoded once (`load`), then shared read-only as an `Arc<Recording>` by analysis, deck and
//! stretch. This module reads no files.

use crate::unit::Seconds;
use serde::{Deserialize, Serialize};
use std::fmt;

/// BLAKE3 hash of a recording's samples, rate and channel count: the same sound has the same hash
/// whatever its file is called.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct ContentHash([u8; 32]);

impl fmt::Display for ContentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for ContentHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ContentHash({self})")
    }
}

impl From<ContentHash> for String {
    fn from(hash: ContentHash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<String> for ContentHash {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        blake3::Hash::from_hex(&text)
            .map(|hash| Self(*hash.as_bytes()))
            .map_err(|_| format!("`{text}` is not a content hash (64 hexadecimal digits)"))
    }
}

/// Why samples cannot become a [`Recording`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecordingError {
    /// No channel or no frame.
    #[error("there is no sound in it")]
    Empty,
    /// Channels differ in length.
    #[error("its channels differ in length")]
    Ragged,
    /// A rate outside 8 to 192 kHz.
    #[error("its sample rate of {0} Hz is outside 8 to 192 kHz")]
    Rate(u32),
}

/// A decoded recording: planar samples, −1 to 1 nominal, every one finite.
pub struct Recording {
    name: String,
    rate: u32,
    channels: Vec<Vec<f32>>,
    repaired: usize,
    hash: ContentHash,
}

impl Recording {
    /// Makes a recording of planar `channels` (at least one, all of one length ≥ 1) at `rate` Hz.
    ///
    /// Samples that are not finite become 0; [`Recording::repaired`] counts them.
    ///
    /// # Errors
    /// [`RecordingError`] when there is no sound, channels differ in length or the rate is outside
    /// 8 to 192 kHz.
    pub fn new(
        name: impl Into<String>,
        rate: u32,
        mut channels: Vec<Vec<f32>>,
    ) -> Result<Self, RecordingError> {
        let frames = channels.first().map_or(0, Vec::len);
        if frames == 0 {
            return Err(RecordingError::Empty);
        }
        if channels.iter().any(|c| c.len() != frames) {
            return Err(RecordingError::Ragged);
        }
        if !(8_000..=192_000).contains(&rate) {
            return Err(RecordingError::Rate(rate));
        }
        let mut repaired = 0;
        for sample in channels.iter_mut().flatten().filter(|s| !s.is_finite()) {
            *sample = 0.0;
            repaired += 1;
        }
        let hash = hash(rate, &channels);
        Ok(Self {
            name: name.into(),
            rate,
            channels,
            repaired,
            hash,
        })
    }

    /// What to call it in messages: the file as it was named, or a title.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its name without folders, as a page is headed.
    pub fn title(&self) -> &str {
        let name = self.name();
        name.rsplit(['/', '\\']).next().unwrap_or(name)
    }

    /// Frames a second, 8,000 to 192,000.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Length in frames, at least 1.
    pub fn frames(&self) -> usize {
        self.channels[0].len()
    }

    /// The instant after its last frame.
    pub fn end(&self) -> Seconds {
        Seconds::of_frame(self.frames(), self.rate)
    }

    /// All channels, each of [`Recording::frames`] samples.
    pub fn channels(&self) -> &[Vec<f32>] {
        &self.channels
    }

    /// How many samples were not finite and were set to 0.
    pub fn repaired(&self) -> usize {
        self.repaired
    }

    /// Identity of the sound.
    pub fn hash(&self) -> ContentHash {
        self.hash
    }

    /// The mean of all channels, one sample a frame.
    pub fn mono(&self) -> Vec<f32> {
        let [first, rest @ ..] = self.channels.as_slice() else {
            return Vec::new();
        };
        let mut mix = first.clone();
        if rest.is_empty() {
            return mix;
        }
        for channel in rest {
            mix.iter_mut().zip(channel).for_each(|(m, s)| *m += s);
        }
        let share = 1.0 / self.channels.len() as f32;
        for m in &mut mix {
            *m *= share;
        }
        mix
    }
}

impl fmt::Debug for Recording {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Recording")
            .field("name", &self.name)
            .field("rate", &self.rate)
            .field("channels", &self.channels.len())
            .field("frames", &self.frames())
            .finish_non_exhaustive()
    }
}

/// Hash over rate, channel count and every sample as little-endian f32.
fn hash(rate: u32, channels: &[Vec<f32>]) -> ContentHash {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&rate.to_le_bytes());
    hasher.update(&(channels.len() as u32).to_le_bytes());
    let mut bytes = Vec::with_capacity(4 * 4096);
    for chunk in channels.iter().flat_map(|c| c.chunks(4096)) {
        bytes.clear();
        bytes.extend(chunk.iter().flat_map(|s| s.to_le_bytes()));
        hasher.update(&bytes);
    }
    ContentHash(*hasher.finalize().as_bytes())
}
