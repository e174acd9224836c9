//! What one time round came to, and the one thing in it to change.
//!
//! Owns the sums of a round and the memory of how often the same slot has strayed the same way. Lateness
//! is against the recording's own notes; where the round trip is not known, against the player's own
//! middle, and the round says so.

use super::answer::{Answer, Expected};
use crate::dsp::middle;
use crate::music::note::Role;
use crate::timing::Slot;
use crate::unit::Span;

/// Half of the 95 % interval of one live onset against the recording's: both are found within about 3 ms
/// (SD). Chosen on rendered takes, seeds 101 to 106.
const MEASURING: f64 = 0.012;

/// Lateness beyond this, s, is not told of a single round. Chosen on five real takes played against
/// themselves, in which every false lateness was of one round and as far off.
const FAR: f64 = 0.045;

/// One slot and hand in one round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotLate {
    /// Where in the bar.
    pub slot: Slot,
    /// Which hand.
    pub role: Role,
    /// Middle of its answers' lateness, seconds of the take.
    pub late: Span,
    /// How many answers it rests on.
    pub answers: usize,
    /// Below this it is not heard, or not measured.
    pub floor: Span,
    /// Rounds in a row, this one included, in which it strayed this way; 0 where it did not.
    pub running: usize,
}

/// One time round.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopRound {
    /// Its number, from 0.
    pub number: usize,
    /// Notes that were due.
    pub due: usize,
    /// Notes that were answered.
    pub answered: usize,
    /// Notes that were left out.
    pub missed: usize,
    /// Answers at another pitch.
    pub wrong: usize,
    /// Plucks that nothing asked for.
    pub extra: usize,
    /// The middle of all lateness; told only where the round trip is known.
    pub whole: Option<Span>,
    /// Slots in order of the bar.
    pub slots: Vec<SlotLate>,
}

impl LoopRound {
    /// The slot that strays most beyond what can be heard and measured; none when none does.
    pub fn worst(&self) -> Option<&SlotLate> {
        let beyond = |s: &SlotLate| s.late.abs().0 / s.floor.0.max(1e-4);
        self.slots
            .iter()
            .filter(|s| s.running > 0)
            .max_by(|a, b| beyond(a).total_cmp(&beyond(b)))
    }

    /// Was it played through with nothing to change? At least nine notes in ten answered, at most one in
    /// ten wrong or extra, no slot astray.
    pub fn good(&self) -> bool {
        self.due > 0
            && self.answered * 10 >= self.due * 9
            && (self.wrong + self.extra) * 10 <= self.due
            && self.worst().is_none()
    }
}

/// The middle of several; of the two middle ones of an even number the one nearer to 0, so that one stray
/// answer of two calls nothing late.
fn cautious(lates: &mut [f64]) -> f64 {
    lates.sort_by(f64::total_cmp);
    let Some(&upper) = lates.get(lates.len() / 2) else {
        return 0.0;
    };
    let lower = if lates.len().is_multiple_of(2) {
        lates[lates.len() / 2 - 1]
    } else {
        upper
    };
    if lower.signum() == upper.signum() {
        if lower.abs() < upper.abs() {
            lower
        } else {
            upper
        }
    } else {
        0.0
    }
}

/// One answer's part of a round.
#[derive(Debug, Clone, Copy)]
struct Part {
    note: usize,
    slot: Option<Slot>,
    role: Role,
    late: f64,
    floor: f64,
}

#[derive(Debug, Default)]
struct Sums {
    number: usize,
    due: usize,
    missed: usize,
    wrong: usize,
    extra: usize,
    parts: Vec<Part>,
}

/// Adds up rounds.
#[derive(Debug)]
pub(super) struct Tally {
    /// Is the round trip known?
    absolute: bool,
    rounds: Vec<Sums>,
    /// Slots that strayed in the last round: which way and how often in a row.
    running: Vec<(Slot, Role, bool, usize)>,
}

impl Tally {
    pub fn new(absolute: bool) -> Self {
        Self {
            absolute,
            rounds: Vec::new(),
            running: Vec::new(),
        }
    }

    fn round(&mut self, number: usize) -> &mut Sums {
        let at = self.rounds.partition_point(|r| r.number < number);
        if self.rounds.get(at).is_none_or(|r| r.number != number) {
            let fresh = Sums {
                number,
                ..Sums::default()
            };
            self.rounds.insert(at, fresh);
        }
        &mut self.rounds[at]
    }

