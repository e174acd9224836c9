//! A part's loop at one speed, with the seam in it, as Opus in Ogg (RFC 6716, RFC 7845).
//!
//! What is embedded is the loop's second time round, with [`LEAD`] of sound before it that leads over
//! its seam: the codec settles on it, and the page fades the loop's end into it.

use super::contents::{Lesson, LessonError};
use super::part::{Part, Source};
use crate::dsp::pluck::Guitar;
use crate::dsp::resample::Resampler;
use crate::music::drill::Stage;
use crate::music::note::Note;
use crate::music::performance::{Manner, Performance};
use crate::parallel;
use crate::recording::Recording;
use crate::separate::{Balance, balanced};
use crate::stretch::{OnsetTable, Speed, Stretcher};
use crate::unit::{Bpm, Seconds, Span};
use opus_pure::{Application, MAX_PACKET_BYTES, OggOpusWriter, OpusEncoder, OpusHead, OpusTags};
use std::sync::Arc;

/// Frames a second of what is embedded: those of the codec.
pub(super) const RATE: u32 = 48_000;
/// Seconds of sound before a loop's beginning: the codec is exact after 80 ms (RFC 7845, 4.6), the
/// rest is for the fade.
pub(super) const LEAD: f64 = 0.12;
/// Bits a second for one channel and for two. Opus is hard to tell from its input from about 48 and
/// 64 kbit/s on (music, as its authors' listening tests have it; from memory); a hand alone is not
/// what it was anyway.
const MONO: i32 = 44_000;
const STEREO: i32 = 60_000;
const HAND: i32 = 28_000;
/// The plucked-string model has no room and no noise to encode.
const WRITTEN: i32 = 32_000;
/// Bytes that the phrase may take before it is encoded more tightly, down to this share of the rates
/// above: eight bars at four speeds stay below 3 MB with base64 and the page (8 × 4 beats at 60 a
/// minute, the slowest of it 64 s). The codec takes up to a fifth more than it is told of a strummed
/// guitar, and the page itself half a megabyte.
const ROOM: f64 = 1.5e6;
const TIGHTEST: f64 = 0.55;
/// Sound of a loop that is played before its seam, seconds of the recording: strings that ring
/// through the seam have begun by then.
const BEFORE_SEAM: f64 = 1.5;
/// Sound kept around the chosen bars, seconds.
const AROUND: f64 = 2.0;
/// Loudest sample of a part.
const PEAK: f32 = 0.89;
/// What the encoder may spend, 0 to 10: beyond this nothing is heard and it takes twice as long.
const EFFORT: i32 = 5;

/// What is heard of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Voice {
    Both,
    Thumb,
    Fingers,
}

impl Voice {
    pub fn name(self) -> &'static str {
        match self {
            Self::Both => "both",
            Self::Thumb => "thumb",
            Self::Fingers => "fingers",
        }
    }

    fn balance(self) -> Balance {
        Balance::at(match self {
            Self::Both => 0.0,
            Self::Thumb => -1.0,
            Self::Fingers => 1.0,
        })
    }
}

/// One loop as it is embedded.
#[derive(Debug, Clone)]
pub(super) struct Sounding {
    pub part: usize,
    pub voice: Voice,
    /// Index of its speed.
    pub speed: usize,
    pub ogg: Vec<u8>,
    /// Frames that it decodes to: lead and loop.
    pub frames: usize,
    /// Frames before them that a decoder leaves out, or should.
    pub skip: usize,
}

/// A loop to be made.
#[derive(Debug, Clone, Copy)]
struct Job {
    part: usize,
    voice: Voice,
    speed: usize,
}

