//! Recording on the audio thread: frames and where on the recording's timeline they were heard go
//! into rings; a thread that may wait takes them out.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use crate::unit::Seconds;
use rtrb::{Consumer, Producer, RingBuffer};
use serde::{Deserialize, Serialize};

/// Where recorded sound comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The main input, while the host runs.
    Track,
    /// The side input (the main one where there is none), while the deck runs.
    Take,
}

/// From `frame` of a take on, the recording's timeline runs from `at` at `speed`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Anchor {
    /// First frame of the take.
    pub frame: u64,
    /// Where the recording was then.
    pub at: Seconds,
    /// Seconds of the recording a second of the take; 0 while it rested.
    pub speed: f64,
}

/// A place differs from where the last one leads when it is off by more than this, in seconds.
const OFF: f64 = 0.0002;

/// The audio thread's end.
pub struct Tap {
    pub(super) source: Source,
    /// Also while nothing runs?
    pub(super) always: bool,
    rate: f64,
    /// Left and right, and what the deck played meanwhile (mono).
    frames: Producer<[f32; 3]>,
    places: Producer<Anchor>,
    last: Option<Anchor>,
    written: u64,
    dropped: u64,
}

/// The other end.
pub struct Receiver {
    rate: u32,
    frames: Consumer<[f32; 3]>,
    places: Consumer<Anchor>,
}

/// Makes both ends, with room for `seconds` of sound that nobody has taken out yet.
#[allow(
    clippy::disallowed_methods,
    reason = "made before the audio thread runs"
)]
pub fn tap(source: Source, rate: u32, seconds: f64) -> (Box<Tap>, Receiver) {
    let room = (seconds.clamp(0.1, 60.0) * f64::from(rate)) as usize;
    let (frames, out) = RingBuffer::new(room);
    let (places, found) = RingBuffer::new(8192);
    let tap = Tap {
        source,
        always: false,
        rate: f64::from(rate),
        frames,
        places,
        last: None,
        written: 0,
        dropped: 0,
    };
    let receiver = Receiver {
        rate,
        frames: out,
        places: found,
    };
    (Box::new(tap), receiver)
}

/// Makes both ends for somebody who listens to what takes are recorded from, whether anything runs or not.
pub fn ear(rate: u32, seconds: f64) -> (Box<Tap>, Receiver) {
    let (mut tap, receiver) = tap(Source::Take, rate, seconds);
    tap.always = true;
    (tap, receiver)
}

impl Tap {
    /// Tells that the next frame is heard at `at` seconds of the recording, which runs at `speed`.
    pub(super) fn place(&mut self, at: f64, speed: f64) {
        let expected = self.last.map(|p| {
            let since = (self.written - p.frame) as f64 / self.rate;
            (p.at.0 + since * p.speed, p.speed)
        });
        if expected.is_none_or(|(t, s)| (t - at).abs() > OFF || (s - speed).abs() > 1e-9) {
            let place = Anchor {
                frame: self.written,
                at: Seconds(at),
                speed,
            };
            if self.places.push(place).is_ok() {
                self.last = Some(place);
            }
        }
    }

    pub(super) fn push(&mut self, [left, right]: [f32; 2], played: f32) {
        if self.frames.push([left, right, played]).is_err() {
            // The frame is lost, its time is not: a silent one cannot be put in either, so the
            // loss is counted and told.
            self.dropped += 1;
        } else {
            self.written += 1;
        }
    }

    pub(super) fn written(&self) -> u64 {
        self.written
    }

    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }
}

impl Receiver {
    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Moves what has been recorded since the last call into `frames` and `places`.
    pub fn drain(&mut self, frames: &mut Vec<[f32; 2]>, places: &mut Vec<Anchor>) {
        self.drain_beside(frames, &mut Vec::new(), places);
    }

    /// The same, and what the deck played at each of the frames into `played`.
    #[allow(clippy::disallowed_methods, reason = "the other end may wait")]
    pub fn drain_beside(
        &mut self,
        frames: &mut Vec<[f32; 2]>,
        played: &mut Vec<f32>,
        places: &mut Vec<Anchor>,
    ) {
        while let Ok([left, right, own]) = self.frames.pop() {
            frames.push([left, right]);
            played.push(own);
        }
        while let Ok(place) = self.places.pop() {
            places.push(place);
        }
    }

    /// Has the tap been freed and everything been taken out?
    pub fn finished(&self) -> bool {
        self.frames.is_abandoned() && self.frames.is_empty()
    }
}