    pub fn due(&mut self, round: usize) {
        self.round(round).due += 1;
    }

    /// A note that was to fall due did not: the deck went elsewhere before it.
    pub fn not_due(&mut self, round: usize) {
        let due = &mut self.round(round).due;
        *due = due.saturating_sub(1);
    }

    pub fn missed(&mut self, round: usize) {
        self.round(round).missed += 1;
    }

    pub fn wrong(&mut self, round: usize) {
        self.round(round).wrong += 1;
    }

    pub fn extra(&mut self, round: usize) {
        self.round(round).extra += 1;
    }

    pub fn answered(&mut self, answer: &Answer, expected: &Expected, speed: f64) {
        self.round(answer.round).parts.push(Part {
            note: answer.note,
            slot: expected.slot,
            role: expected.role,
            late: answer.late.0,
            // Slower, the notes lie farther apart, and what is noticed grows with that.
            floor: expected.floor.0 / speed.clamp(0.1, 1.0),
        });
    }

    /// The oldest round that has not ended.
    pub fn open(&self) -> Option<usize> {
        self.rounds.first().map(|r| r.number)
    }

    /// Ends a round; none where nothing was due in it. `unsure` are how far the recording's own sound was heard
    /// from each of its notes.
    pub fn end(&mut self, number: usize, unsure: &[Span]) -> Option<LoopRound> {
        let at = self.rounds.iter().position(|r| r.number == number)?;
        let sums = self.rounds.remove(at);
        (sums.due > 0).then(|| self.read(&sums, unsure))
    }

    pub fn end_all(&mut self, unsure: &[Span]) -> Vec<LoopRound> {
        let numbers: Vec<usize> = self.rounds.iter().map(|r| r.number).collect();
        numbers
            .into_iter()
            .filter_map(|n| self.end(n, unsure))
            .collect()
    }

    fn read(&mut self, sums: &Sums, unsure: &[Span]) -> LoopRound {
        let mut all: Vec<f64> = sums.parts.iter().map(|p| p.late).collect();
        let whole = middle::median(&mut all).unwrap_or(0.0);
        let zero = if self.absolute { 0.0 } else { whole };
        let mut keys: Vec<(Slot, Role)> = sums
            .parts
            .iter()
            .filter_map(|p| Some((p.slot?, p.role)))
            .collect();
        keys.sort_by(|a, b| {
            a.0.cmp(&b.0)
                .then((a.1 == Role::Melody).cmp(&(b.1 == Role::Melody)))
        });
        keys.dedup();
        let mut running = Vec::new();
        let slots = keys
            .into_iter()
            .map(|(slot, role)| {
                let here = |p: &&Part| p.slot == Some(slot) && p.role == role;
                let mut lates: Vec<f64> = sums
                    .parts
                    .iter()
                    .filter(here)
                    .map(|p| p.late - zero)
                    .collect();
                let answers = lates.len();
                let late = cautious(&mut lates);
                let heard = sums
                    .parts
                    .iter()
                    .filter(here)
                    .map(|p| p.floor.max(unsure.get(p.note).map_or(0.0, |d| d.0)))
                    .fold(0.0, f64::max);
                // Several answers are measured better than one.
                let floor = heard.max(MEASURING / (answers as f64).sqrt().min(2.0));
                let behind = late > 0.0;
                let before = self
                    .running
                    .iter()
                    .find(|r| r.0 == slot && r.1 == role && r.2 == behind)
                    .map_or(0, |r| r.3);
                // The first time it must stand clearer: one note proves little.
                let least = if before == 0 { floor * 1.35 } else { floor };
                let mut times = if late.abs() > least { before + 1 } else { 0 };
                if times > 0 {
                    running.push((slot, role, behind, times));
                }
                // So far off it may as well be another pluck: told when it comes again.
                if times == 1 && late.abs() > FAR {
                    times = 0;
                }
                SlotLate {
                    slot,
                    role,
                    late: Span(late),
                    answers,
                    floor: Span(floor),
                    running: times,
                }
            })
            .collect();
        self.running = running;
        LoopRound {
            number: sums.number,
            due: sums.due,
            answered: sums.parts.len(),
            missed: sums.missed,
            wrong: sums.wrong,
            extra: sums.extra,
            whole: (self.absolute && !sums.parts.is_empty()).then_some(Span(whole)),
            slots,
        }
    }
}
