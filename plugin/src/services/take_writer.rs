//! Recording: a thread of its own takes what the audio thread has recorded out of its ring and
//! writes it, many recordings side by side; it measures the round trip, and finds what was cut short.

use super::take_file::{self, Recorder, RecoveredTake, WrittenTake};
use crate::job::JobId;
use std::path::PathBuf;
use std::time::{Duration, Instant};
use thumbline::along::{Expected, Listener, Setting, Told};
use thumbline::deck::calibrate;
use thumbline::deck::capture::{Anchor, Receiver, Source};
use thumbline::dsp::string_pitch::StringPitch;
use thumbline::recording::ContentHash;
use thumbline::unit::{MidiNote, Span};

/// How often takes that nobody has kept yet are renewed.
const RENEW: Duration = Duration::from_secs(3);
/// How often the length of a recording is told.
const TELL: Duration = Duration::from_millis(100);

/// What a take is heard against while it is played.
pub struct ToHear {
    /// The recording's notes.
    pub expected: Vec<Expected>,
    /// The round trip, where it is known.
    pub latency: Option<Span>,
}

/// What can be asked.
pub enum Order {
    /// Write what comes out of the receiver, recorded against what is open.
    Record {
        /// From where.
        source: Source,
        /// The sound.
        receiver: Box<Receiver>,
        /// Identity of the recording, where it is known.
        against: Option<ContentHash>,
        /// Hear the take while it is played, where its notes are known: from its first frame, so the
        /// order comes with this one.
        along: Option<ToHear>,
    },
    /// Listen for the clicks of a calibration.
    Calibrate(Box<Receiver>),
    /// Hear how high the string sounds that is played.
    Tune(Box<Receiver>),
    /// What it is recorded against has become known.
    BelongsTo(ContentHash),
    /// Keep the sound of each round of the loop too, or no longer.
    Collect(bool),
    /// A round of the loop has ended: hand its sound over.
    Cut,
    /// The player keeps the round that is played at this length of the take.
    KeepRound(Span),
    /// The journal has this take.
    Kept(PathBuf),
    /// Find what was cut short or never kept.
    Find {
        /// Recordings of the track, or takes?
        source: Source,
        /// Of which recording.
        against: Option<ContentHash>,
    },
}

/// What comes of it.
#[derive(Debug, Clone)]
pub enum Answer {
    /// Nothing can be recorded: why.
    NotStarted(String),
    /// Length so far.
    Length(Span),
    /// It has come to its end.
    Done(Box<WrittenTake>),
    /// The sound of one round of the loop.
    Round {
        /// Left and right.
        frames: Vec<[f32; 2]>,
        /// In Hz.
        rate: u32,
        /// Frames of the take before it.
        before: u64,
        /// Where the take was played.
        places: Vec<Anchor>,
    },
    /// What was heard of a take while it is played.
    Along(Vec<Told>),
    /// The round trip; none where the clicks were not heard.
    RoundTrip(Option<Span>),
    /// How high the string sounds that is played; none while none is clear.
    Pitch(Option<MidiNote>),
    /// Strings are heard no longer.
    Tuned,
    /// What was cut short or never kept.
    Found(Source, Vec<RecoveredTake>),
}

struct Recording {
    instance: u64,
    id: JobId,
    recorder: Recorder,
    /// The round's sound, where somebody judges it.
    round: Option<Vec<[f32; 2]>>,
    /// Frames of the take before it.
    before: u64,
    along: Option<Along>,
    told: Instant,
}

/// Who hears a take while it is played.
struct Along {
    listener: Listener,
    /// Places of the take that the listener knows.
    known: usize,
}

impl Along {
    fn new(asked: ToHear, rate: u32) -> Option<Self> {
        let latency = asked.latency;
        Listener::new(asked.expected, &Setting { rate, latency })
            .map(|listener| Self { listener, known: 0 })
    }
}

impl Recording {
    /// Takes over what has been recorded, and has it heard.
    fn tend(&mut self, say: Say<'_>) {
        self.recorder.tend(self.round.as_mut());
        let Some(along) = &mut self.along else {
            return;
        };
        let (frames, played) = self.recorder.fresh();
        let mono: Vec<f32> = frames.iter().map(|[l, r]| 0.5 * (l + r)).collect();
        let places = &self.recorder.places[along.known..];
        let mut told = along.listener.feed(&mono, played, places);
        along.known = self.recorder.places.len();
        if self.recorder.finished() {
            told.extend(along.listener.finish());
            self.along = None;
        }
        if !told.is_empty() {
            say(self.instance, self.id, Answer::Along(told));
        }
    }
}

/// Somebody tunes.
struct Tuning {
    instance: u64,
    id: JobId,
    receiver: Box<Receiver>,
    heard: StringPitch,
    told: Option<MidiNote>,
}

impl Tuning {
    /// Hears what has come; false when it is over.
    fn tend(&mut self, say: Say<'_>) -> bool {
        let mut frames = Vec::new();
        self.receiver.drain(&mut frames, &mut Vec::new());
        let mono = frames.iter().map(|[left, right]| 0.5 * (left + right));
        if self.heard.hear(mono) && self.heard.pitch() != self.told {
            self.told = self.heard.pitch();
            say(self.instance, self.id, Answer::Pitch(self.told));
        }
        let over = self.receiver.finished();
        if over {
            say(self.instance, self.id, Answer::Tuned);
        }
        !over
    }
}

