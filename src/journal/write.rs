//! Keeping rounds; merging, backing up and restoring.

use super::{Figure, Journal, JournalError, Moment, Round, schema};
use crate::recording::ContentHash;
use rusqlite::{Connection, params};
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::mpsc;

/// What a merge brought in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Merged {
    /// Rounds that were new here.
    pub added: usize,
    /// Rounds that both journals had.
    pub known: usize,
    /// Takes whose sound was copied.
    pub takes: usize,
}

impl Journal {
    /// Keeps a round: when this returns, it is on the disk. A round that is already kept is not
    /// kept twice.
    ///
    /// # Errors
    /// [`JournalError::Unusable`] for figures that are not numbers; otherwise what the disk says.
    pub fn keep(&mut self, round: &Round) -> Result<(), JournalError> {
        self.keep_all(std::slice::from_ref(round)).map(|_| ())
    }

    /// Keeps several rounds, all or none; returns how many were new.
    ///
    /// # Errors
    /// As [`Journal::keep`].
    pub fn keep_all(&mut self, rounds: &[Round]) -> Result<usize, JournalError> {
        self.writable()?;
        rounds.iter().try_for_each(Round::check)?;
        let path = self.path.clone();
        let wrap = |e| JournalError::sqlite(&path, e);
        let transaction = self
            .connection
            .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)
            .map_err(wrap)?;
        let mut added = 0;
        for round in rounds {
            added += insert(&transaction, round).map_err(wrap)?;
        }
        transaction.commit().map_err(wrap)?;
        Ok(added)
    }

    /// Forgets every round of a recording's page; returns how many there were. The caller has
    /// asked for a second word first.
    ///
    /// # Errors
    /// What the disk says.
    pub fn forget(&mut self, recording: ContentHash) -> Result<usize, JournalError> {
        self.writable()?;
        self.connection
            .execute(
                "DELETE FROM round WHERE recording = ?1",
                [recording.to_string()],
            )
            .map_err(|e| self.wrap(e))
    }

    /// Takes in every round of another journal that is not here yet, and copies the takes beside it.
    ///
    /// # Errors
    /// When the other file is not a journal or cannot be read; nothing is taken in then.
    pub fn merge(&mut self, other: &Path) -> Result<Merged, JournalError> {
        self.writable()?;
        if !other.is_file() {
            return Err(JournalError::file(
                other,
                std::io::ErrorKind::NotFound.into(),
            ));
        }
        let theirs = Self::open_for_reading(other, "it is being merged".into())?;
        recognised(&theirs)?;
        let rounds = theirs.rounds(None, usize::MAX, 0)?;
        let added = self.keep_all(&rounds)?;
        Ok(Merged {
            added,
            known: rounds.len() - added,
            takes: self.take_in_takes(&theirs)?,
        })
    }

    /// Copies the journal, while it may be in use, to `to` (SQLite's online backup); the copy
    /// appears whole or not at all.
    ///
    /// # Errors
    /// When the copy cannot be written.
    pub fn back_up(&self, to: &Path) -> Result<(), JournalError> {
        let part = beside(to, "part");
        let copied = self
            .connection
            .backup("main", &part, None::<fn(rusqlite::backup::Progress)>)
            .map_err(|e| JournalError::sqlite(&part, e))
            .and_then(|()| std::fs::rename(&part, to).map_err(|e| JournalError::file(to, e)));
        if copied.is_err() {
            // The half-written copy is of no use; that it may already be gone is no fault.
            let _ = std::fs::remove_file(&part);
        }
        copied
    }

    pub(super) fn writable(&self) -> Result<(), JournalError> {
        match &self.read_only {
            Some(why) => Err(JournalError::read_only_because(&self.path, why.as_str())),
            None => Ok(()),
        }
    }
}

