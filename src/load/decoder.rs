//! Decoding step by step: packets in, planar samples out.

use super::LoadError;
use super::edit::{self, EditList};
use super::guard::guarded;
use super::{foreign, opus, wide};
use crate::recording::{Recording, RecordingError, Spool};
use crate::stop;
use crate::unit::Seconds;
use std::fs::File;
use std::io::{Cursor, ErrorKind, Read, Seek};
use std::path::Path;
use std::sync::{Arc, LazyLock};
use symphonia::core::audio::GenericAudioBufferRef;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::codecs::registry::CodecRegistry;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackFlags};
use symphonia::core::io::{
    MediaSource, MediaSourceStream, MediaSourceStreamOptions, ReadOnlySource,
};
use symphonia::core::meta::MetadataOptions;

/// Most bytes of samples that one recording may hold: 1 GiB, about 50 minutes of stereo at
/// 44.1 kHz.
pub const MOST_BYTES: u64 = 1 << 30;

/// Bytes of samples that a long recording holds in memory while it is read; the rest goes to disk.
const HELD: u64 = 64 << 20;

/// Frames that go there at a time.
const SPILLED: usize = 1 << 16;

/// Sound decoded from a file is at most about this many times its size (32 kbit/s mono is 44);
/// a header that promises more is not believed until the sound is there.
const MOST_EXPANSION: u64 = 64;

/// Louder than this is no sound but damage (60 dB above full scale); such samples become silence.
const ABSURD: f32 = 1000.0;

/// Which part of a file is kept; the rest is decoded and dropped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// First instant kept.
    pub from: Seconds,
    /// First instant dropped again; none keeps all to the end.
    pub to: Option<Seconds>,
}

impl Part {
    /// All of it.
    pub const WHOLE: Self = Self {
        from: Seconds(0.0),
        to: None,
    };
}

/// A recording being read.
///
/// [`Decoder::step`] and [`Decoder::read_until`] read on, [`Decoder::prefix`] is what was read so
/// far as a recording of its own, [`Decoder::finish`] the whole.
pub struct Decoder {
    name: String,
    file_bytes: u64,
    format: Box<dyn FormatReader>,
    codec: Box<dyn AudioDecoder>,
    track: u32,
    part: Part,
    /// The encoder's lead-in and padding, where the file tells of them.
    edit: Option<EditList>,
    /// Frames the file says it has, lead-in included.
    promised: Option<u64>,
    rate: u32,
    channels: Vec<Vec<f32>>,
    /// May it be longer than memory holds?
    long: bool,
    /// What lies on disk already, before `channels`.
    spool: Option<Spool>,
    /// Frames decoded, kept or not.
    passed: u64,
    /// Frames of the last packet that could be decoded.
    block: usize,
    ended: bool,
    /// Packets that could not be decoded.
    lost: usize,
    /// Reading stopped before the end of the file, and why.
    cut: Option<String>,
}

impl Decoder {
    /// Opens the file at `path` and decodes its first sound; of the whole file, `part` is kept.
    ///
    /// # Errors
    /// [`LoadError`] when it cannot be opened, is no known format, holds no sound or is too long.
    pub fn open(path: &Path, part: Part) -> Result<Self, LoadError> {
        Self::open_as(path, part, false)
    }

    /// The same for a recording of any length: what would be too much for memory lies on disk.
    ///
    /// # Errors
    /// [`LoadError`] as for [`Decoder::open`], but none is too long.
    pub fn open_long(path: &Path, part: Part) -> Result<Self, LoadError> {
        Self::open_as(path, part, true)
    }

    fn open_as(path: &Path, part: Part, long: bool) -> Result<Self, LoadError> {
        let name = path.display().to_string();
        let (mut file, bytes) = open_file(path, &name)?;
        let extension = path.extension().and_then(|e| e.to_str());
        let seen = Seen::of(&mut file);
        let again = || {
            let mut file = file.try_clone().ok()?;
            file.rewind().ok()?;
            Some(file)
        };
        Self::new(name, &again, bytes, extension, (part, long), &seen)
    }

    /// Reads from bytes in memory; `name` stands for them in messages.
    ///
    /// # Errors
    /// As [`Decoder::open`].
    pub fn from_bytes(name: &str, bytes: Vec<u8>, part: Part) -> Result<Self, LoadError> {
        let length = bytes.len() as u64;
        let bytes: Arc<[u8]> = bytes.into();
        let seen = Seen::of(&mut Cursor::new(&bytes));
        let again = || Some(Cursor::new(Arc::clone(&bytes)));
        Self::new(name.to_owned(), &again, length, None, (part, false), &seen)
    }

