//! What to practise next, by a rule that is told with the advice.
//!
//! The rule: a page is **due** when as many days have passed since its last session as its
//! sessions went well in a row (1, 2, 4, 8, at most 16 days; spacing practice out is common
//! practice, no source). A page **slipped** when its last session's spread was more than a quarter
//! and more than 5 ms above its best one. What slipped comes before what is due, the longest
//! overdue first. A session is short: at most three pages, five minutes each, then a break.

use super::{Journal, JournalError, Moment, Page, Session};
use serde::Serialize;

/// Why a page is suggested.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
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
    pub page: Page,
    /// Why.
    pub reason: Reason,
    /// The speed to start at: a tenth under the fastest, so that it is easy first.
    pub speed: f64,
}

/// The rule in words, shown with every suggestion.
pub const RULE: &str = "What slipped (spread a quarter and 5 ms above its best) comes first, then what \
has rested for 1, 2, 4, 8 or 16 days, doubling with every session that went well. Three pages at most, \
about five minutes each, with a break between.";

/// At most three suggestions for practice at `now`.
///
/// # Errors
/// What the journal's disk says.
pub fn suggest(journal: &Journal, now: Moment) -> Result<Vec<Suggestion>, JournalError> {
    let mut ranked: Vec<(f64, Suggestion)> = Vec::new();
    for page in journal.pages()? {
        let sessions = journal.progress(page.recording)?;
        if let Some((rank, reason)) = judge(&sessions, now) {
            let speed = ((page.top_speed * 0.9 * 20.0).round() / 20.0).max(0.25);
            ranked.push((
                rank,
                Suggestion {
                    page,
                    reason,
                    speed,
                },
            ));
        }
    }
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.truncate(3);
    Ok(ranked
        .into_iter()
        .map(|(_, suggestion)| suggestion)
        .collect())
}

/// Rank (higher is more urgent) and reason of a page, or nothing when it may rest.
fn judge(sessions: &[Session], now: Moment) -> Option<(f64, Reason)> {
    let last = sessions.last()?;
    let spreads: Vec<f64> = sessions
        .iter()
        .filter_map(|s| Some(s.fingers?.spread_ms))
        .collect();
    let best = spreads.iter().copied().fold(f64::INFINITY, f64::min);
    let slipped = |spread: f64, best: f64| spread > 1.25 * best && spread > best + 5.0;
    if let Some(figure) = last.fingers
        && slipped(figure.spread_ms, best)
    {
        let reason = Reason::Slipped {
            now_ms: figure.spread_ms,
            best_ms: best,
        };
        return Some((1000.0 + figure.spread_ms / best, reason));
    }
    let went_well = spreads
        .iter()
        .rev()
        .take_while(|s| !slipped(**s, best))
        .count();
    let rest = 1i64 << went_well.saturating_sub(1).min(4);
    let days = (now.0 - last.last.0).div_euclid(Moment::DAY);
    (days >= rest).then(|| (days as f64 / rest as f64, Reason::Due { days }))
}

impl Suggestion {
    /// The suggestion as a sentence.
    pub fn words(&self) -> String {
        let start = format!("start at {:.0} %", self.speed * 100.0);
        let name = &self.page.name;
        match self.reason {
            Reason::Slipped { now_ms, best_ms } => format!(
                "{name}: last time the fingers spread {now_ms:.0} ms, at best it was {best_ms:.0} ms; {start}"
            ),
            Reason::Due { days: 1 } => format!("{name}: it has rested for a day; {start}"),
            Reason::Due { days } => format!("{name}: it has rested for {days} days; {start}"),
        }
    }
}
