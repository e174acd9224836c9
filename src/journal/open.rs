//! The file: opened to write or, where that cannot be, to read.

use super::error::JournalError;
use super::schema;
use crate::home;
use rusqlite::{Connection, OpenFlags};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How long to wait for another program that holds the journal.
pub(super) const PATIENCE: Duration = Duration::from_secs(5);

/// How a journal is opened to write: its path is a path, never an address.
const WRITING: OpenFlags = OpenFlags::SQLITE_OPEN_READ_WRITE
    .union(OpenFlags::SQLITE_OPEN_CREATE)
    .union(OpenFlags::SQLITE_OPEN_NO_MUTEX);

/// `path` from the root, so that SQLite never takes a name such as `file:x` for an address.
pub(super) fn absolute(path: &Path) -> Result<PathBuf, JournalError> {
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
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    /// Why it can only be read, where that is so.
    pub(super) read_only: Option<String>,
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

    pub(super) fn open_for_writing(path: &Path) -> Result<Self, JournalError> {
        let wrap = |e| JournalError::sqlite(path, e);
        let mut connection = Connection::open_with_flags(path, WRITING).map_err(wrap)?;
        connection.busy_timeout(PATIENCE).map_err(wrap)?;
        schema::recognise(&connection, path)?;
        if connection.is_readonly("main").map_err(wrap)? {
            return Err(JournalError::read_only_because(
                path,
                "you may not write to it",
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

    pub(super) fn open_for_reading(path: &Path, why: String) -> Result<Self, JournalError> {
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

    pub(super) fn wrap(&self, error: rusqlite::Error) -> JournalError {
        JournalError::sqlite(&self.path, error)
    }
}
