//! Samples on disk: a recording that is too long to hold in memory, any stretch of it at hand.
//!
//! Owns a file that has no name and goes with its owner. Blocks of frames follow each other, the
//! channels of a block one after the other, each sample as a little-endian f32.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// Frames of a block.
pub(super) const BLOCK: usize = 1 << 16;

/// Frames of a page for single samples.
const PAGE: usize = 1 << 11;

/// Sound being written to disk, and read back by [`super::Recording`].
#[derive(Debug)]
pub struct Spool {
    file: Mutex<File>,
    width: usize,
    frames: usize,
    /// What waits for its block to be full, a vector a channel.
    waiting: Vec<Vec<f32>>,
    /// Samples that were no numbers.
    repaired: usize,
    /// What was read last for single samples: channel, first frame, samples.
    page: Mutex<(usize, usize, Vec<f32>)>,
}

impl Spool {
    /// An empty one for `width` channels (at least 1).
    ///
    /// It lies where the system keeps large temporary files, and only where there is no such place
    /// among the small ones, which may be held in memory.
    ///
    /// # Errors
    /// When no file can be made there.
    pub fn new(width: usize) -> io::Result<Self> {
        let large = Path::new("/var/tmp");
        let file = match std::env::var_os("TMPDIR") {
            None if large.is_dir() => {
                tempfile::tempfile_in(large).or_else(|_| tempfile::tempfile())
            }
            _ => tempfile::tempfile(),
        }?;
        Ok(Self {
            file: Mutex::new(file),
            width: width.max(1),
            frames: 0,
            waiting: vec![Vec::new(); width.max(1)],
            repaired: 0,
            page: Mutex::default(),
        })
    }

    /// Channels.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Frames that were pushed.
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// Samples that were not finite and became 0.
    pub fn repaired(&self) -> usize {
        self.repaired
    }

    /// Takes in the next frames: planar `channels`, as many as there are, all of one length.
    ///
    /// # Errors
    /// When the disk is full, or cannot be written.
    pub fn push<C: AsRef<[f32]>>(&mut self, channels: &[C]) -> io::Result<()> {
        let frames = channels.first().map_or(0, |c| c.as_ref().len());
        let even = |c: &C| c.as_ref().len() == frames;
        let even = channels.len() == self.width && channels.iter().all(even);
        if !even {
            return Err(io::Error::new(
                io::ErrorKind::InvalidInput,
                "its channels differ in length",
            ));
        }
        for (waiting, channel) in self.waiting.iter_mut().zip(channels) {
            let channel = channel.as_ref();
            let finite = channel.iter().map(|s| if s.is_finite() { *s } else { 0.0 });
            self.repaired += channel.iter().filter(|s| !s.is_finite()).count();
            waiting.extend(finite);
        }
        self.frames += frames;
        while self.waiting[0].len() >= BLOCK {
            self.write(BLOCK)?;
        }
        Ok(())
    }

    /// Writes the last block, however long; nothing can be pushed after.
    ///
    /// # Errors
    /// When the disk is full, or cannot be written.
    pub fn close(&mut self) -> io::Result<()> {
        let rest = self.waiting[0].len();
        if rest > 0 { self.write(rest) } else { Ok(()) }
    }

    fn write(&mut self, frames: usize) -> io::Result<()> {
        let mut bytes = Vec::with_capacity(4 * frames * self.width);
        for channel in &mut self.waiting {
            bytes.extend(channel.drain(..frames).flat_map(f32::to_le_bytes));
        }
        let file = self.file.get_mut().unwrap_or_else(PoisonError::into_inner);
        file.write_all(&bytes)
    }

    /// One sample of `channel`; a page around it is remembered for its neighbours.
    pub(super) fn sample(&self, channel: usize, frame: usize) -> f32 {
        let mut page = self.page.lock().unwrap_or_else(PoisonError::into_inner);
        let there = page.0 == channel && (page.1..page.1 + page.2.len()).contains(&frame);
        if !there {
            let from = frame - frame % PAGE;
            let mut samples = vec![0.0; PAGE.min(self.frames - from)];
            self.read(channel, from, &mut samples);
            *page = (channel, from, samples);
        }
        page.2[frame - page.1]
    }

    /// Fills `out` with the samples of `channel` from frame `from` on; all of them were written.
    /// What the disk does not give any more is silence: there is no better answer for sound that
    /// was there a moment ago.
    pub fn read(&self, channel: usize, from: usize, out: &mut [f32]) {
        let mut bytes = Vec::new();
        let mut done = 0;
        while done < out.len() {
            let frame = from + done;
            let (block, inside) = (frame / BLOCK, frame % BLOCK);
            let long = BLOCK.min(self.frames - block * BLOCK);
            let n = (long - inside).min(out.len() - done);
            let at = 4 * (block * BLOCK * self.width + channel * long + inside);
            bytes.resize(4 * n, 0);
            let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
            let read = file
                .seek(SeekFrom::Start(at as u64))
                .and_then(|_| file.read_exact(&mut bytes));
            drop(file);
            if read.is_err() {
                bytes.fill(0);
            }
            let samples = bytes
                .chunks_exact(4)
                .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
            out[done..done + n]
                .iter_mut()
                .zip(samples)
                .for_each(|(o, s)| *o = s);
            done += n;
        }
    }
}
