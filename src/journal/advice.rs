//! What to practise next, and next week's plan, by a rule that is told with the advice.
//!
//! The rule: a **fault** that the last take repeated comes first: a place of the bar that lies off the
//! player it learns from by more than a listener lets pass. A page is **due** when as many days have
//! passed since its last session as its sessions went well in a row (1, 2, 4, 8, at most 16 days;
//! spacing practice out is common practice, no source). A page **slipped** when its last session's
//! spread was more than a quarter and more than 5 ms above its best one. Faults come before what
//! slipped, what slipped before what is due, the longest overdue first. A session is short: at most
//! three pages, five minutes each, then a break.

use super::error::JournalError;
use super::moment::Moment;
use super::open::Journal;
use super::read::{JournalPage, PracticeDay};
use super::round::Fault;
use crate::music::note::Role;
use crate::recording::ContentHash;
use serde::Serialize;

/// Why a page is suggested.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// The last take repeated a fault.
    Fault(Fault),
    /// The last session was less steady than the best one.
    Slipped {
        /// Spread of the last session in ms.
        now_ms: f64,
        /// Spread of the best session in ms.
        best_ms: f64,
    },
    /// It has rested long enough.
    Due {
        /// Days since its last session.
        days: i64,
    },
}

/// One page to practise next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suggestion {
    /// The page.
    pub page: JournalPage,
    /// The bars that its last round was of, like `bars 5-6`; none where that was all of it.
    pub passage: Option<String>,
    /// Why.
    pub reason: Reason,
    /// The speed to start at: a tenth under the fastest, so that it is easy first.
    pub speed: f64,
}

/// The rule in words, shown with every suggestion.
pub const RULE: &str = "A fault that the last take repeats comes first, then what slipped (spread a quarter \
and 5 ms above its best), then what has rested for 1, 2, 4, 8 or 16 days, doubling with every session that \
went well. Three pages at most, about five minutes each, with a break between.";

/// Pages of one session.
const MOST: usize = 3;

/// Minutes on one page.
const MINUTES: u32 = 5;

/// At most three suggestions for practice at `now`.
///
/// # Errors
/// What the journal's disk says.
pub fn suggest(journal: &Journal, now: Moment) -> Result<Vec<Suggestion>, JournalError> {
    let mut ranked: Vec<(f64, Suggestion)> = Vec::new();
    for page in journal.pages()? {
        let sessions = journal.progress(page.recording)?;
        let (fault, passage) = last_round(journal, &page)?;
        let judged = match fault {
            Some(fault) => Some((2000.0 + fault.late_ms.abs(), Reason::Fault(fault))),
            None => judge(&sessions, now),
        };
        if let Some((rank, reason)) = judged {
            let speed = easy(page.top_speed);
            ranked.push((
                rank,
                Suggestion {
                    page,
                    passage,
                    reason,
                    speed,
                },
            ));
        }
    }
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.truncate(MOST);
    Ok(ranked
        .into_iter()
        .map(|(_, suggestion)| suggestion)
        .collect())
}

/// A tenth under `speed`, in steps of 5 %.
fn easy(speed: f64) -> f64 {
    ((speed * 0.9 * 20.0).round() / 20.0).max(0.25)
}

/// The largest fault of a page's last round, and the bars that it was of.
fn last_round(
    journal: &Journal,
    page: &JournalPage,
) -> Result<(Option<Fault>, Option<String>), JournalError> {
    let rounds = journal.rounds(Some(page.recording), 1, 0)?;
    let last = rounds.into_iter().next();
    Ok(last.map_or((None, None), |round| {
        let bars = Some(round.region).filter(|r| r.starts_with("bar"));
        (round.faults.into_iter().next(), bars)
    }))
}

/// The page's name, with the bars that are practised of it.
fn named(page: &JournalPage, passage: Option<&String>) -> String {
    match passage {
        Some(bars) => format!("{}, {bars}", page.name),
        None => page.name.clone(),
    }
}

/// Days that a page whose sessions are these may rest; none without a session.
fn rest_days(sessions: &[PracticeDay]) -> Option<i64> {
    sessions.last()?;
    let spreads: Vec<f64> = sessions
        .iter()
        .filter_map(|s| Some(s.fingers?.spread_ms))
        .collect();
    let best = spreads.iter().copied().fold(f64::INFINITY, f64::min);
    let went_well = spreads
        .iter()
        .rev()
        .take_while(|s| !slipped(**s, best))
        .count();
    Some(1i64 << went_well.saturating_sub(1).min(4))
}

fn slipped(spread: f64, best: f64) -> bool {
    spread > 1.25 * best && spread > best + 5.0
}

