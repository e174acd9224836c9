//! The journal: every practice round that was kept, for years.
//!
//! One SQLite file in the player's data folder, safe as a ledger: write-ahead log with full
//! synchronisation, foreign keys, numbered schema versions. A round is committed whole or not at
//! all; nothing is deleted by a migration, a merge or a restore. This module owns the file
//! and the takes beside it; what its figures mean is `timing`'s, and recording takes is the deck's.
//!
//! | file | owns |
//! |---|---|
//! | `schema` | the tables, and how an older file becomes a newer one |
//! | `takes` | the sound of takes, as FLAC beside the journal |
//! | `write` | keeping rounds, merging, backing up, restoring |
//! | `read` | pages, rounds, progress over days, what a damaged file still gives |
//! | `kept` | what a comparison leaves in the journal |
//! | `chart` | progress as text and as a picture |
//! | `advice` | what to practise next, by a stated rule |

pub mod advice;
pub mod chart;
mod kept;
mod read;
#[doc(hidden)]
pub mod schema;
mod takes;
mod write;

pub use kept::{Practised, rounds_of};
pub use read::{Page, Salvage, Session, salvage};
pub use schema::{CURRENT as SCHEMA_VERSION, Migration};
pub use takes::{KeptRounds, KeptTake};
pub use write::{Merged, restore};

use crate::home;
use crate::music::note::Role;
use crate::recording::ContentHash;
use rusqlite::{Connection, OpenFlags};
use serde::{Deserialize, Serialize};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Why the journal could not do what was asked. Whatever the error, rounds that were kept before
/// are still kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// The folder for the journal cannot be made or found.
    #[error("there is no folder for the journal ({0}); name a file with --journal")]
    NoFolder(String),
    /// The file is not a journal of ours.
    #[error("{} is not a Thumbline journal; it was left as it is", .0.display())]
    NotAJournal(PathBuf),
    /// Another program holds the journal for too long.
    #[error(
        "{} is in use by another program; nothing was changed, try again in a moment",
        .0.display()
    )]
    Busy(PathBuf),
    /// The file can be read but not written: its disk or its rights, or a newer version made it.
    #[error("{} can only be read here ({why}); its pages can still be shown and exported", file.display())]
    ReadOnly {
        /// The journal.
        file: PathBuf,
        /// Why, in words.
        why: String,
    },
    /// The copy, or the backup, would be the journal itself.
    #[error("{} is the journal itself: name another file", .0.display())]
    Itself(PathBuf),
    /// No room on the disk.
    #[error("the disk is full: this round was not kept; earlier rounds in {} are safe", .0.display())]
    DiskFull(PathBuf),
    /// Pages of the file are damaged.
    #[error(
        "{} is damaged; `thumbline journal rescue` exports what can still be read, and a backup can be restored",
        .0.display()
    )]
    Damaged(PathBuf),
    /// A round with figures that are not numbers, or out of range.
    #[error("this round cannot be kept: {0}")]
    Unusable(String),
    /// Anything else SQLite says.
    #[error("the journal {}: {error}", file.display())]
    Other {
        /// The journal.
        file: PathBuf,
        /// What SQLite said.
        error: rusqlite::Error,
    },
    /// Reading or writing a file beside the journal failed.
    #[error("{}: {error}", file.display())]
    File {
        /// Which file.
        file: PathBuf,
        /// What the system said.
        error: std::io::Error,
    },
}

impl JournalError {
    fn read_only_because(file: &Path, why: impl Into<String>) -> Self {
        Self::ReadOnly {
            file: file.into(),
            why: why.into(),
        }
    }

    fn file(file: &Path, error: std::io::Error) -> Self {
        Self::File {
            file: file.into(),
            error,
        }
    }

