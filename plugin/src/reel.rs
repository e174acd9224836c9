//! Recorded sound on its way to disk: a WAV file that is whole at every moment but for the last
//! half second, so that a crash, a full disk or a pulled plug costs no more than that.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};
use thumbline::deck::capture::{Place, Reel, Source};
use thumbline::unit::Span;

/// Where recordings and takes are kept: the player's data folder, or a temporary one where the
/// system names none.
pub fn data_dir() -> PathBuf {
    thumbline::home::data().unwrap_or_else(|| std::env::temp_dir().join("thumbline"))
}

/// A recording under way.
pub struct Recorder {
    /// From where.
    pub source: Source,
    reel: Reel,
    path: PathBuf,
    writer: Option<WavWriter<BufWriter<File>>>,
    /// Where on the recording's timeline it was played.
    pub places: Vec<Place>,
    frames: Vec<[f32; 2]>,
    written: u64,
    flushed: u64,
    /// The file could not be written any further.
    pub fault: Option<String>,
}

impl Recorder {
    /// Starts a file of its own in the data folder.
    ///
    /// # Errors
    /// When the folder or the file cannot be made.
    pub fn start(source: Source, reel: Reel) -> io::Result<Self> {
        let (folder, what) = match source {
            Source::Track => ("recordings", "recording"),
            Source::Take => ("takes", "take"),
        };
        let dir = data_dir().join(folder);
        std::fs::create_dir_all(&dir)?;
        let (path, file) = fresh_file(&dir, what)?;
        let spec = WavSpec {
            channels: 2,
            sample_rate: reel.rate(),
            bits_per_sample: 32,
            sample_format: SampleFormat::Float,
        };
        let writer = WavWriter::new(BufWriter::new(file), spec).map_err(io::Error::other)?;
        Ok(Self {
            source,
            reel,
            path,
            writer: Some(writer),
            places: Vec::new(),
            frames: Vec::new(),
            written: 0,
            flushed: 0,
            fault: None,
        })
    }

    /// Takes over what has been recorded and writes it; the frames are in `heard` too where
    /// somebody wants them.
    pub fn tend(&mut self, heard: Option<&mut Vec<[f32; 2]>>) {
        self.frames.clear();
        self.reel.drain(&mut self.frames, &mut self.places);
        if let Some(heard) = heard {
            heard.extend_from_slice(&self.frames);
        }
        let Some(writer) = &mut self.writer else {
            return;
        };
        let result = self
            .frames
            .iter()
            .flatten()
            .try_for_each(|&s| writer.write_sample(s))
            .and_then(|()| {
                self.written += self.frames.len() as u64;
                if self.written - self.flushed >= u64::from(self.reel.rate()) / 2 {
                    self.flushed = self.written;
                    writer.flush()?;
                }
                Ok(())
            });
        if let Err(error) = result {
            self.fault = Some(error.to_string());
            self.writer = None;
        }
    }

    /// Has the audio thread let go, and is everything written?
    pub fn finished(&self) -> bool {
        self.reel.finished() || self.fault.is_some()
    }

    /// Length so far.
    pub fn length(&self) -> Span {
        Span(self.written as f64 / f64::from(self.reel.rate()))
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.reel.rate()
    }

    /// Closes the file; its path, or none when nothing was recorded (the file is removed).
    pub fn close(mut self) -> Option<PathBuf> {
        if let Some(writer) = self.writer.take()
            && let Err(error) = writer.finalize()
        {
            self.fault = Some(error.to_string());
        }
        if self.written == 0 {
            let _ = std::fs::remove_file(&self.path);
            return None;
        }
        Some(self.path)
    }
}

/// A new file named after the moment; two instances at once get two files.
fn fresh_file(dir: &Path, what: &str) -> io::Result<(PathBuf, File)> {
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |d| d.as_secs());
    let mut last = io::Error::other("no free file name");
    for n in 0..1000 {
        let path = dir.join(format!("{what} {} {n:03}.wav", stamp(now)));
        match File::options()
            .write(true)
            .read(true)
            .create_new(true)
            .open(&path)
        {
            Ok(file) => return Ok((path, file)),
            Err(error) => last = error,
        }
        if last.kind() != io::ErrorKind::AlreadyExists {
            break;
        }
    }
    Err(last)
}

/// Seconds since 1970 as "2026-01-31 23.59.59" (UTC; days to date after the proleptic Gregorian
/// calendar, ISO 8601).
fn stamp(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let mut year = 1970;
    let mut left = days;
    let leap = |y: u64| y.is_multiple_of(4) && (!y.is_multiple_of(100) || y.is_multiple_of(400));
    loop {
        let length = if leap(year) { 366 } else { 365 };
        if left < length {
            break;
        }
        left -= length;
        year += 1;
    }
    let february = if leap(year) { 29 } else { 28 };
    let months = [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut month = 0;
    while left >= months[month] {
        left -= months[month];
        month += 1;
    }
    format!(
        "{year}-{:02}-{:02} {:02}.{:02}.{:02}",
        month + 1,
        left + 1,
        rest / 3600,
        rest / 60 % 60,
        rest % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stamps_are_dates() {
        assert_eq!(stamp(0), "1970-01-01 00.00.00");
        assert_eq!(stamp(951_826_154), "2000-02-29 12.09.14");
        assert_eq!(stamp(1_767_225_599), "2025-12-31 23.59.59");
    }
}
