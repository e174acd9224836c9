//! Recorded sound on its way to disk: a WAV file that is whole at every moment but for the last
//! tenth of a second, so that a kill or a full disk costs no more than that, and a pulled plug no
//! more than a second.
//!
//! Beside it lies a note of what it was recorded against. A recording's note goes when it is
//! closed, a take's when the journal has the take. A note that is left over tells of a recording
//! that was cut short, or of a take that nobody has kept yet: [`left_over`] finds it again.

use crate::data::{data_dir, write_whole};
use hound::{SampleFormat, WavSpec, WavWriter};
use serde::{Deserialize, Serialize};
use std::fs::File;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use thumbline::deck::capture::{Anchor, Receiver, Source};
use thumbline::journal::Moment;
use thumbline::recording::ContentHash;
use thumbline::system;
use thumbline::unit::Span;

/// A note that has not been renewed for so long belongs to no recording under way.
const ABANDONED: Duration = Duration::from_secs(10);

/// Ending of the notes' names.
const NOTE: &str = "note";

/// What a recording was made against.
#[derive(Debug, Serialize, Deserialize)]
struct Note {
    recording: Option<ContentHash>,
    places: Vec<Anchor>,
    /// How far the take had come at each round that its player kept.
    #[serde(default)]
    kept: Vec<Span>,
    /// Has its instance gone, so that anybody may take it up at once?
    #[serde(default)]
    left: bool,
    /// The process that records it.
    #[serde(default)]
    process: Option<u32>,
}

/// A recording under way.
pub struct Recorder {
    /// From where.
    pub source: Source,
    receiver: Receiver,
    path: PathBuf,
    against: Option<ContentHash>,
    writer: Option<WavWriter<BufWriter<File>>>,
    /// The same file, to make sure that it lies on the disk.
    file: File,
    /// Where on the recording's timeline it was played.
    pub places: Vec<Anchor>,
    kept: Vec<Span>,
    frames: Vec<[f32; 2]>,
    played: Vec<f32>,
    written: u64,
    flushed: u64,
    noted: u64,
    synced: u64,
    fault: Option<String>,
}

/// A recording that has come to its end.
#[derive(Debug, Clone)]
pub struct WrittenTake {
    /// From where.
    pub source: Source,
    /// Its file; none when nothing was recorded.
    pub path: Option<PathBuf>,
    /// Where on the recording's timeline it was played.
    pub places: Vec<Anchor>,
    /// What is surely kept of it.
    pub length: Span,
    /// When it ended.
    pub ended: Moment,
    /// Why it stopped early.
    pub fault: Option<String>,
}

fn folder(source: Source) -> PathBuf {
    data_dir().join(match source {
        Source::Track => "recordings",
        Source::Take => "takes",
    })
}

impl Recorder {
    /// Starts a file of its own in the data folder, recorded `against` what is open.
    ///
    /// # Errors
    /// When the folder or the file cannot be made.
    pub fn start(
        source: Source,
        receiver: Receiver,
        against: Option<ContentHash>,
    ) -> io::Result<Self> {
        let dir = folder(source);
        std::fs::create_dir_all(&dir)?;
        let what = match source {
            Source::Track => "recording",
            Source::Take => "take",
        };
        let (path, file) = fresh_file(&dir, what)?;
        let spec = WavSpec {
            channels: 2,
            sample_rate: receiver.rate(),
            bits_per_sample: 32,
            sample_format: SampleFormat::Float,
        };
        let same = file.try_clone()?;
        let writer = WavWriter::new(BufWriter::new(file), spec).map_err(io::Error::other)?;
        let recorder = Self {
            source,
            receiver,
            path,
            against,
            writer: Some(writer),
            file: same,
            places: Vec::new(),
            kept: Vec::new(),
            frames: Vec::new(),
            played: Vec::new(),
            written: 0,
            flushed: 0,
            noted: 0,
            synced: 0,
            fault: None,
        };
        // The note only helps to find the file again: without it the sound is recorded all the same.
        let _ = recorder.note(false);
        Ok(recorder)
    }

    /// What it is recorded against has become known: a recording plays before it is read to its end.
    pub fn belongs_to(&mut self, recording: ContentHash) {
        if self.against.is_none() {
            self.against = Some(recording);
            let _ = self.note(false);
        }
    }

    /// The player keeps the round that is played `at` this length of the take: written down at once.
    pub fn keep_round(&mut self, at: Span) {
        self.kept.push(at);
        let _ = self.note(false);
    }

    /// Takes over what has been recorded and writes it; the frames are in `heard` too where
    /// somebody wants them.
    pub fn tend(&mut self, heard: Option<&mut Vec<[f32; 2]>>) {
        self.frames.clear();
        self.played.clear();
        self.receiver
            .drain_beside(&mut self.frames, &mut self.played, &mut self.places);
        if let Some(heard) = heard {
            heard.extend_from_slice(&self.frames);
        }
        if let Err(error) = self.write() {
            self.fault = Some(error.to_string());
            self.writer = None;
            self.written = self.flushed;
        }
    }

    /// What the last call of [`tend`](Self::tend) took over: the frames, and what the deck played meanwhile.
    pub fn fresh(&self) -> (&[[f32; 2]], &[f32]) {
        (&self.frames, &self.played)
    }