/// Puts a backup in the journal's place. What was there is kept beside it; its new name is
/// returned.
///
/// # Errors
/// When `from` is not a sound journal, or the files cannot be moved; the journal is then as before.
pub fn restore(from: &Path, journal: &Path) -> Result<Option<PathBuf>, JournalError> {
    let file_error = |e| JournalError::file(from, e);
    if !from.is_file() {
        return Err(file_error(std::io::ErrorKind::NotFound.into()));
    }
    let backup = Journal::open_for_reading(from, "it is a backup".into())?;
    recognised(&backup)?;
    backup.check()?;
    let part = beside(journal, "part");
    backup.back_up(&part)?;
    let mut aside = None;
    if journal.exists() {
        let name = beside(journal, &format!("before-restore-{}", Moment::now().0));
        // The write-ahead log goes with its file: checkpoint by opening, where it can be opened.
        if let Ok(old) = Journal::open_for_writing(journal) {
            let _ = old
                .connection
                .execute_batch("PRAGMA wal_checkpoint(TRUNCATE);");
        }
        std::fs::rename(journal, &name).map_err(|e| JournalError::file(journal, e))?;
        for tail in ["-wal", "-shm"] {
            let log = PathBuf::from(format!("{}{tail}", journal.display()));
            if log.exists() {
                let moved = PathBuf::from(format!("{}{tail}", name.display()));
                std::fs::rename(&log, moved).map_err(|e| JournalError::file(&log, e))?;
            }
        }
        aside = Some(name);
    }
    std::fs::rename(&part, journal).map_err(|e| JournalError::file(journal, e))?;
    Ok(aside)
}

/// A thread that alone writes to the journal at `path`; rounds sent to it are kept in order, and
/// each one's outcome comes back on the second channel.
///
/// The thread ends when the sender is dropped.
///
/// # Errors
/// When the journal cannot be opened.
#[allow(
    clippy::type_complexity,
    reason = "a pair of channel ends has no better name"
)]
pub fn spawn_writer(
    path: &Path,
) -> Result<
    (
        mpsc::Sender<Round>,
        mpsc::Receiver<Result<(), JournalError>>,
    ),
    JournalError,
> {
    let mut journal = Journal::open(path)?;
    let (sender, rounds) = mpsc::channel::<Round>();
    let (outcomes, receiver) = mpsc::channel();
    std::thread::Builder::new()
        .name("journal".into())
        .spawn(move || {
            for round in rounds {
                // Where nobody listens for outcomes any more, rounds are still kept.
                let _ = outcomes.send(journal.keep(&round));
            }
        })
        .map_err(|e| JournalError::file(path, e))?;
    Ok((sender, receiver))
}

fn recognised(journal: &Journal) -> Result<(), JournalError> {
    match schema::recognise(&journal.connection, &journal.path) {
        Err(JournalError::ReadOnly { .. }) | Ok(()) => {}
        Err(other) => return Err(other),
    }
    journal
        .connection
        .query_row("SELECT count(*) FROM round", [], |_| Ok(()))
        .map_err(|_| JournalError::NotAJournal(journal.path.clone()))
}

fn insert(connection: &Connection, round: &Round) -> rusqlite::Result<usize> {
    connection
        .prepare_cached(
            "INSERT INTO recording (hash, name) VALUES (?1, ?2)
             ON CONFLICT (hash) DO UPDATE SET name = excluded.name",
        )?
        .execute(params![round.recording.to_string(), round.name])?;
    let part = |figure: Option<Figure>| {
        (
            figure.map(|f| f.notes),
            figure.map(|f| f.drift_ms),
            figure.map(|f| f.spread_ms),
        )
    };
    let (thumb, fingers) = (part(round.thumb), part(round.fingers));
    connection
        .prepare_cached(
            "INSERT OR IGNORE INTO round VALUES
             (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)",
        )?
        .execute(params![
            round.id(),
            round.recording.to_string(),
            round.at.0,
            round.tuning,
            round.from_s,
            round.to_s,
            round.region,
            round.speed,
            thumb.0,
            thumb.1,
            thumb.2,
            fingers.0,
            fingers.1,
            fingers.2,
            round.take.map(|t| t.to_string()),
            round.note,
        ])
}

/// A name beside `path`, for a file on its way or put aside.
fn beside(path: &Path, what: &str) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(format!(".{what}"));
    path.with_file_name(name)
}
