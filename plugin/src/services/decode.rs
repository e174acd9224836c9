//! Reading recordings: growing parts that already play, then the whole; finding one that is
//! missing; writing the built-in piece.

use super::cache::{self, FileKey};
use crate::data::{data_dir, name_of};
use crate::job::Cancel;
use crate::onsets;
use crate::snapshot::Peaks;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::deck::resample::{ResampleError, to_rate};
use thumbline::load::{Decoder, LoadError, Part as Stretch};
use thumbline::recording::{ContentHash, Recording};
use thumbline::stretch::OnsetTable;
use thumbline::unit::{Seconds, Span};

/// Stretches in an outline.
const OUTLINE: usize = 3000;

/// What can be asked.
#[derive(Debug, Clone)]
pub enum Job {
    /// Read a file at the host's rate.
    Open(Box<Open>),
    /// Does the file at `path` sound like the missing recording?
    Locate {
        /// Where it may be.
        path: PathBuf,
        /// Identity of the missing one, where it is known.
        hash: Option<ContentHash>,
    },
    /// Write the built-in piece into the data folder, once.
    Demo,
    /// Read a recording at its own rate once more, to be analysed again.
    Again {
        /// Its file.
        path: PathBuf,
        /// Its identity.
        hash: ContentHash,
        /// Its sound at the host's rate, for when the file cannot be read any more.
        sound: Arc<Recording>,
    },
}

/// A file to be read at the host's rate.
#[derive(Debug, Clone)]
pub struct Open {
    /// The file.
    pub path: PathBuf,
    /// The host's rate in Hz.
    pub rate: u32,
    /// Length of the first part that plays: it reaches beyond the place where it starts.
    pub first: Seconds,
    /// What was heard in it, where it was analysed before.
    pub heard: Option<Arc<Analysis>>,
    /// Its whole sound at another rate: if the file cannot be read any more, a change of rate need
    /// not silence it.
    pub in_memory: Option<(Arc<Recording>, ContentHash)>,
}

/// A sound at the host's rate, ready to be played and drawn.
#[derive(Debug, Clone)]
pub struct Part {
    /// The sound.
    pub sound: Arc<Recording>,
    /// Where the stretch engine keeps it sharp.
    pub onsets: Arc<OnsetTable>,
    /// Its outline.
    pub peaks: Arc<Peaks>,
    /// Share of the whole, 0 to 1; none when the length is unknown.
    pub progress: Option<f32>,
}

/// What comes of it.
#[derive(Debug, Clone)]
pub enum Answer {
    /// A part from the start is there; a longer one follows.
    Part(Part),
    /// All of it is there.
    Whole {
        /// At the host's rate.
        part: Part,
        /// At the file's own rate.
        original: Arc<Recording>,
        /// Identity of the sound.
        hash: ContentHash,
        /// What is to be known about the file.
        warnings: Vec<String>,
    },
    /// There is no such file.
    Gone,
    /// It cannot be read: why.
    Failed(String),
    /// The missing recording is here.
    Located(PathBuf),
    /// The file is not the missing recording, or no recording: why.
    NotLocated(String),
    /// The built-in piece lies here.
    Demo(PathBuf),
    /// A recording at its own rate (or at the host's, where it is all there is).
    Again(Arc<Recording>),
}

/// One job under way.
pub struct Reader {
    job: Job,
    stage: Stage,
}

enum Stage {
    Opening,
    Growing {
        decoder: Box<Decoder>,
        key: Option<FileKey>,
        until: Seconds,
    },
    Fitting {
        original: Arc<Recording>,
        key: Option<FileKey>,
        hash: Option<ContentHash>,
        warnings: Vec<String>,
    },
    Done,
}

impl Reader {
    /// Nothing is read yet.
    pub fn new(job: Job) -> Self {
        Self {
            job,
            stage: Stage::Opening,
        }
    }