/// Rank (higher is more urgent) and reason of a page, or nothing when it may rest.
fn judge(sessions: &[PracticeDay], now: Moment) -> Option<(f64, Reason)> {
    let last = sessions.last()?;
    let spreads = sessions.iter().filter_map(|s| Some(s.fingers?.spread_ms));
    let best = spreads.fold(f64::INFINITY, f64::min);
    if let Some(figure) = last.fingers
        && slipped(figure.spread_ms, best)
    {
        let reason = Reason::Slipped {
            now_ms: figure.spread_ms,
            best_ms: best,
        };
        return Some((1000.0 + figure.spread_ms / best, reason));
    }
    let rest = rest_days(sessions)?;
    let days = (now.0 - last.last.0).div_euclid(Moment::DAY);
    (days >= rest).then(|| (days as f64 / rest as f64, Reason::Due { days }))
}

impl Fault {
    /// The fault as a sentence: whose notes, where in the bar, how far, from which bar on.
    pub fn words(&self) -> String {
        let who = match self.role {
            Role::Bass => "the thumb comes",
            Role::Melody => "the fingers come",
        };
        let side = if self.late_ms > 0.0 { "late" } else { "early" };
        format!(
            "{who} {:.0} ms {side} on {}, first in bar {}",
            self.late_ms.abs(),
            self.place(),
            self.bar
        )
    }

    /// Its place as a player says it: `2 &` is the and of 2.
    fn place(&self) -> String {
        match self.slot.split_once(' ') {
            Some((beat, "&")) => format!("the and of {beat}"),
            Some((beat, syllable @ ("e" | "a"))) => format!("the {syllable} of {beat}"),
            Some(_) => self.slot.clone(),
            None => format!("beat {}", self.slot),
        }
    }

    /// What to do about it, at `speed` of the recording, as a sentence.
    fn task(&self, bpm: f64) -> String {
        format!(
            "loop bar {} at {bpm:.0} beats a minute, counting aloud, until {} lies within {:.0} ms",
            self.bar,
            self.place(),
            self.goal_ms
        )
    }
}

impl Suggestion {
    /// The suggestion as a sentence.
    pub fn words(&self) -> String {
        let start = format!("start at {:.0} %", self.speed * 100.0);
        let name = named(&self.page, self.passage.as_ref());
        match &self.reason {
            Reason::Fault(fault) => {
                format!(
                    "{name}: {}; {}",
                    fault.words(),
                    fault.task(0.85 * fault.bpm)
                )
            }
            Reason::Slipped { now_ms, best_ms } => format!(
                "{name}: last time the fingers spread {now_ms:.0} ms, at best it was {best_ms:.0} ms; {start}"
            ),
            Reason::Due { days: 1 } => format!("{name}: it has rested for a day; {start}"),
            Reason::Due { days } => format!("{name}: it has rested for {days} days; {start}"),
        }
    }
}

/// One day of a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Day {
    /// When.
    pub at: Moment,
    /// What to do, in sentences; empty on a day of rest.
    pub tasks: Vec<String>,
    /// Minutes that it takes, breaks aside.
    pub minutes: u32,
}

/// Tempi of a fault's days, as shares of the take's: slower first, then beyond it.
const CLIMB: [f64; 4] = [0.85, 0.9, 1.0, 1.05];

/// A plan for the seven days from `from` on, of every page or of `only` one recording's: a fault on the first, second, fourth and sixth day, each a
/// little faster; pages on the day they are due; three a day at most, the seventh day free.
///
/// # Errors
/// What the journal's disk says.
pub fn week(
    journal: &Journal,
    only: Option<ContentHash>,
    from: Moment,
) -> Result<Vec<Day>, JournalError> {
    let mut tasks: [Vec<String>; 7] = Default::default();
    let pages = journal.pages()?.into_iter();
    for page in pages.filter(|p| only.is_none_or(|recording| p.recording == recording)) {
        let (fault, passage) = last_round(journal, &page)?;
        let name = named(&page, passage.as_ref());
        if let Some(fault) = fault {
            for (day, share) in [0usize, 1, 3, 5].into_iter().zip(CLIMB) {
                if tasks[day].len() < MOST {
                    tasks[day].push(format!("{name}: {}", fault.task(share * fault.bpm)));
                }
            }
            continue;
        }
        let sessions = journal.progress(page.recording)?;
        let (Some(last), Some(rest)) = (sessions.last(), rest_days(&sessions)) else {
            continue;
        };
        let due = last.last.0 + rest * Moment::DAY;
        let first = (due - from.0).max(0).div_euclid(Moment::DAY) as usize;
        // The next day with room, but for the free one.
        if let Some(day) = (first..6).find(|d| tasks[*d].len() < MOST) {
            let speed = 100.0 * easy(page.top_speed);
            tasks[day].push(format!(
                "{name}: from {speed:.0} % up, while it stays clean"
            ));
        }
    }
    Ok(tasks
        .into_iter()
        .enumerate()
        .map(|(i, tasks)| Day {
            at: Moment(from.0 + i as i64 * Moment::DAY),
            minutes: MINUTES * tasks.len() as u32,
            tasks,
        })
        .collect())
}
