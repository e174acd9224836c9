//! Pages, rounds, progress over days; and what a damaged file still gives.

use super::error::JournalError;
use super::moment::Moment;
use super::open::Journal;
use super::round::{HandFigure, PracticeRound};
use crate::recording::ContentHash;
use rusqlite::{Connection, OpenFlags, Row, params};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;

/// One page of the journal: a recording and what was practised on it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JournalPage {
    /// Identity of the recording's sound.
    pub recording: ContentHash,
    /// What the recording is called.
    pub name: String,
    /// Rounds kept.
    pub rounds: u64,
    /// First round.
    pub first: Moment,
    /// Latest round.
    pub last: Moment,
    /// Highest speed practised.
    pub top_speed: f64,
}

/// One day's practice on a page, the unit of progress.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PracticeDay {
    /// The day's date in the player's time zone.
    pub date: String,
    /// Its last round.
    pub last: Moment,
    /// Rounds that day.
    pub rounds: u32,
    /// Highest speed that day.
    pub top_speed: f64,
    /// Fingers' drift over the day's rounds, each weighted by its notes; ms, positive is behind.
    pub fingers: Option<HandFigure>,
    /// Thumb's drift likewise.
    pub thumb: Option<HandFigure>,
}

/// What could be read of a damaged journal.
#[derive(Debug, Clone, Serialize)]
pub struct Salvage {
    /// Rounds that could be read.
    pub rounds: Vec<PracticeRound>,
    /// Did a damaged page hide others?
    pub incomplete: bool,
}

const COLUMNS: &str = "SELECT round.recording, coalesce(recording.name, '(name lost)'), at, tuning, \
    from_s, to_s, region, speed, thumb_notes, thumb_drift, thumb_spread, fingers_notes, \
    fingers_drift, fingers_spread, take, note, round.rowid";
const FROM: &str = "FROM round LEFT JOIN recording ON recording.hash = round.recording";

/// The columns of a round; a journal of version 1, opened to be read only, has no faults.
fn columns(connection: &Connection) -> String {
    let sql = "SELECT count(*) FROM pragma_table_info('round') WHERE name = 'faults'";
    let known: i32 = connection.query_row(sql, [], |row| row.get(0)).unwrap_or(0);
    let faults = if known > 0 { "faults" } else { "'[]'" };
    format!("{COLUMNS}, {faults} {FROM}")
}

impl Journal {
    /// All pages, the one practised last first.
    ///
    /// # Errors
    /// What the disk says.
    pub fn pages(&self) -> Result<Vec<JournalPage>, JournalError> {
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT recording, name, count(*), min(at), max(at), max(speed)
                 FROM round JOIN recording ON recording.hash = round.recording
                 GROUP BY recording ORDER BY max(at) DESC",
            )
            .map_err(|e| self.wrap(e))?;
        let pages = statement
            .query_map([], |row| {
                Ok(JournalPage {
                    recording: hash_at(row, 0)?,
                    name: row.get(1)?,
                    rounds: row.get::<_, i64>(2)? as u64,
                    first: Moment(row.get(3)?),
                    last: Moment(row.get(4)?),
                    top_speed: row.get(5)?,
                })
            })
            .map_err(|e| self.wrap(e))?;
        pages.collect::<Result<_, _>>().map_err(|e| self.wrap(e))
    }

    /// The page whose recording is called `name` or whose hash begins with it.
    ///
    /// # Errors
    /// What the disk says.
    pub fn page(&self, name: &str) -> Result<Option<JournalPage>, JournalError> {
        let wanted = name.to_lowercase();
        let pages = self.pages()?;
        let by = |fits: &dyn Fn(&JournalPage) -> bool| pages.iter().find(|p| fits(p)).cloned();
        Ok(by(&|p| p.name.to_lowercase() == wanted)
            .or_else(|| by(&|p| p.recording.to_string().starts_with(&wanted)))
            .or_else(|| by(&|p| p.name.to_lowercase().contains(&wanted))))
    }

    /// Rounds of one recording, or of all, newest first: `limit` of them after the first `skip`.
    ///
    /// # Errors
    /// What the disk says.
    pub fn rounds(
        &self,
        recording: Option<ContentHash>,
        limit: usize,
        skip: usize,
    ) -> Result<Vec<PracticeRound>, JournalError> {
        let filter = if recording.is_some() {
            "WHERE round.recording = ?3"
        } else {
            "WHERE ?3 = ''"
        };
        let mut statement = self
            .connection
            .prepare_cached(&format!(
                "{} {filter} ORDER BY at DESC LIMIT ?1 OFFSET ?2",
                columns(&self.connection)
            ))
            .map_err(|e| self.wrap(e))?;
        let key = recording.map(|r| r.to_string()).unwrap_or_default();
        let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        let rounds = statement
            .query_map(params![count(limit), count(skip), key], read_round)
            .map_err(|e| self.wrap(e))?;
        rounds.collect::<Result<_, _>>().map_err(|e| self.wrap(e))
    }

    /// Progress on a page: a [`PracticeDay`] a day, oldest first.
    ///
    /// # Errors
    /// What the disk says.
    pub fn progress(&self, recording: ContentHash) -> Result<Vec<PracticeDay>, JournalError> {
        let mut days: BTreeMap<String, Vec<PracticeRound>> = BTreeMap::new();
        for round in self.rounds(Some(recording), usize::MAX, 0)? {
            days.entry(round.at.date()).or_default().push(round);
        }
        Ok(days
            .into_iter()
            .map(|(date, rounds)| session(date, &rounds))
            .collect())
    }
}