struct Calibration {
    instance: u64,
    id: JobId,
    receiver: Box<Receiver>,
    frames: Vec<[f32; 2]>,
    places: Vec<Anchor>,
}

/// All recordings of the process that are under way.
#[derive(Default)]
pub struct TakeWriter {
    recordings: Vec<Recording>,
    calibrations: Vec<Calibration>,
    tunings: Vec<Tuning>,
    /// Takes that are whole and not in the journal yet, by instance.
    unkept: Vec<(u64, PathBuf)>,
    renewed: Option<Instant>,
}

/// Says something to an instance about one of its jobs.
pub type Say<'a> = &'a mut dyn FnMut(u64, JobId, Answer);

impl TakeWriter {
    /// Is anything to be looked after?
    pub fn is_idle(&self) -> bool {
        self.recordings.is_empty()
            && self.calibrations.is_empty()
            && self.tunings.is_empty()
            && self.unkept.is_empty()
    }

    /// Carries out an order of an instance.
    pub fn order(&mut self, instance: u64, id: JobId, order: Order, say: Say<'_>) {
        match order {
            Order::Record {
                source,
                receiver,
                against,
                along,
            } => match Recorder::start(source, *receiver, against) {
                Ok(recorder) => self.recordings.push(Recording {
                    instance,
                    id,
                    along: along.and_then(|asked| Along::new(asked, recorder.rate())),
                    recorder,
                    round: None,
                    before: 0,
                    told: Instant::now(),
                }),
                Err(error) => say(instance, id, Answer::NotStarted(error.to_string())),
            },
            Order::Calibrate(receiver) => self.calibrations.push(Calibration {
                instance,
                id,
                receiver,
                frames: Vec::new(),
                places: Vec::new(),
            }),
            Order::Tune(receiver) => self.tunings.push(Tuning {
                instance,
                id,
                heard: StringPitch::new(receiver.rate()),
                receiver,
                told: None,
            }),
            Order::BelongsTo(recording) => {
                for known in self.of(instance, id) {
                    known.recorder.belongs_to(recording);
                }
            }
            Order::Collect(on) => {
                for known in self.of(instance, id) {
                    known.before = known.recorder.frames();
                    known.round = on.then(Vec::new);
                }
            }
            Order::KeepRound(at) => {
                for known in self.of(instance, id) {
                    known.recorder.keep_round(at);
                }
            }
            Order::Cut => {
                for known in self.of(instance, id) {
                    known.tend(say);
                    let Some(frames) = known.round.as_mut().map(std::mem::take) else {
                        continue;
                    };
                    let before = known.before;
                    known.before += frames.len() as u64;
                    let rate = known.recorder.rate();
                    let places = known.recorder.places.clone();
                    say(
                        instance,
                        id,
                        Answer::Round {
                            frames,
                            rate,
                            before,
                            places,
                        },
                    );
                }
            }
            Order::Kept(path) => {
                take_file::kept(&path);
                self.unkept.retain(|(_, p)| *p != path);
            }
            Order::Find { source, against } => {
                let found = take_file::left_over(source, against);
                if source == Source::Take {
                    let takes = found.iter().map(|f| (instance, f.path.clone()));
                    self.unkept.extend(takes);
                }
                say(instance, id, Answer::Found(source, found));
            }
        }
    }

    fn of(&mut self, instance: u64, id: JobId) -> impl Iterator<Item = &mut Recording> {
        self.recordings
            .iter_mut()
            .filter(move |r| r.instance == instance && r.id == id)
    }

    /// Keeps everything going.
    pub fn tend(&mut self, say: Say<'_>) {
        let mut under_way = Vec::with_capacity(self.recordings.len());
        for mut known in self.recordings.drain(..) {
            known.tend(say);
            if !known.recorder.finished() {
                if known.told.elapsed() >= TELL {
                    known.told = Instant::now();
                    let length = known.recorder.length();
                    say(known.instance, known.id, Answer::Length(length));
                }
                under_way.push(known);
                continue;
            }
            let written = known.recorder.close();
            if let (Source::Take, Some(path)) = (written.source, &written.path) {
                self.unkept.push((known.instance, path.clone()));
            }
            say(known.instance, known.id, Answer::Done(Box::new(written)));
        }
        self.recordings = under_way;
        self.tunings.retain_mut(|tuning| tuning.tend(say));
        self.calibrations.retain_mut(|known| {
            known.receiver.drain(&mut known.frames, &mut known.places);
            if !known.receiver.finished() {
                return true;
            }
            let mono: Vec<f32> = known.frames.iter().map(|f| f[0] + f[1]).collect();
            let latency = calibrate::latency(&mono, known.receiver.rate());
            say(known.instance, known.id, Answer::RoundTrip(latency));
            false
        });
        if self.renewed.is_none_or(|at| at.elapsed() >= RENEW) {
            self.renewed = Some(Instant::now());
            for (_, path) in &self.unkept {
                take_file::renew(path);
            }
        }
    }

    /// An instance goes: what it records is written, and may be taken up by the next.
    pub fn leave(&mut self, instance: u64) {
        let (ours, others) = self
            .recordings
            .drain(..)
            .partition(|r| r.instance == instance);
        self.recordings = others;
        let ours: Vec<Recording> = ours;
        for known in ours {
            known.recorder.leave();
        }
        self.calibrations.retain(|c| c.instance != instance);
        self.tunings.retain(|t| t.instance != instance);
        self.unkept.retain(|(of, path)| {
            if *of == instance {
                take_file::leave(path);
            }
            *of != instance
        });
    }
}
