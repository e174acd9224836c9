//! A decoded recording: its samples, its rate and its identity.
//!
//! Decoded once (`load`), then shared read-only as an `Arc<Recording>` by analysis, deck and
//! stretch. This module reads no files but its own: a recording that is too long to hold lies in a
//! [`Spool`] on disk, and any stretch of it is at hand ([`Recording::part`]).

mod spool;

pub use spool::Spool;

use crate::stop;
use crate::unit::Seconds;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt;
use std::ops::Range;
use std::sync::OnceLock;

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
#[non_exhaustive]
pub enum RecordingError {
    /// No channel or no frame.
    #[error("it holds no sound")]
    Empty,
    /// Channels differ in length.
    #[error("its channels differ in length")]
    Ragged,
    /// The disk has no room for it.
    #[error("it is too long for memory and cannot be put on disk ({0}): free some space")]
    Disk(String),
    /// A rate outside 8 to 192 kHz.
    #[error("its sample rate of {0} Hz is outside 8 to 192 kHz")]
    Rate(u32),
}

/// So much quieter than the loudest channel, in dB, the others do not count: the crosstalk and
/// noise of a recorder's open input lie below it (common practice, no source).
pub const LONE_DB: f64 = 30.0;

/// A decoded recording: planar samples, −1 to 1 nominal, every one finite.
pub struct Recording {
    name: String,
    rate: u32,
    frames: usize,
    width: usize,
    /// All samples, where they are held in memory.
    channels: OnceLock<Vec<Vec<f32>>>,
    /// All samples, where they lie on disk.
    spool: Option<Spool>,
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
        for block in channels.iter_mut().flat_map(|c| c.chunks_mut(BLOCK)) {
            stop::check();
            for sample in block.iter_mut().filter(|s| !s.is_finite()) {
                *sample = 0.0;
                repaired += 1;
            }
        }
        let hash = hash(rate, channels.len(), |hasher, channel| {
            for samples in channels[channel].chunks(BLOCK) {
                stop::check();
                hasher.update(&bytes(samples));
            }
        });
        Ok(Self {
            name: name.into(),
            rate,
            frames,
            width: channels.len(),
            channels: OnceLock::from(channels),
            spool: None,
            repaired,
            hash,
        })
    }

    /// Makes a recording of samples that lie on disk, at `rate` Hz.
    ///
    /// # Errors
    /// [`RecordingError`] as for [`Recording::new`]; [`RecordingError::Disk`] where the last of them
    /// cannot be written.
    pub fn spooled(
        name: impl Into<String>,
        rate: u32,
        mut spool: Spool,
    ) -> Result<Self, RecordingError> {
        if spool.frames() == 0 {
            return Err(RecordingError::Empty);
        }
        if !(8_000..=192_000).contains(&rate) {
            return Err(RecordingError::Rate(rate));
        }
        let full = |why: std::io::Error| RecordingError::Disk(why.to_string());
        spool.close().map_err(full)?;
        let mut block = Vec::new();
        let hash = hash(rate, spool.width(), |hasher, channel| {
            for from in (0..spool.frames()).step_by(BLOCK) {
                stop::check();
                block.resize(BLOCK.min(spool.frames() - from), 0.0);
                spool.read(channel, from, &mut block);
                hasher.update(&bytes(&block));
            }
        });
        Ok(Self {
            name: name.into(),
            rate,
            frames: spool.frames(),
            width: spool.width(),
            channels: OnceLock::new(),
            repaired: spool.repaired(),
            spool: Some(spool),
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
        self.frames
    }

    /// Number of channels, at least 1.
    pub fn width(&self) -> usize {
        self.width
    }

    /// The instant after its last frame.
    pub fn end(&self) -> Seconds {
        Seconds::of_frame(self.frames(), self.rate)
    }

    /// All channels, each of [`Recording::frames`] samples. What lies on disk is read into memory at
    /// the first call: whoever can do with stretches asks for a [`Recording::part`].
    pub fn channels(&self) -> &[Vec<f32>] {
        self.channels.get_or_init(|| {
            let whole = |channel| self.part(channel, 0..self.frames).into_owned();
            (0..self.width).map(whole).collect()
        })
    }

    /// The samples of `channel` at `frames`, which lie inside the recording: borrowed where they are
    /// in memory, read where they are on disk.
    pub fn part(&self, channel: usize, frames: Range<usize>) -> Cow<'_, [f32]> {
        match (self.channels.get(), &self.spool) {
            (Some(channels), _) => Cow::Borrowed(&channels[channel][frames]),
            (None, Some(spool)) => {
                let mut out = vec![0.0; frames.len()];
                spool.read(channel, frames.start, &mut out);
                Cow::Owned(out)
            }
            (None, None) => Cow::Borrowed(&[]), // one of the two is always there
        }
    }

    /// The samples of `channel` in order, as stretches of up to some ten thousand.
    pub fn blocks(&self, channel: usize) -> impl Iterator<Item = Cow<'_, [f32]>> {
        let starts = (0..self.frames).step_by(BLOCK);
        starts.map(move |from| self.part(channel, from..self.frames.min(from + BLOCK)))
    }

    /// One sample; 0 outside the recording.
    pub fn sample(&self, channel: usize, frame: i64) -> f32 {
        let Some(frame) = usize::try_from(frame).ok().filter(|f| *f < self.frames) else {
            return 0.0;
        };
        match (self.channels.get(), &self.spool) {
            (Some(channels), _) => channels[channel][frame],
            (None, Some(spool)) => spool.sample(channel, frame),
            (None, None) => 0.0, // one of the two is always there
        }
    }

    /// Does it lie on disk?
    pub fn is_spooled(&self) -> bool {
        self.channels.get().is_none()
    }

    /// How many samples were not finite and were set to 0.
    pub fn repaired(&self) -> usize {
        self.repaired
    }

    /// Identity of the sound.
    pub fn hash(&self) -> ContentHash {
        self.hash
    }

    /// The one channel that has the sound, where there are several and every other is at least
    /// [`LONE_DB`] quieter: a guitar plugged into one side of a stereo recorder, for instance.
    pub fn lone_channel(&self) -> Option<usize> {
        let square = |sample: &f32| f64::from(*sample).powi(2);
        let of_block = |block: Cow<[f32]>| {
            stop::check();
            block.iter().map(square).sum::<f64>()
        };
        let energies: Vec<f64> = (0..self.width)
            .map(|channel| self.blocks(channel).map(of_block).sum())
            .collect();
        let (loudest, most) = energies
            .iter()
            .copied()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let quiet = most * 10f64.powf(-LONE_DB / 10.0);
        let alone = |(i, energy): (usize, &f64)| i == loudest || *energy <= quiet;
        (energies.len() > 1 && most > 0.0 && energies.iter().enumerate().all(alone))
            .then_some(loudest)
    }

    /// One channel as a recording of its own; none where there are fewer.
    pub fn channel(&self, index: usize) -> Option<Self> {
        if index >= self.width {
            return None;
        }
        let sound = self.part(index, 0..self.frames).into_owned();
        Self::new(self.name.clone(), self.rate, vec![sound]).ok()
    }

    /// The mean of all channels, one sample a frame.
    pub fn mono(&self) -> Vec<f32> {
        let [first, rest @ ..] = self.channels() else {
            return Vec::new();
        };
        let mut mix = first.clone();
        if rest.is_empty() {
            return mix;
        }
        for channel in rest {
            mix.iter_mut().zip(channel).for_each(|(m, s)| *m += s);
        }
        let share = 1.0 / self.width as f32;
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
            .field("channels", &self.width)
            .field("frames", &self.frames())
            .finish_non_exhaustive()
    }
}

/// Frames of a stretch that is worked on at once.
const BLOCK: usize = spool::BLOCK;

/// Hash over rate, channel count and every sample as little-endian f32; `feed` is called once a
/// channel.
fn hash(rate: u32, width: usize, mut feed: impl FnMut(&mut blake3::Hasher, usize)) -> ContentHash {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&rate.to_le_bytes());
    hasher.update(&(width as u32).to_le_bytes());
    for channel in 0..width {
        feed(&mut hasher, channel);
    }
    ContentHash(*hasher.finalize().as_bytes())
}

fn bytes(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|s| s.to_le_bytes()).collect()
}