/// Every loop of the page, part by part, voice by voice, slowest first.
pub(super) fn all(
    lesson: &Lesson<'_>,
    parts: &[Part],
    speeds: &[Speed],
    go_on: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Sounding>, LessonError> {
    let mut jobs = Vec::new();
    for (part, p) in parts.iter().enumerate() {
        let voices: &[Voice] = match p.source {
            Source::Recording => &[Voice::Both, Voice::Thumb, Voice::Fingers],
            Source::Written(..) => &[Voice::Both],
        };
        for &voice in voices {
            jobs.extend((0..speeds.len()).map(|speed| Job { part, voice, speed }));
        }
    }
    let hands = hands(lesson, &parts[0], go_on)?;
    let tight = tightness(&parts[0], speeds, hands[0].sound.channels().len());
    let made = parallel::map(&jobs, |job| {
        if !go_on() {
            return Err(LessonError::Cancelled);
        }
        let part = &parts[job.part];
        let speed = speeds[job.speed];
        let (channels, bits) = match &part.source {
            Source::Recording => {
                let cut = &hands[job.voice as usize];
                let bits = match (job.voice, cut.sound.channels().len()) {
                    (Voice::Both, 1) => MONO,
                    (Voice::Both, _) => STEREO,
                    _ => HAND,
                };
                (cut.looped(part, speed), (f64::from(bits) * tight) as i32)
            }
            Source::Written(stage, tempo) => (played(stage, *tempo, part, speed), WRITTEN),
        };
        let (ogg, skip) = opus(&channels, bits).map_err(|e| LessonError::Encoder(e.to_string()))?;
        Ok(Sounding {
            part: job.part,
            voice: job.voice,
            speed: job.speed,
            ogg,
            frames: channels[0].len(),
            skip,
        })
    });
    made.into_iter().collect()
}

/// Share of the usual rates at which the phrase is encoded.
fn tightness(part: &Part, speeds: &[Speed], width: usize) -> f64 {
    let both = if width == 1 { MONO } else { STEREO };
    let bits = f64::from(both + 2 * HAND);
    let seconds: f64 = speeds
        .iter()
        .map(|speed| (part.to - part.from).0 / speed.get())
        .sum();
    (ROOM * 8.0 / (bits * seconds).max(1.0)).clamp(TIGHTEST, 1.0)
}

/// The chosen bars with what lies around them.
struct Cut {
    sound: Arc<Recording>,
    onsets: Arc<OnsetTable>,
    /// Where it begins in the recording.
    origin: Seconds,
}

/// Both hands, the thumb alone, the fingers alone; at one level. A hand alone has one channel.
fn hands(
    lesson: &Lesson<'_>,
    part: &Part,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Cut>, LessonError> {
    let recording = lesson.phrase.recording;
    let rate = recording.rate();
    let first = Seconds((part.from.0 - AROUND).max(0.0)).frame(rate);
    let last = Seconds(part.to.0 + AROUND)
        .frame(rate)
        .min(recording.frames());
    let origin = Seconds::of_frame(first, rate);
    let mut channels: Vec<Vec<f32>> = recording
        .channels()
        .iter()
        .take(2)
        .map(|c| c[first..last].to_vec())
        .collect();
    let peak = channels.iter().flatten().fold(0f32, |p, s| p.max(s.abs()));
    let gain = if peak > 0.0 { PEAK / peak } else { 1.0 };
    channels.iter_mut().flatten().for_each(|s| *s *= gain);
    let both = Recording::new(recording.name(), rate, channels)?;
    let mono = Recording::new(recording.name(), rate, vec![both.mono()])?;
    let notes: Vec<Note> = lesson
        .phrase
        .heard
        .notes
        .iter()
        .filter(|n| n.time >= origin && n.time.frame(rate) < last)
        .map(|n| Note {
            time: Seconds((n.time - origin).0),
            end: Seconds((n.end - origin).0),
            ..n.clone()
        })
        .collect();
    let frames = notes.iter().map(|n| n.time.frame(rate)).collect();
    let onsets = Arc::new(OnsetTable::cleaned(frames, both.frames()));
    let cut = |sound: Recording| Cut {
        sound: Arc::new(sound),
        onsets: Arc::clone(&onsets),
        origin,
    };
    let alone = parallel::map(&[Voice::Thumb, Voice::Fingers], |voice| {
        balanced(&mono, &notes, voice.balance(), go_on)
    });
    let mut cuts = vec![cut(both)];
    for hand in alone {
        cuts.push(cut(hand.map_err(|_| LessonError::Cancelled)?));
    }
    Ok(cuts)
}

impl Cut {
    /// The loop of `part` at `speed`, lead first, at [`RATE`].
    fn looped(&self, part: &Part, speed: Speed) -> Vec<Vec<f32>> {
        let rate = self.sound.rate();
        let at = |time: Seconds| {
            let time = Seconds((time - self.origin).0.max(0.0));
            time.frame(rate).min(self.sound.frames())
        };
        let (from, to) = (at(part.from), at(part.to));
        let before = (BEFORE_SEAM * f64::from(rate)) as usize;
        let before = before.min(to - from);
        let mut reader = Stretcher::new(Arc::clone(&self.sound), Arc::clone(&self.onsets));
        reader.set_speed(speed);
        reader.set_loop(Some(from..to));
        reader.seek(to - before);
        let (lead, length) = (
            before as f64 / speed.get(),
            (to - from) as f64 / speed.get(),
        );
        // A little more than the loop, for the filter that changes the rate.
        let frames = (lead + length).ceil() as usize + 64;
        let mut out = vec![vec![0f32; frames]; self.sound.channels().len()];
        let mut slices: Vec<&mut [f32]> = out.iter_mut().map(Vec::as_mut_slice).collect();
        reader.process(&mut slices);
        let rate = f64::from(rate);
        resampled(&out, self.sound.rate(), lead / rate, length / rate)
    }
}

/// A written stage at `speed` by the plucked-string model: its second time round, lead first.
fn played(stage: &Stage, tempo: Bpm, part: &Part, speed: Speed) -> Vec<Vec<f32>> {
    let tempo = Bpm(tempo.0 * speed.get());
    let length = (part.to - part.from).0 / speed.get();
    let first = part.beats().next();
    let lead = first.map_or(0.0, |(at, _)| (at - part.from).0) / speed.get();
    let mut strokes = Vec::new();
    for round in 0..2 {
        let start = Span(lead + f64::from(round) * length);
        strokes.extend(Performance::of(&stage.score, &Manner::exact(tempo, start)).strokes);
    }
    let guitar = Guitar {
        rate: RATE,
        stereo: false,
        noise: None,
        seed: 1,
    };
    let mut channels = guitar.play(&strokes, Span(2.0 * length + 0.01)).channels;
    let peak = channels.iter().flatten().fold(0f32, |p, s| p.max(s.abs()));
    if peak > 0.0 {
        channels
            .iter_mut()
            .flatten()
            .for_each(|s| *s *= PEAK / peak);
    }
    resampled(&channels, RATE, length, length)
}

/// [`LEAD`] and `length` seconds of `sound` at [`RATE`], the loop beginning at `from` seconds.
fn resampled(sound: &[Vec<f32>], rate: u32, from: f64, length: f64) -> Vec<Vec<f32>> {
    let resampler = Resampler::new(rate, RATE);
    let frame = |seconds: f64| (seconds * f64::from(RATE)).round().max(0.0) as usize;
    let first = frame(from - LEAD);
    let last = first + frame(LEAD + length);
    sound
        .iter()
        .map(|channel| resampler.convert(channel, 0, first, last))
        .collect()
}

/// Planar `channels` (one or two of one length at [`RATE`]) at about `bits` a second, and the frames
/// that the decoder is to leave out at the start.
fn opus(channels: &[Vec<f32>], bits: i32) -> Result<(Vec<u8>, usize), opus_pure::Error> {
    const FRAME: usize = RATE as usize / 50;
    let width = channels.len();
    let total = channels[0].len();
    let mut encoder = OpusEncoder::new(RATE as i32, width, Application::Audio)?;
    encoder.bitrate_bps = bits;
    encoder.complexity = EFFORT;
    let head = OpusHead::for_encoder(&encoder, RATE);
    let skip = usize::from(head.pre_skip);
    // The serial is the same in every file, so that the same sound gives the same bytes.
    let mut writer = OggOpusWriter::with_serial(Vec::new(), head, OpusTags::new(), 1)?;
    let mut packet = vec![0u8; MAX_PACKET_BYTES];
    let mut block = vec![0f32; FRAME * width];
    // The encoder runs `skip` behind; so much silence more brings out the end.
    let frames = (total + skip).div_ceil(FRAME);
    for frame in 0..frames {
        for (i, sample) in block.iter_mut().enumerate() {
            let at = frame * FRAME + i / width;
            *sample = channels[i % width].get(at).copied().unwrap_or(0.0);
        }
        let size = encoder.encode(&block, FRAME, &mut packet)?;
        if frame + 1 == frames {
            // The stream says where the sound ends (RFC 7845, 4.4).
            let rest = skip + total - frame * FRAME;
            writer.write_packet_with_duration(&packet[..size], rest as u32)?;
        } else {
            writer.write_packet(&packet[..size])?;
        }
    }
    Ok((writer.finish()?, skip))
}