    /// One step; true while there are more. Between steps other recordings have their turn.
    pub fn step(&mut self, cancel: &Cancel, say: &mut dyn FnMut(Answer)) -> bool {
        if cancel.is_cancelled() {
            return false;
        }
        match &self.job {
            Job::Open(open) => {
                let open = open.clone();
                let stage = std::mem::replace(&mut self.stage, Stage::Done);
                match advance(&open, stage, cancel, say) {
                    Ok(next) => self.stage = next,
                    Err(reason) => say(Answer::Failed(reason)),
                }
                !matches!(self.stage, Stage::Done)
            }
            Job::Locate { path, hash } => {
                match (read_whole(path, cancel), hash) {
                    (Ok(None), _) => {}
                    (Ok(Some(sound)), Some(hash)) if sound.hash() != *hash => {
                        say(Answer::NotLocated(format!(
                            "{} is another recording: it does not sound like the missing one",
                            name_of(path)
                        )));
                    }
                    (Ok(Some(_)), _) => say(Answer::Located(path.clone())),
                    (Err(error), _) => say(Answer::NotLocated(error.to_string())),
                }
                false
            }
            Job::Demo => {
                match write_demo(cancel) {
                    Ok(Some(path)) => say(Answer::Demo(path)),
                    Ok(None) => {}
                    Err(reason) => say(Answer::Failed(reason)),
                }
                false
            }
            Job::Again { path, hash, sound } => {
                let own = match read_whole(path, cancel) {
                    Ok(Some(own)) if own.hash() == *hash && own.rate() != sound.rate() => {
                        Arc::new(own)
                    }
                    _ => Arc::clone(sound),
                };
                say(Answer::Again(own));
                false
            }
        }
    }
}

/// A whole file; none when it was given up.
///
/// # Errors
/// When it cannot be read.
pub fn read_whole(path: &Path, cancel: &Cancel) -> Result<Option<Recording>, LoadError> {
    let mut decoder = Decoder::open(path, Stretch::WHOLE)?;
    while decoder.step()? {
        if cancel.is_cancelled() {
            return Ok(None);
        }
    }
    decoder.finish().map(Some)
}

fn advance(
    open: &Open,
    stage: Stage,
    cancel: &Cancel,
    say: &mut dyn FnMut(Answer),
) -> Result<Stage, String> {
    match stage {
        Stage::Opening => opened(open, cancel, say),
        Stage::Growing {
            mut decoder,
            key,
            until,
        } => {
            let frames = until.frame(decoder.rate());
            let mut more = true;
            while more && decoder.frames() < frames {
                more = decoder.step().map_err(|e| e.to_string())?;
                if cancel.is_cancelled() {
                    return Ok(Stage::Done);
                }
            }
            if !more {
                let mut warnings = decoder.warnings();
                let original = Arc::new(decoder.finish().map_err(|e| e.to_string())?);
                warnings.extend(lone_side(&original));
                return Ok(Stage::Fitting {
                    original,
                    key,
                    hash: None,
                    warnings,
                });
            }
            if cancel.is_cancelled() {
                return Ok(Stage::Done);
            }
            let prefix = Arc::new(decoder.prefix().map_err(|e| e.to_string())?);
            let progress = decoder.share().map(|s| s as f32);
            let sound = fitted(&prefix, open.rate, cancel)?;
            let part = sound.and_then(|sound| part(open, sound, progress, cancel));
            if let Some(part) = part {
                say(Answer::Part(part));
            }
            Ok(Stage::Growing {
                decoder,
                key,
                until: Seconds(until.0 * 2.0),
            })
        }
        Stage::Fitting {
            original,
            key,
            hash,
            warnings,
        } => {
            let hash = hash.unwrap_or_else(|| original.hash());
            let sound = fitted(&original, open.rate, cancel)?;
            let sound = sound.map(|sound| cache::share(key, hash, sound));
            if let Some(part) = sound.and_then(|s| part(open, s, Some(1.0), cancel)) {
                say(Answer::Whole {
                    part,
                    original,
                    hash,
                    warnings,
                });
            }
            Ok(Stage::Done)
        }
        Stage::Done => Ok(Stage::Done),
    }
}