    fn new<S: MediaSource + 'static>(
        name: String,
        again: &dyn Fn() -> Option<S>,
        file_bytes: u64,
        extension: Option<&str>,
        (part, long): (Part, bool),
        seen: &Seen,
    ) -> Result<Self, LoadError> {
        if file_bytes == 0 {
            return Err(LoadError::NoBytes { name });
        }
        if let Some(what) = seen.foreign {
            return Err(LoadError::Foreign { name, what });
        }
        let again = || Some(wide::Narrow::new(again()?, seen.widths));
        // A cut-off file promises more than it has; read strictly forward, what is there counts.
        let probed = match probe(again(), extension) {
            Probed::Opened(opened) => Probed::Opened(opened),
            _ => probe(again().map(ReadOnlySource::new), extension),
        };
        let Opened {
            format,
            codec,
            track,
            promised,
            lead,
        } = match probed {
            Probed::Opened(opened) => opened,
            Probed::Undecodable => {
                let what = "a file whose sound is in a coding of its own";
                return Err(LoadError::Foreign { name, what });
            }
            Probed::Mute => return Err(LoadError::Empty { name }),
            Probed::Unknown => return Err(LoadError::NotAudio { name }),
        };
        let edit = seen
            .edit
            .or(lead.map(|lead| EditList { lead, length: None }));
        let mut decoder = Self {
            name,
            file_bytes,
            format,
            codec,
            track,
            part,
            edit,
            promised,
            rate: 0,
            channels: Vec::new(),
            long,
            spool: None,
            passed: 0,
            block: 0,
            ended: false,
            lost: 0,
            cut: None,
        };
        while decoder.rate == 0 && decoder.step()? {}
        if decoder.rate == 0 {
            return Err(decoder.nothing_read());
        }
        Ok(decoder)
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Number of channels.
    pub fn width(&self) -> usize {
        self.channels.len()
    }

    /// Frames kept so far.
    pub fn frames(&self) -> usize {
        self.spool.as_ref().map_or(0, Spool::frames) + self.channels[0].len()
    }

    /// How many frames will be kept, where the file's header tells.
    pub fn expected(&self) -> Option<usize> {
        let (from, to) = self.keep();
        let end = self.promised?.min(to);
        Some(end.saturating_sub(from) as usize)
    }

    /// What has been read of what will be, 0 to 1; none where the file does not tell its length.
    pub fn share(&self) -> Option<f64> {
        let (_, to) = self.keep();
        let end = self.promised?.min(to).max(1);
        Some((self.passed as f64 / end as f64).min(1.0))
    }

    /// Plain sentences about what could not be read, and about samples set to silence.
    pub fn warnings(&self) -> Vec<String> {
        let mut all = Vec::new();
        if self.lost > 0 {
            let stretches = if self.lost == 1 {
                "stretch"
            } else {
                "stretches"
            };
            all.push(format!(
                "`{}` is damaged: {} short {stretches} of it became silence",
                self.name, self.lost
            ));
        }
        if let Some(why) = &self.cut {
            all.push(format!(
                "`{}` is cut off after {:.1} s ({why}): only what lies before is used",
                self.name,
                self.reached().0
            ));
        }
        all
    }

    /// Reads on until the kept part reaches `until` (counted from its own beginning); false once
    /// there is nothing more to read.
    ///
    /// # Errors
    /// As [`Decoder::step`].
    pub fn read_until(&mut self, until: Seconds) -> Result<bool, LoadError> {
        let frames = until.frame(self.rate);
        while self.frames() < frames {
            if !self.step()? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Decodes the next packet; false once there is nothing more to read.
    ///
    /// A packet that cannot be decoded becomes silence of a packet's length, so that all that
    /// follows stays in time ([`Decoder::warnings`]).
    ///
    /// # Errors
    /// [`LoadError::TooLong`] when the recording outgrows [`MOST_BYTES`], [`LoadError::Rate`].
    pub fn step(&mut self) -> Result<bool, LoadError> {
        if self.ended {
            return Ok(false);
        }
        let packet = match guarded(|| self.format.next_packet()) {
            Some(Ok(Some(packet))) => packet,
            Some(Ok(None)) => return Ok(self.end(None)),
            Some(Err(error)) => return Ok(self.end(Some(reason(&error)))),
            None => return Ok(self.end(Some("its data are damaged there".to_owned()))),
        };
        if packet.track_id != self.track {
            return Ok(true);
        }
        match guarded(|| self.codec.decode(&packet)) {
            Some(Ok(sound)) => {
                let spec = sound.spec();
                let (rate, width, frames) = (spec.rate(), spec.channels().count(), sound.frames());
                if frames == 0 || width == 0 {
                    return Ok(true);
                }
                if self.rate == 0 {
                    check_rate(&self.name, rate)?;
                    self.rate = rate;
                    self.channels = vec![Vec::new(); width];
                    self.block = frames;
                } else if rate != self.rate || width != self.channels.len() {
                    return Ok(self.end(Some("its rate or channels change there".to_owned())));
                }
                append(&mut self.channels, &sound, frames);
                self.block = frames;
                self.accept(frames)?;
            }
            Some(Err(Error::DecodeError(_) | Error::IoError(_))) => {
                self.lost += 1;
                if self.rate > 0 {
                    let frames = self.block;
                    for channel in &mut self.channels {
                        channel.resize(channel.len() + frames, 0.0);
                    }
                    self.accept(frames)?;
                }
            }
            Some(Err(error)) => return Ok(self.end(Some(reason(&error)))),
            None => return Ok(self.end(Some("its data are damaged there".to_owned()))),
        }
        Ok(!self.ended)
    }

    /// Marks the end of reading; always false.
    fn end(&mut self, cut: Option<String>) -> bool {
        self.ended = true;
        self.cut = cut;
        false
    }

    /// First frame to keep and first to drop again, of all that the file decodes to.
    fn keep(&self) -> (u64, u64) {
        let frames = |seconds: f64| Seconds(seconds).frame(self.rate) as u64;
        let lead = self.lead();
        let length = self.edit.and_then(|e| e.length).map_or(u64::MAX, frames);
        let from = frames(self.part.from.0);
        let to = self.part.to.map_or(u64::MAX, |t| frames(t.0)).min(length);
        (lead.saturating_add(from), lead.saturating_add(to.max(from)))
    }

    /// Frames before the sound begins.
    fn lead(&self) -> u64 {
        let lead = self.edit.map_or(0.0, |e| e.lead);
        Seconds(lead).frame(self.rate) as u64
    }

    /// The instant up to which the file has been read.
    fn reached(&self) -> Seconds {
        let frames = self.passed.saturating_sub(self.lead());
        Seconds::of_frame(frames as usize, self.rate.max(1))
    }

    /// Takes in the last `frames` of every channel: drops what lies outside the part, clears
    /// absurd values, minds the limit.
    fn accept(&mut self, frames: usize) -> Result<(), LoadError> {
        let (from, to) = self.keep();
        let (start, end) = (self.passed, self.passed + frames as u64);
        let old = self.channels[0].len() - frames;
        let head = (from.clamp(start, end) - start) as usize;
        let tail = (to.clamp(start, end) - start) as usize;
        for channel in &mut self.channels {
            channel.truncate(old + tail.max(head));
            channel.drain(old..old + head);
            for sample in channel[old..].iter_mut().filter(|s| s.abs() > ABSURD) {
                *sample = f32::NAN; // the recording counts it and makes it silence
            }
        }
        self.passed = end;
        self.ended = end >= to;
        let most = self.most_frames();
        if start == 0 {
            self.prepare(most)?;
        }
        if self.long {
            return self.spill(self.held_frames());
        }
        if self.frames() as u64 > most {
            return Err(self.too_long());
        }
        Ok(())
    }

    /// Puts what is held on disk, where it is more than `most` frames or follows what is there.
    fn spill(&mut self, most: u64) -> Result<(), LoadError> {
        let held = self.channels[0].len();
        if held as u64 <= most && (self.spool.is_none() || held < SPILLED) {
            return Ok(());
        }
        let name = &self.name;
        let full = |why| LoadError::Disk {
            name: name.clone(),
            why,
        };
        let mut spool = match self.spool.take() {
            Some(spool) => spool,
            None => Spool::new(self.channels.len()).map_err(full)?,
        };
        for from in (0..held).step_by(SPILLED) {
            stop::check();
            let to = held.min(from + SPILLED);
            let part: Vec<&[f32]> = self.channels.iter().map(|c| &c[from..to]).collect();
            spool.push(&part).map_err(full)?;
        }
        self.spool = Some(spool);
        for channel in &mut self.channels {
            channel.clear();
            channel.shrink_to(SPILLED);
        }
        Ok(())
    }

    /// At the first sound: refuses what is too long by its own header, reserves room for the rest.
    fn prepare(&mut self, most: u64) -> Result<(), LoadError> {
        let Some(expected) = self.expected() else {
            return Ok(());
        };
        let plausible = self.file_bytes.saturating_mul(MOST_EXPANSION) / self.frame_bytes();
        let most = if self.long { self.held_frames() } else { most };
        if !self.long && expected as u64 > most && self.promised.is_some_and(|p| p <= plausible) {
            return Err(self.too_long());
        }
        let room = (expected as u64).min(most).min(plausible) as usize;
        for channel in &mut self.channels {
            let more = room.saturating_sub(channel.len());
            let _ = channel.try_reserve_exact(more); // without it the vector grows step by step
        }
        Ok(())
    }

    fn frame_bytes(&self) -> u64 {
        4 * self.channels.len().max(1) as u64
    }

    fn held_frames(&self) -> u64 {
        HELD / self.frame_bytes()
    }

    fn most_frames(&self) -> u64 {
        MOST_BYTES / self.frame_bytes()
    }

    fn too_long(&self) -> LoadError {
        LoadError::TooLong {
            name: self.name.clone(),
            most: Seconds::of_frame(self.most_frames() as usize, self.rate),
        }
    }

    fn nothing_read(&self) -> LoadError {
        let name = self.name.clone();
        match &self.cut {
            Some(why) => LoadError::Damaged {
                name,
                why: why.clone(),
            },
            None if self.lost > 0 => LoadError::Damaged {
                name,
                why: "its sound data are damaged".to_owned(),
            },
            None => LoadError::Empty { name },
        }
    }

    /// What was read so far, copied into a recording of its own.
    ///
    /// # Errors
    /// [`LoadError::Outside`] while nothing of the part has been reached.
    pub fn prefix(&self) -> Result<Recording, LoadError> {
        let copied = |channel: &Vec<f32>| {
            let mut copy = Vec::with_capacity(channel.len());
            for block in channel.chunks(SPILLED) {
                stop::check();
                copy.extend_from_slice(block);
            }
            copy
        };
        self.recording(self.channels.iter().map(copied).collect())
    }

    /// Ends reading; all that was read is the recording.
    ///
    /// # Errors
    /// [`LoadError::Outside`] when the part lies after the end.
    pub fn finish(mut self) -> Result<Recording, LoadError> {
        if self.spool.is_some() {
            self.spill(0)?;
        }
        if let Some(spool) = self.spool.take() {
            return Recording::spooled(self.name.clone(), self.rate, spool)
                .map_err(|error| self.refused(error));
        }
        let mut channels = std::mem::take(&mut self.channels);
        channels.iter_mut().for_each(Vec::shrink_to_fit);
        self.recording(channels)
    }

    fn recording(&self, channels: Vec<Vec<f32>>) -> Result<Recording, LoadError> {
        Recording::new(self.name.clone(), self.rate, channels).map_err(|error| self.refused(error))
    }

    fn refused(&self, error: RecordingError) -> LoadError {
        let name = self.name.clone();
        match error {
            RecordingError::Rate(rate) => LoadError::Rate { name, rate },
            RecordingError::Disk(why) => LoadError::Disk {
                name,
                why: std::io::Error::other(why),
            },
            _ if self.part == Part::WHOLE => LoadError::Empty { name },
            _ => LoadError::Outside {
                name,
                from: self.part.from,
                end: self.reached(),
            },
        }
    }
}

/// Opens a file for reading; its length in bytes.
fn open_file(path: &Path, name: &str) -> Result<(File, u64), LoadError> {
    let unreadable = |why: std::io::Error| match why.kind() {
        ErrorKind::NotFound => LoadError::Missing {
            name: name.to_owned(),
        },
        _ => LoadError::Unreadable {
            name: name.to_owned(),
            why,
        },
    };
    let facts = std::fs::metadata(path).map_err(unreadable)?;
    if facts.is_dir() {
        return Err(LoadError::Folder {
            name: name.to_owned(),
        });
    }
    if !facts.is_file() {
        return Err(LoadError::NotAudio {
            name: name.to_owned(),
        });
    }
    Ok((File::open(path).map_err(unreadable)?, facts.len()))
}

/// What is read of a file's own structure before its format is known.
struct Seen {
    edit: Option<EditList>,
    widths: Option<wide::Widths>,
    /// A format that is not read.
    foreign: Option<&'static str>,
}

impl Seen {
    fn of(source: &mut (impl Read + Seek)) -> Self {
        let mut head = Vec::new();
        let read = source.rewind().and_then(|()| {
            let mut first = source.by_ref().take(16);
            first.read_to_end(&mut head)
        });
        Self {
            foreign: read.ok().and_then(|_| foreign::name(&head)),
            edit: edit::read(source),
            widths: wide::read(source),
        }
    }
}

/// A sound track that can be decoded.
struct Opened {
    format: Box<dyn FormatReader>,
    codec: Box<dyn AudioDecoder>,
    track: u32,
    /// Its length in frames, where it tells.
    promised: Option<u64>,
    /// Seconds before the sound, where the track and not the file tells of them.
    lead: Option<f64>,
}

/// Every codec there is a decoder for.
static CODECS: LazyLock<CodecRegistry> = LazyLock::new(|| {
    let mut codecs = CodecRegistry::new();
    symphonia::default::register_enabled_codecs(&mut codecs);
    codecs.register_audio_decoder::<opus::Opus>();
    codecs
});

/// What a look at a file's beginning came to.
enum Probed {
    Opened(Opened),
    /// A known format, whose sound is in a coding that is not.
    Undecodable,
    /// A known format without a sound track.
    Mute,
    Unknown,
}

/// Finds the format and the first sound track with a known codec.
fn probe(source: Option<impl MediaSource + 'static>, extension: Option<&str>) -> Probed {
    let Some(source) = source else {
        return Probed::Unknown;
    };
    let mut hint = Hint::new();
    if let Some(extension) = extension {
        hint.with_extension(extension);
    }
    let stream = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
    let (options, about) = (FormatOptions::default(), MetadataOptions::default());
    let probe = symphonia::default::get_probe();
    let Some(Ok(format)) = guarded(|| probe.probe(&hint, stream, options, about)) else {
        return Probed::Unknown;
    };
    let mut mute = true;
    let mut tracks: Vec<_> = format.tracks().iter().collect();
    tracks.sort_by_key(|track| !track.flags.contains(TrackFlags::DEFAULT));
    for track in tracks {
        let Some(parameters) = track.codec_params.as_ref().and_then(|p| p.audio()) else {
            continue;
        };
        mute = false;
        let options = AudioDecoderOptions::default();
        if let Some(Ok(codec)) = guarded(|| CODECS.make_audio_decoder(parameters, &options)) {
            let skip = opus::lead(parameters, track.delay);
            let (track, promised) = (track.id, track.num_frames);
            return Probed::Opened(Opened {
                lead: skip.map(|frames| f64::from(frames) / f64::from(opus::RATE)),
                track,
                promised,
                codec,
                format,
            });
        }
    }
    if mute {
        Probed::Mute
    } else {
        Probed::Undecodable
    }
}

fn check_rate(name: &str, rate: u32) -> Result<(), LoadError> {
    if (8_000..=192_000).contains(&rate) {
        Ok(())
    } else {
        Err(LoadError::Rate {
            name: name.to_owned(),
            rate,
        })
    }
}

/// Appends the decoded `frames` to every channel as f32.
fn append(channels: &mut [Vec<f32>], sound: &GenericAudioBufferRef<'_>, frames: usize) {
    let mut places: Vec<&mut [f32]> = channels
        .iter_mut()
        .map(|channel| {
            let start = channel.len();
            channel.resize(start + frames, 0.0);
            &mut channel[start..]
        })
        .collect();
    sound.copy_to_slice_planar(&mut places);
}

/// A decoder's reason in plain words.
fn reason(error: &Error) -> String {
    match error {
        Error::IoError(why) if why.kind() == ErrorKind::UnexpectedEof => {
            "the file ends in the middle".to_owned()
        }
        Error::ResetRequired => "another recording begins there".to_owned(),
        other => other.to_string(),
    }
}
