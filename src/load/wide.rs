//! RF64 and BW64: WAV files that may be larger than 4 GiB. Their sizes stand in a chunk of their
//! own (`ds64`); seen through [`Narrow`] such a file is a WAV file that ends with its sound.
//!
//! EBU Tech 3306 (RF64), Recommendation ITU-R BS.2088 (BW64); offsets from memory.

use std::io::{Read, Result, Seek, SeekFrom};
use symphonia::core::io::MediaSource;

/// Chunks before the sound; more is damage.
const MOST_CHUNKS: usize = 1000;

/// What is seen differently.
#[derive(Debug, Clone, Copy)]
pub(super) struct Widths {
    /// Where the size of the `data` chunk stands.
    size_at: u64,
    /// That size, as far as 32 bits can say it.
    size: u32,
    /// End of the sound.
    end: u64,
}

/// Reads the sizes; none where the file is neither RF64 nor BW64.
pub(super) fn read(source: &mut (impl Read + Seek)) -> Option<Widths> {
    source.rewind().ok()?;
    let mut head = [0; 12];
    source.read_exact(&mut head).ok()?;
    if !matches!(&head[..4], b"RF64" | b"BW64") || &head[8..] != b"WAVE" {
        return None;
    }
    let mut told = None;
    for _ in 0..MOST_CHUNKS {
        let mut chunk = [0; 8];
        source.read_exact(&mut chunk).ok()?;
        let size = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
        let at = source.stream_position().ok()?;
        match &chunk[..4] {
            b"ds64" => {
                let mut body = [0; 16]; // size of the file, size of the sound
                source.read_exact(&mut body).ok()?;
                told = Some(u64::from_le_bytes(body[8..].try_into().ok()?));
            }
            b"data" => {
                let size = if size == u32::MAX { told? } else { size.into() };
                return Some(Widths {
                    size_at: at - 4,
                    size: u32::try_from(size).unwrap_or(u32::MAX),
                    end: at.saturating_add(size),
                });
            }
            _ => {}
        }
        let next = at + u64::from(size) + u64::from(size % 2);
        source.seek(SeekFrom::Start(next)).ok()?;
    }
    None
}

/// A file seen as WAV.
pub(super) struct Narrow<S> {
    source: S,
    widths: Option<Widths>,
    at: u64,
}

impl<S: MediaSource> Narrow<S> {
    /// `source`, from its beginning; without `widths` it is seen as it is.
    pub(super) fn new(source: S, widths: Option<Widths>) -> Self {
        let at = 0;
        Self { source, widths, at }
    }
}

impl<S: MediaSource> Read for Narrow<S> {
    fn read(&mut self, to: &mut [u8]) -> Result<usize> {
        let Some(widths) = self.widths else {
            return self.source.read(to);
        };
        let left = widths.end.saturating_sub(self.at).min(to.len() as u64) as usize;
        let read = self.source.read(&mut to[..left])?;
        let mut see = |from: u64, bytes: [u8; 4]| {
            for (place, byte) in (from..).zip(bytes) {
                if let Some(i) = place.checked_sub(self.at)
                    && i < read as u64
                {
                    to[i as usize] = byte;
                }
            }
        };
        see(0, *b"RIFF");
        see(widths.size_at, widths.size.to_le_bytes());
        self.at += read as u64;
        Ok(read)
    }
}

impl<S: MediaSource> Seek for Narrow<S> {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.at = match (to, self.widths) {
            (SeekFrom::End(back), Some(widths)) => {
                let place = widths.end.saturating_add_signed(back);
                self.source.seek(SeekFrom::Start(place))?
            }
            _ => self.source.seek(to)?,
        };
        Ok(self.at)
    }
}

impl<S: MediaSource> MediaSource for Narrow<S> {
    fn is_seekable(&self) -> bool {
        self.source.is_seekable()
    }

    fn byte_len(&self) -> Option<u64> {
        let whole = self.source.byte_len()?;
        Some(self.widths.map_or(whole, |w| w.end.min(whole)))
    }
}
