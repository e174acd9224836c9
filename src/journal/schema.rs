//! The journal's tables, and how an older file becomes a newer one.
//!
//! Each migration runs in a transaction of its own with the number it leads to, so that a file is
//! always of exactly one version; a copy of the file is put aside first. A published migration is
//! never edited: a change is a new one.

use super::error::JournalError;
use crate::report::file::PartialFile;
use rusqlite::Connection;
use std::path::{Path, PathBuf};

/// `application_id` of the file (SQLite file format, bytes 68–71): "Thmb".
const APPLICATION: i32 = 0x5468_6d62;

/// SQL that takes a file from the version before to the next.
pub type Migration = &'static str;

/// Migrations in order; the first makes version 1.
pub const MIGRATIONS: &[Migration] = &[
    "
    CREATE TABLE recording (
        hash   TEXT PRIMARY KEY,
        name   TEXT NOT NULL
    ) STRICT;
    CREATE TABLE take (
        hash   TEXT PRIMARY KEY,
        file   TEXT NOT NULL,
        at     INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE round (
        id              TEXT PRIMARY KEY,
        recording       TEXT NOT NULL REFERENCES recording(hash),
        at              INTEGER NOT NULL,
        tuning          TEXT,
        from_s          REAL NOT NULL,
        to_s            REAL NOT NULL,
        region          TEXT NOT NULL,
        speed           REAL NOT NULL,
        thumb_notes     INTEGER,
        thumb_drift     REAL,
        thumb_spread    REAL,
        fingers_notes   INTEGER,
        fingers_drift   REAL,
        fingers_spread  REAL,
        take            TEXT,
        note            TEXT NOT NULL
    ) STRICT;
    CREATE INDEX round_page ON round (recording, at);
",
    "
    -- Faults that a round repeats, as JSON.
    ALTER TABLE round ADD COLUMN faults TEXT NOT NULL DEFAULT '[]';
",
];

/// The version that this program writes.
pub const CURRENT: i32 = MIGRATIONS.len() as i32;

/// Is the file new, or a journal of ours?
///
/// # Errors
/// [`JournalError::NotAJournal`] for another database, [`JournalError::ReadOnly`] for a journal
/// made by a newer version.
pub(super) fn recognise(connection: &Connection, path: &Path) -> Result<(), JournalError> {
    let wrap = |e| JournalError::sqlite(path, e);
    let pragma = |name: &str| -> Result<i32, JournalError> {
        connection
            .query_row(&format!("PRAGMA {name}"), [], |row| row.get(0))
            .map_err(wrap)
    };
    let tables: i32 = connection
        .query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))
        .map_err(wrap)?;
    let version = pragma("user_version")?;
    if pragma("application_id")? != APPLICATION {
        let empty = tables == 0 && version == 0;
        return if empty {
            Ok(())
        } else {
            Err(JournalError::NotAJournal(path.into()))
        };
    }
    if version > CURRENT {
        let why = format!("version {version} made it, this program knows up to {CURRENT}");
        return Err(JournalError::read_only_because(path, why));
    }
    Ok(())
}

/// Brings the file to the last of `migrations`.
///
/// # Errors
/// When one fails: the file then stays at the version before it, with all it held.
pub fn migrate(
    connection: &mut Connection,
    path: &Path,
    migrations: &[Migration],
) -> Result<(), JournalError> {
    let wrap = |e| JournalError::sqlite(path, e);
    let version: i32 = connection
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .map_err(wrap)?;
    let done = version.max(0) as usize;
    if done > 0 && done < migrations.len() {
        set_aside(connection, path, version)?;
    }
    for (index, sql) in migrations.iter().enumerate().skip(done) {
        let transaction = connection
            .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)
            .map_err(wrap)?;
        // Another process may have been here between the look and the lock.
        let now: i32 = transaction
            .query_row("PRAGMA user_version", [], |row| row.get(0))
            .map_err(wrap)?;
        if now as usize > index {
            continue;
        }
        transaction.execute_batch(sql).map_err(wrap)?;
        transaction
            .execute_batch(&format!(
                "PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {};",
                index + 1
            ))
            .map_err(wrap)?;
        transaction.commit().map_err(wrap)?;
    }
    Ok(())
}

/// Copies the file beside itself before its tables change.
fn set_aside(connection: &Connection, path: &Path, version: i32) -> Result<(), JournalError> {
    let copy: PathBuf = path.with_extension(format!("v{version}.sqlite"));
    if copy.exists() {
        return Ok(());
    }
    let part = PartialFile::beside(&copy).map_err(|e| JournalError::file(&copy, e))?;
    connection
        .backup("main", part.path(), None::<fn(rusqlite::backup::Progress)>)
        .map_err(|e| JournalError::sqlite(&copy, e))?;
    part.keep().map_err(|e| JournalError::file(&copy, e))
}