    /// Turns what SQLite says about `path` into what a player can do about it.
    fn sqlite(path: &Path, error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let path = path.to_path_buf();
        match error.sqlite_error_code() {
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => Self::Busy(path),
            Some(Code::DiskFull) => Self::DiskFull(path),
            Some(Code::DatabaseCorrupt) => Self::Damaged(path),
            Some(Code::NotADatabase) => Self::NotAJournal(path),
            Some(Code::ReadOnly | Code::PermissionDenied) => {
                Self::read_only_because(&path, "no right to write it")
            }
            Some(Code::CannotOpen) => Self::NoFolder(path.display().to_string()),
            _ => Self::Other { file: path, error },
        }
    }
}

/// A moment in time: milliseconds since 1970-01-01 00:00 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(pub i64);

impl Moment {
    /// Milliseconds of a day.
    pub const DAY: i64 = 86_400_000;

    /// Now, by the system's clock.
    pub fn now() -> Self {
        Self(jiff::Timestamp::now().as_millisecond())
    }

    /// The date and time of day in the player's time zone, `2026-11-25 18:04`.
    pub fn local(self) -> String {
        self.zoned().map_or_else(
            || "unknown date".into(),
            |z| z.strftime("%Y-%m-%d %H:%M").to_string(),
        )
    }

    /// The date in the player's time zone, `2026-11-25`.
    pub fn date(self) -> String {
        self.zoned().map_or_else(
            || "unknown date".into(),
            |z| z.strftime("%Y-%m-%d").to_string(),
        )
    }

    fn zoned(self) -> Option<jiff::ZonedDateTime> {
        let stamp = jiff::Timestamp::from_millisecond(self.0).ok()?;
        Some(stamp.to_zoned_datetime(jiff::tz::TimeZone::system()))
    }
}

/// How one part of the hand did in a round.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// Notes measured, at least 1.
    pub notes: u32,
    /// Centre of the drift in ms; positive is behind.
    pub drift_ms: f64,
    /// Robust spread of the drift in ms (standard-deviation scale), 0 or more.
    pub spread_ms: f64,
}

/// One practice round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Round {
    /// Identity of the recording's sound.
    pub recording: ContentHash,
    /// What the recording is called.
    pub name: String,
    /// Tuning it was practised in, as spelled by the player (`D A D G A D`).
    pub tuning: Option<String>,
    /// When the round ended.
    pub at: Moment,
    /// Start of the practised region, seconds of the recording.
    pub from_s: f64,
    /// End of the practised region, seconds of the recording.
    pub to_s: f64,
    /// What the region is called (`bars 5-6`).
    pub region: String,
    /// Speed it was practised at; 1 is the recording's own.
    pub speed: f64,
    /// Thumb's figures, where it could be measured.
    pub thumb: Option<Figure>,
    /// Fingers' figures, where they could be measured.
    pub fingers: Option<Figure>,
    /// Identity of the take that was recorded, where one was.
    pub take: Option<ContentHash>,
    /// The player's own words.
    pub note: String,
    /// What the take repeats that a listener hears; the same in every round of a take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<Fault>,
}

/// A place of the bar at which a take lies off the player it learns from, again and again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Thumb or fingers.
    pub role: Role,
    /// The place as it is counted: `2 &`.
    pub slot: String,
    /// First bar of the recording in which it occurs.
    pub bar: i32,
    /// In how many notes.
    pub notes: u32,
    /// How much later than the recording's player, in ms; earlier is below 0.
    pub late_ms: f64,
    /// Tempo of the take in beats a minute.
    pub bpm: f64,
    /// Within this a listener hears no difference: the goal.
    pub goal_ms: f64,
}

impl Round {
    /// Identity of the round: the same round kept on two machines is one round, also where the
    /// recording was renamed on one of them.
    fn id(&self) -> String {
        let identity = Identity {
            recording: self.recording,
            name: "",
            tuning: self.tuning.as_deref(),
            at: self.at,
            from_s: self.from_s,
            to_s: self.to_s,
            region: &self.region,
            speed: self.speed,
            thumb: self.thumb.map(FigureIdentity::from),
            fingers: self.fingers.map(FigureIdentity::from),
            take: self.take,
            note: &self.note,
        };
        let said = serde_json::to_vec(&identity).unwrap_or_default();
        blake3::hash(&said).to_hex().to_string()
    }