/// The file is opened, or its sound is in the cache already.
fn opened(open: &Open, cancel: &Cancel, say: &mut dyn FnMut(Answer)) -> Result<Stage, String> {
    let key = FileKey::of(&open.path);
    if let Some((sound, hash)) = key.as_ref().and_then(|k| cache::by_file(k, open.rate)) {
        if let Some(part) = part(open, Arc::clone(&sound), Some(1.0), cancel) {
            say(Answer::Whole {
                part,
                original: sound,
                hash,
                warnings: Vec::new(),
            });
        }
        return Ok(Stage::Done);
    }
    let error = match Decoder::open(&open.path, Stretch::WHOLE) {
        Ok(decoder) => {
            return Ok(Stage::Growing {
                decoder: Box::new(decoder),
                key,
                until: open.first,
            });
        }
        Err(error) => error,
    };
    if let Some((sound, hash)) = &open.in_memory {
        return Ok(Stage::Fitting {
            original: Arc::clone(sound),
            key,
            hash: Some(*hash),
            warnings: vec![format!(
                "{} cannot be read any more; it plays on from memory until it is closed",
                name_of(&open.path)
            )],
        });
    }
    if open.path.is_file() {
        return Err(error.to_string());
    }
    say(Answer::Gone);
    Ok(Stage::Done)
}

fn fitted(
    sound: &Arc<Recording>,
    rate: u32,
    cancel: &Cancel,
) -> Result<Option<Arc<Recording>>, String> {
    if sound.rate() == rate {
        return Ok(Some(Arc::clone(sound)));
    }
    match to_rate(sound, rate, || !cancel.is_cancelled()) {
        Ok(fitted) => Ok(Some(Arc::new(fitted))),
        Err(ResampleError::Cancelled) => Ok(None),
        Err(error) => Err(error.to_string()),
    }
}

/// A sound with all that belongs to it; none where it was given up.
fn part(
    open: &Open,
    sound: Arc<Recording>,
    progress: Option<f32>,
    cancel: &Cancel,
) -> Option<Part> {
    if cancel.is_cancelled() {
        return None;
    }
    let onsets = match &open.heard {
        Some(heard) => onsets::of_notes(heard, &sound),
        None => onsets::read(&sound, cancel)?,
    };
    Some(Part {
        onsets,
        peaks: Arc::new(outline(&sound, cancel)?),
        sound,
        progress,
    })
}

/// Lowest and highest sample of equal stretches; none where it was given up.
fn outline(sound: &Recording, cancel: &Cancel) -> Option<Peaks> {
    let step = sound.frames().div_ceil(OUTLINE).max(1);
    let channels = sound.channels();
    let share = 1.0 / channels.len() as f32;
    let ends = |from: usize| {
        let to = (from + step).min(sound.frames());
        let mut ends = (f32::MAX, f32::MIN);
        for i in from..to {
            let s = channels.iter().map(|c| c[i]).sum::<f32>() * share;
            ends = (ends.0.min(s), ends.1.max(s));
        }
        (!cancel.is_cancelled()).then_some(ends)
    };
    let range = (0..sound.frames())
        .step_by(step)
        .map(ends)
        .collect::<Option<_>>()?;
    Some(Peaks {
        step: Span(step as f64 / f64::from(sound.rate())),
        range,
    })
}

/// Writes the built-in piece into the data folder, once; none when it was given up.
fn write_demo(cancel: &Cancel) -> Result<Option<PathBuf>, String> {
    let dir = data_dir().join("demo");
    let piece = thumbline::demo::recording(44_100).map_err(|e| e.to_string())?;
    let path = dir.join(format!("{}.wav", piece.recording.name()));
    if path.is_file() {
        return Ok(Some(path));
    }
    if cancel.is_cancelled() {
        return Ok(None);
    }
    std::fs::create_dir_all(&dir).map_err(|e| e.to_string())?;
    let spec = hound::WavSpec {
        channels: piece.recording.channels().len() as u16,
        sample_rate: piece.recording.rate(),
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let part = thumbline::report::file::PartialFile::beside(&path).map_err(|e| e.to_string())?;
    let write = || -> Result<(), hound::Error> {
        let mut writer = hound::WavWriter::create(part.path(), spec)?;
        for i in 0..piece.recording.frames() {
            for channel in piece.recording.channels() {
                writer.write_sample(channel[i])?;
            }
        }
        writer.finalize()
    };
    write().map_err(|e| e.to_string())?;
    part.keep().map_err(|e| e.to_string())?;
    Ok(Some(path))
}

/// What a player is told of a guitar on one side of a stereo recording.
fn lone_side(recording: &Recording) -> Option<String> {
    let side = match recording.lone_channel()? {
        0 => "left",
        1 => "right",
        _ => return None,
    };
    Some(format!(
        "The sound is on the {side} side only: choose the {side} side to hear it in both ears"
    ))
}
