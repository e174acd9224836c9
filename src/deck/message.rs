//! What crosses the ring between the two ends of a deck.

use super::aside::Aside;
use super::capture::Tap;
use super::controls::Ladder;
use super::pulse::Pulse;
use super::track::Track;
use crate::stretch::OnsetTable;
use crate::unit::{Seconds, Span};
use atomic_float::{AtomicF32, AtomicF64};
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, AtomicU32, AtomicU64, Ordering};

/// What the player is told. Everything that is allocated was allocated by the sender and comes
/// back as [`Retired`] when it is no longer needed.
pub enum Message {
    /// Another recording, from its start; stops.
    Load(Box<Track>),
    /// The same recording, longer or at another rate: the place is kept.
    Replace(Box<Track>),
    /// No recording.
    Unload,
    /// Onsets of the recording that plays, for the stretch engine.
    Onsets(Arc<OnsetTable>),
    /// The beat grid; none for no click, no count-in.
    Pulse(Option<Box<Pulse>>),
    /// The stretch to loop; none for the whole recording. Shorter than 50 ms is made that long.
    Region(Option<(Seconds, Seconds)>),
    /// Go to a place.
    Seek(Seconds),
    /// Bars counted before a start, 0 to 2.
    CountIn(u8),
    /// Silent beats between rounds, 0 to 16.
    Rest(u8),
    /// The ladder; none for the speed of the controls.
    Ladder(Option<Ladder>),
    /// Allows the ladder's next step.
    Climb,
    /// Sound this beside the recording, from its start; none silences what sounds there.
    Beside(Option<Box<Aside>>),
    /// Record through this tap; one that records already comes back.
    Record(Box<Tap>),
    /// Stop recording.
    StopRecording,
    /// Play five clicks and record the input through this tap.
    Calibrate(Box<Tap>),
}

/// What the player gives back to be freed.
pub enum Retired {
    /// A recording with its engine.
    Track(Box<Track>),
    /// An onset table.
    Onsets(Arc<OnsetTable>),
    /// A grid.
    Pulse(Box<Pulse>),
    /// A tap.
    Tap(Box<Tap>),
    /// What sounded beside the recording.
    Aside(Box<Aside>),
}

/// What happened on the audio thread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// A round of the loop began.
    Round {
        /// 1 for the first since the start.
        round: u32,
        /// Its speed.
        speed: f64,
        /// Output frame at which it began, counted since the pair was made (before the limiter's
        /// delay).
        clock: u64,
    },
    /// A round of the loop came to its end.
    Seam {
        /// Which.
        round: u32,
        /// Output frame, as in [`Event::Round`].
        clock: u64,
    },
    /// The recording was played to its end and the deck stopped.
    Ended,
    /// The host asks for a speed outside 0.25 to 1.5 of the recording's.
    OutOfReach,
    /// The clicks of a calibration have been played and listened for.
    Calibrated,
}

/// What the transport does.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Phase {
    /// Nothing.
    #[default]
    Stopped,
    /// Counts in.
    CountIn,
    /// Plays.
    Rolling,
    /// Rests between rounds.
    Rest,
}

/// What sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// What the transport does.
    pub phase: Phase,
    /// Place in the recording.
    pub position: Seconds,
    /// Speed that sounds.
    pub speed: f64,
    /// Round of the loop, 1 for the first.
    pub round: u32,
    /// Beats left of a count-in or a rest.
    pub beats_left: u32,
    /// Highest output sample since the last call.
    pub peak: f32,
    /// Highest sample since the last call of the input that takes are recorded from.
    pub input: f32,
    /// Most that the limiter took away since the last call, in dB, 0 or more.
    pub reduction_db: f32,
    /// Frames recorded through the tap.
    pub recorded: u64,
    /// Frames that a full tap could not take.
    pub dropped: u64,
    /// How much was played of what sounds beside the recording; none where nothing does.
    pub aside: Option<Span>,
    /// Output frames rendered since the pair was made.
    pub clock: u64,
}

/// The state as atomics: the player writes, the deck reads.
#[derive(Debug)]
pub(super) struct Shared {
    pub phase: AtomicU8,
    /// In output frames of the recording.
    pub position: AtomicF64,
    pub speed: AtomicF64,
    pub round: AtomicU32,
    pub beats_left: AtomicU32,
    pub peak: AtomicF32,
    pub input: AtomicF32,
    pub reduction: AtomicF32,
    pub recorded: AtomicU64,
    pub dropped: AtomicU64,
    /// Frames played beside the recording; the highest number for none.
    pub aside: AtomicU64,
    pub clock: AtomicU64,
}

impl Default for Shared {
    fn default() -> Self {
        Self {
            phase: AtomicU8::default(),
            position: AtomicF64::default(),
            speed: AtomicF64::default(),
            round: AtomicU32::default(),
            beats_left: AtomicU32::default(),
            peak: AtomicF32::default(),
            reduction: AtomicF32::default(),
            recorded: AtomicU64::default(),
            dropped: AtomicU64::default(),
            input: AtomicF32::default(),
            aside: AtomicU64::new(u64::MAX),
            clock: AtomicU64::default(),
        }
    }
}

impl Shared {
    pub(super) fn state(&self, rate: u32) -> State {
        let take = |a: &AtomicF32| a.swap(0.0, Ordering::Relaxed);
        State {
            phase: match self.phase.load(Ordering::Relaxed) {
                1 => Phase::CountIn,
                2 => Phase::Rolling,
                3 => Phase::Rest,
                _ => Phase::Stopped,
            },
            position: Seconds(self.position.load(Ordering::Relaxed) / f64::from(rate)),
            speed: self.speed.load(Ordering::Relaxed),
            round: self.round.load(Ordering::Relaxed),
            beats_left: self.beats_left.load(Ordering::Relaxed),
            peak: take(&self.peak),
            input: take(&self.input),
            reduction_db: take(&self.reduction),
            recorded: self.recorded.load(Ordering::Relaxed),
            dropped: self.dropped.load(Ordering::Relaxed),
            aside: match self.aside.load(Ordering::Relaxed) {
                u64::MAX => None,
                frames => Some(Span(frames as f64 / f64::from(rate))),
            },
            clock: self.clock.load(Ordering::Relaxed),
        }
    }

    /// Raises a value that holds its peak.
    pub(super) fn raise(cell: &AtomicF32, value: f32) {
        cell.fetch_max(value.max(0.0), Ordering::Relaxed);
    }
}

impl Phase {
    pub(super) fn code(self) -> u8 {
        match self {
            Self::Stopped => 0,
            Self::CountIn => 1,
            Self::Rolling => 2,
            Self::Rest => 3,
        }
    }
}