    fn check(&self) -> Result<(), JournalError> {
        let numbers = [self.from_s, self.to_s, self.speed];
        let figures = [self.thumb, self.fingers].into_iter().flatten();
        let finite = numbers.iter().all(|n| n.is_finite())
            && figures
                .clone()
                .all(|f| f.drift_ms.is_finite() && f.spread_ms.is_finite());
        if !finite {
            return Err(JournalError::Unusable(
                "a figure in it is not a number".into(),
            ));
        }
        if self.to_s <= self.from_s || self.from_s < 0.0 {
            return Err(JournalError::Unusable("its region has no length".into()));
        }
        if !(0.05..=8.0).contains(&self.speed) {
            return Err(JournalError::Unusable(format!(
                "a speed of {} is not possible",
                self.speed
            )));
        }
        if figures.clone().any(|f| f.notes == 0 || f.spread_ms < 0.0) {
            return Err(JournalError::Unusable(
                "a figure in it was measured on no note".into(),
            ));
        }
        Ok(())
    }
}

/// What makes a round the round it is: hashed as JSON in this order. Journals hold these hashes, so
/// nothing is ever added, left out or renamed here, whatever a [`Round`] comes to hold.
#[derive(Serialize)]
struct Identity<'a> {
    recording: ContentHash,
    name: &'static str,
    tuning: Option<&'a str>,
    at: Moment,
    from_s: f64,
    to_s: f64,
    region: &'a str,
    speed: f64,
    thumb: Option<FigureIdentity>,
    fingers: Option<FigureIdentity>,
    take: Option<ContentHash>,
    note: &'a str,
}

/// A [`Figure`] in an [`Identity`].
#[derive(Serialize)]
struct FigureIdentity {
    notes: u32,
    drift_ms: f64,
    spread_ms: f64,
}

impl From<Figure> for FigureIdentity {
    fn from(figure: Figure) -> Self {
        Self {
            notes: figure.notes,
            drift_ms: figure.drift_ms,
            spread_ms: figure.spread_ms,
        }
    }
}

/// How long to wait for another program that holds the journal.
const PATIENCE: Duration = Duration::from_secs(5);

/// How a journal is opened to write: its path is a path, never an address.
const WRITING: OpenFlags = OpenFlags::SQLITE_OPEN_READ_WRITE
    .union(OpenFlags::SQLITE_OPEN_CREATE)
    .union(OpenFlags::SQLITE_OPEN_NO_MUTEX);

/// `path` from the root, so that SQLite never takes a name such as `file:x` for an address.
fn absolute(path: &Path) -> Result<PathBuf, JournalError> {
    std::path::absolute(path).map_err(|e| JournalError::file(path, e))
}

/// The address of a file that nobody changes meanwhile (SQLite, "Uniform Resource Identifiers"):
/// every byte but letters, digits and a few signs is written as its number.
fn unchanging(path: &Path) -> String {
    let mut uri = String::from("file:");
    let mut bytes = path.as_os_str().as_encoded_bytes();
    if cfg!(windows) {
        uri.push('/');
    }
    while let [byte, rest @ ..] = bytes {
        match byte {
            b'\\' if cfg!(windows) => uri.push('/'),
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' | b':' => {
                uri.push(char::from(*byte));
            }
            _ => {
                let _ = write!(uri, "%{byte:02X}"); // a string takes everything
            }
        }
        bytes = rest;
    }
    uri + "?immutable=1"
}

/// An open journal.
pub struct Journal {
    connection: Connection,
    path: PathBuf,
    /// Why it can only be read, where that is so.
    read_only: Option<String>,
}