/// Reads what can still be read of a damaged journal: from the front until a damaged page, then
/// from the back until one.
///
/// # Errors
/// When not even the table can be found.
pub fn salvage(path: &Path) -> Result<Salvage, JournalError> {
    if !path.is_file() {
        return Err(JournalError::file(
            path,
            std::io::ErrorKind::NotFound.into(),
        ));
    }
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)
        .map_err(|e| JournalError::sqlite(path, e))?;
    let mut found = BTreeMap::new();
    let mut incomplete = false;
    let mut usable = false;
    for order in ["ASC", "DESC"] {
        let sql = format!("{} ORDER BY round.rowid {order}", columns(&connection));
        let Ok(mut statement) = connection.prepare(&sql) else {
            continue;
        };
        let Ok(mut rows) = statement.query([]) else {
            continue;
        };
        usable = true;
        loop {
            match rows.next() {
                Ok(Some(row)) => {
                    if let (Ok(id), Ok(round)) = (row.get::<_, i64>(16), read_round(row)) {
                        found.insert(id, round);
                    } else {
                        incomplete = true;
                    }
                }
                Ok(None) => break,
                Err(_) => {
                    incomplete = true;
                    break;
                }
            }
        }
    }
    if !usable {
        return Err(JournalError::Damaged(path.into()));
    }
    Ok(Salvage {
        rounds: found.into_values().collect(),
        incomplete,
    })
}

fn session(date: String, rounds: &[PracticeRound]) -> PracticeDay {
    PracticeDay {
        date,
        last: rounds.iter().map(|r| r.at).max().unwrap_or(Moment(0)),
        rounds: rounds.len() as u32,
        top_speed: rounds.iter().map(|r| r.speed).fold(0.0, f64::max),
        fingers: pooled(rounds.iter().filter_map(|r| r.fingers)),
        thumb: pooled(rounds.iter().filter_map(|r| r.thumb)),
    }
}

/// Means of several figures, each weighted by its notes.
fn pooled(figures: impl Iterator<Item = HandFigure>) -> Option<HandFigure> {
    let (mut notes, mut drift, mut spread) = (0u32, 0.0, 0.0);
    for figure in figures {
        notes += figure.notes;
        drift += f64::from(figure.notes) * figure.drift_ms;
        spread += f64::from(figure.notes) * figure.spread_ms;
    }
    let n = f64::from(notes);
    (notes > 0).then(|| HandFigure {
        notes,
        drift_ms: drift / n,
        spread_ms: spread / n,
    })
}

fn read_round(row: &Row<'_>) -> rusqlite::Result<PracticeRound> {
    let figure = |first: usize| -> rusqlite::Result<Option<HandFigure>> {
        let notes: Option<u32> = row.get(first)?;
        let drift: Option<f64> = row.get(first + 1)?;
        let spread: Option<f64> = row.get(first + 2)?;
        Ok(notes
            .zip(drift)
            .zip(spread)
            .map(|((notes, drift_ms), spread_ms)| HandFigure {
                notes,
                drift_ms,
                spread_ms,
            }))
    };
    Ok(PracticeRound {
        recording: hash_at(row, 0)?,
        name: row.get(1)?,
        at: Moment(row.get(2)?),
        tuning: row.get(3)?,
        from_s: row.get(4)?,
        to_s: row.get(5)?,
        region: row.get(6)?,
        speed: row.get(7)?,
        thumb: figure(8)?,
        fingers: figure(11)?,
        take: row
            .get::<_, Option<String>>(14)?
            .and_then(|t| ContentHash::try_from(t).ok()),
        note: row.get(15)?,
        // What an unknown version wrote there is no fault of this one.
        faults: row
            .get::<_, Option<String>>(17)?
            .and_then(|said| serde_json::from_str(&said).ok())
            .unwrap_or_default(),
    })
}

fn hash_at(row: &Row<'_>, column: usize) -> rusqlite::Result<ContentHash> {
    ContentHash::try_from(row.get::<_, String>(column)?).map_err(|e| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, e.into())
    })
}
