//! What is told to a player while they play along.

use super::answer::Answer;
use super::round::LoopRound;
use crate::unit::Seconds;

/// What is told while somebody plays.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// A pluck answers this note: draw its head.
    Answered(Answer),
    /// The pluck of an earlier answer has another pitch than the recording's.
    WrongPitch {
        /// Which note it answered.
        note: usize,
        /// Time round, from 0.
        round: usize,
    },
    /// Nothing answered this note in this time round.
    Missed {
        /// Which note.
        note: usize,
        /// Time round, from 0.
        round: usize,
    },
    /// A pluck that answers nothing, at this place of the recording.
    Extra {
        /// Where.
        at: Seconds,
        /// Time round, from 0.
        round: usize,
    },
    /// A time round is over and everything in it is settled.
    Round(LoopRound),
    /// The loudspeaker is heard in the input, this far below the loudest playing, dB (negative). Told once
    /// when it is louder than −30 dB: headphones are advised.
    Bleed(f64),
}