impl Journal {
    /// The journal's usual place: `journal.sqlite` in the player's data folder.
    ///
    /// # Errors
    /// [`JournalError::NoFolder`] where the system names no such folder.
    pub fn usual_place() -> Result<PathBuf, JournalError> {
        let folder = home::data()
            .ok_or_else(|| JournalError::NoFolder("this system names no data folder".into()))?;
        Ok(folder.join("journal.sqlite"))
    }

    /// Opens the journal at `path`, making it (and its folder) where there is none, and bringing
    /// an older file to the current schema after a copy of it was put aside.
    ///
    /// A file made by a newer version, or one that may not be written, opens for reading only;
    /// [`Journal::read_only`] then says why.
    ///
    /// # Errors
    /// When the file is something else, damaged, or held by another program.
    pub fn open(path: &Path) -> Result<Self, JournalError> {
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|e| JournalError::NoFolder(format!("{}: {e}", folder.display())))?;
        }
        let path = absolute(path)?;
        let begun = Instant::now();
        loop {
            match Self::open_for_writing(&path) {
                // SQLite does not wait by itself where several set up the log at once.
                Err(JournalError::Busy(_)) if begun.elapsed() < PATIENCE => {
                    std::thread::sleep(Duration::from_millis(20));
                }
                Err(JournalError::ReadOnly { why, .. }) => {
                    return Self::open_for_reading(&path, why);
                }
                other => return other,
            }
        }
    }

    fn open_for_writing(path: &Path) -> Result<Self, JournalError> {
        let wrap = |e| JournalError::sqlite(path, e);
        let mut connection = Connection::open_with_flags(path, WRITING).map_err(wrap)?;
        connection.busy_timeout(PATIENCE).map_err(wrap)?;
        schema::recognise(&connection, path)?;
        if connection.is_readonly("main").map_err(wrap)? {
            return Err(JournalError::read_only_because(
                path,
                "no right to write it",
            ));
        }
        connection
            .execute_batch(
                "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;",
            )
            .map_err(wrap)?;
        schema::migrate(&mut connection, path, schema::MIGRATIONS)?;
        Ok(Self {
            connection,
            path: path.into(),
            read_only: None,
        })
    }

    fn open_for_reading(path: &Path, why: String) -> Result<Self, JournalError> {
        let wrap = |e| JournalError::sqlite(path, e);
        let path = &absolute(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(wrap)?;
        connection.busy_timeout(PATIENCE).map_err(wrap)?;
        let readable = connection.query_row("SELECT count(*) FROM sqlite_master", [], |_| Ok(()));
        let connection = if readable.is_ok() {
            connection
        } else {
            // A write-ahead log cannot be set up on a read-only disk: read the file as it stands.
            let flags = flags | OpenFlags::SQLITE_OPEN_URI;
            Connection::open_with_flags(unchanging(path), flags).map_err(wrap)?
        };
        Ok(Self {
            connection,
            path: path.into(),
            read_only: Some(why),
        })
    }

    /// Why the journal can only be read, where that is so.
    pub fn read_only(&self) -> Option<&str> {
        self.read_only.as_deref()
    }

    /// Where the journal is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// SQLite's own integrity check.
    ///
    /// # Errors
    /// [`JournalError::Damaged`] when it finds a fault.
    pub fn check(&self) -> Result<(), JournalError> {
        let said: String = self
            .connection
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .map_err(|e| self.wrap(e))?;
        if said == "ok" {
            Ok(())
        } else {
            Err(JournalError::Damaged(self.path.clone()))
        }
    }

    /// Allows the file only `pages` more or less pages, as a full disk would; for tests of that.
    #[doc(hidden)]
    pub fn limit_pages_for_tests(&self, pages: u32) {
        let sql = format!("PRAGMA max_page_count = {pages}");
        // The pragma answers with the limit now in force.
        let _ = self.connection.query_row(&sql, [], |_| Ok(()));
    }

    fn wrap(&self, error: rusqlite::Error) -> JournalError {
        JournalError::sqlite(&self.path, error)
    }
}
