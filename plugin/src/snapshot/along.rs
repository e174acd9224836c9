//! What is heard of a take while it is played.

use thumbline::along::Answer;
use thumbline::music::note::Role;
use thumbline::timing::Slot;
use thumbline::unit::Seconds;

/// Heads of the newest rounds, and what the last round came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AlongView {
    /// Plucks that answered a note of the recording, oldest first; those of the newest three rounds.
    pub heads: Vec<Answer>,
    /// Notes whose answer has another pitch, with their time round.
    pub wrong: Vec<(usize, usize)>,
    /// Notes that nothing answered, with their time round.
    pub missed: Vec<(usize, usize)>,
    /// Plucks that answer nothing: where, with their time round.
    pub extra: Vec<(Seconds, usize)>,
    /// The round being played, from 0.
    pub round: usize,
    /// One sentence after each round.
    pub said: Option<String>,
    /// The slot and the hand that it speaks of.
    pub slot: Option<(Slot, Role)>,
}