    fn write(&mut self) -> Result<(), hound::Error> {
        let Some(writer) = &mut self.writer else {
            return Ok(());
        };
        for &sample in self.frames.iter().flatten() {
            writer.write_sample(sample)?;
        }
        self.written += self.frames.len() as u64;
        let rate = u64::from(self.receiver.rate());
        if self.written - self.flushed >= rate / 10 {
            writer.flush()?;
            self.flushed = self.written;
        }
        if self.written - self.noted >= rate / 2 {
            self.noted = self.written;
            let _ = self.note(false);
        }
        if self.written - self.synced >= rate {
            self.synced = self.written;
            self.file.sync_data()?;
        }
        Ok(())
    }

    fn note(&self, left: bool) -> io::Result<()> {
        let note = Note {
            recording: self.against,
            places: self.places.clone(),
            kept: self.kept.clone(),
            left,
            process: Some(std::process::id()),
        };
        write_whole(
            &self.path.with_extension(NOTE),
            &serde_json::to_vec(&note).map_err(io::Error::other)?,
        )
    }

    /// Has the audio thread let go, and is everything written?
    pub fn finished(&self) -> bool {
        self.receiver.finished() || self.fault.is_some()
    }

    /// Length so far.
    pub fn length(&self) -> Span {
        Span(self.written as f64 / f64::from(self.receiver.rate()))
    }

    /// Frames written so far.
    pub fn frames(&self) -> u64 {
        self.written
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.receiver.rate()
    }

    /// Closes the file, or removes it when nothing was recorded. The note of a take stays until
    /// [`kept`] takes it away.
    pub fn close(mut self) -> WrittenTake {
        self.finish();
        if self.written == 0 || self.source == Source::Track {
            kept(&self.path);
        } else {
            let _ = self.note(false);
        }
        if self.written == 0 {
            let _ = std::fs::remove_file(&self.path);
        }
        WrittenTake {
            source: self.source,
            length: self.length(),
            path: (self.written > 0).then_some(self.path),
            places: self.places,
            ended: Moment::now(),
            fault: self.fault,
        }
    }

    /// Its instance goes while it records: what has been recorded is written, and the note says
    /// that it may be taken up.
    pub fn leave(mut self) {
        self.tend(None);
        self.finish();
        if self.written == 0 {
            kept(&self.path);
            let _ = std::fs::remove_file(&self.path);
        } else {
            let _ = self.note(true);
        }
    }

    fn finish(&mut self) {
        if let Some(writer) = self.writer.take()
            && let Err(error) = writer.finalize()
        {
            self.fault = Some(error.to_string());
            self.written = self.flushed;
        }
    }
}

/// The recording at `path` is safe: its note goes.
pub fn kept(path: &Path) {
    let _ = std::fs::remove_file(path.with_extension(NOTE));
}

/// Whoever has this take not kept yet is still there.
pub fn renew(path: &Path) {
    if let Ok(note) = File::options().append(true).open(path.with_extension(NOTE)) {
        let _ = note.set_modified(SystemTime::now());
    }
}

/// Whoever has this take not kept yet goes: it may be taken up.
pub fn leave(path: &Path) {
    let path = path.with_extension(NOTE);
    let note = std::fs::read(&path).ok();
    let Some(mut note) = note.and_then(|n| serde_json::from_slice::<Note>(&n).ok()) else {
        return;
    };
    note.left = true;
    if let Ok(bytes) = serde_json::to_vec(&note) {
        let _ = write_whole(&path, &bytes);
    }
}

/// A recording found again.
#[derive(Debug, Clone)]
pub struct RecoveredTake {
    /// Its file.
    pub path: PathBuf,
    /// Where on the recording's timeline it was played.
    pub places: Vec<Anchor>,
    /// How far it had come at each round that its player kept.
    pub kept: Vec<Span>,
    /// When it ended.
    pub ended: Moment,
}

/// Recordings that were cut short (the program was killed, the power went) or never kept, and that
/// belong to the recording `against`. Each is found once.
pub fn left_over(source: Source, against: Option<ContentHash>) -> Vec<RecoveredTake> {
    let Ok(entries) = std::fs::read_dir(folder(source)) else {
        return Vec::new();
    };
    let mut found: Vec<_> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e == NOTE))
        .filter_map(|path| {
            let mut note: Note = serde_json::from_slice(&std::fs::read(&path).ok()?).ok()?;
            let sound = path.with_extension("wav");
            let ours = source == Source::Track || note.recording == against;
            let gone = note.process.and_then(system::is_running) == Some(false);
            let free = note.left || gone || abandoned(&path);
            // Whoever removes the note has found it: two instances do not both take it.
            let first = ours && free && std::fs::remove_file(&path).is_ok();
            if first && source == Source::Take {
                // And has it to keep from now on.
                note.left = false;
                note.process = Some(std::process::id());
                let bytes = serde_json::to_vec(&note).ok()?;
                let _ = write_whole(&path, &bytes);
            }
            let ended = std::fs::metadata(&sound).and_then(|m| m.modified()).ok()?;
            let since = ended.duration_since(UNIX_EPOCH).ok()?;
            first.then_some(RecoveredTake {
                path: sound,
                places: note.places,
                kept: note.kept,
                ended: Moment(since.as_millis() as i64),
            })
        })
        .collect();
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found
}

fn abandoned(note: &Path) -> bool {
    let changed = std::fs::metadata(note).and_then(|m| m.modified()).ok();
    let age = changed.and_then(|at| SystemTime::now().duration_since(at).ok());
    age.is_some_and(|age| age > ABANDONED)
}

/// A new file named after the moment; two instances at once get two files.
fn fresh_file(dir: &Path, what: &str) -> io::Result<(PathBuf, File)> {
    let now = Moment::now().in_a_name();
    let mut last = io::Error::other("no free file name");
    for n in 0..1000 {
        let path = dir.join(format!("{what} {now} {n:03}.wav"));
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
