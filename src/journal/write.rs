//! Keeping rounds; merging, backing up and restoring.

use super::error::JournalError;
use super::moment::Moment;
use super::open::{Journal, PATIENCE, absolute};
use super::round::{HandFigure, PracticeRound};
use super::schema;
use crate::recording::ContentHash;
use crate::report::file::{PartialFile, same_file};
use rusqlite::backup::StepResult;
use rusqlite::{Connection, params};
use serde::Serialize;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

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
    pub fn keep(&mut self, round: &PracticeRound) -> Result<(), JournalError> {
        self.keep_all(std::slice::from_ref(round)).map(|_| ())
    }

    /// Keeps several rounds, all or none; returns how many were new.
    ///
    /// # Errors
    /// As [`Journal::keep`].
    pub fn keep_all(&mut self, rounds: &[PracticeRound]) -> Result<usize, JournalError> {
        self.writable()?;
        rounds.iter().try_for_each(PracticeRound::check)?;
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
        let mut rounds = theirs.rounds(None, usize::MAX, 0)?;
        self.name_as_here(&mut rounds)?;
        let added = self.keep_all(&rounds)?;
        Ok(Merged {
            added,
            known: rounds.len() - added,
            takes: self.take_in_takes(&theirs)?,
        })
    }

    /// A page that is here keeps its name.
    fn name_as_here(&self, rounds: &mut [PracticeRound]) -> Result<(), JournalError> {
        let pages = self.pages()?.into_iter();
        let names: HashMap<_, _> = pages.map(|p| (p.recording, p.name)).collect();
        for round in rounds {
            if let Some(name) = names.get(&round.recording) {
                round.name.clone_from(name);
            }
        }
        Ok(())
    }

    /// How many rounds the journal at `other` holds that are not here: 0 means that nothing would
    /// be lost with it.
    ///
    /// # Errors
    /// When the other file is not a journal or cannot be read.
    pub fn lacks(&self, other: &Path) -> Result<usize, JournalError> {
        let theirs = Self::open_for_reading(other, "it is being looked at".into())?;
        recognised(&theirs)?;
        let mut query = self
            .connection
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM round WHERE id = ?1)")
            .map_err(|e| self.wrap(e))?;
        let mut lacking = 0;
        for round in theirs.rounds(None, usize::MAX, 0)? {
            let here: bool = query
                .query_row([round.id()], |row| row.get(0))
                .map_err(|e| self.wrap(e))?;
            lacking += usize::from(!here);
        }
        Ok(lacking)
    }

    /// Copies the journal, while it may be in use, to `to` (SQLite's online backup); the copy
    /// appears whole or not at all.
    ///
    /// # Errors
    /// When the copy cannot be written, or would take the journal's own place.
    pub fn back_up(&self, to: &Path) -> Result<(), JournalError> {
        if same_file(to, &self.path) {
            return Err(JournalError::Itself(to.into()));
        }
        let to = absolute(to)?;
        let part = PartialFile::beside(&to).map_err(|e| JournalError::file(&to, e))?;
        self.connection
            .backup("main", part.path(), None::<fn(rusqlite::backup::Progress)>)
            .map_err(|e| JournalError::sqlite(part.path(), e))?;
        part.keep().map_err(|e| JournalError::file(&to, e))
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
/// At every instant the journal is there, the old or the new: it is copied aside first, and then
/// the backup's pages replace its own in one transaction, which other programs that have it open
/// see as any other. A file that is no sound journal any more is replaced whole.
///
/// # Errors
/// When `from` is not a sound journal, or the files cannot be written; the journal is then as before.
pub fn restore(from: &Path, journal: &Path) -> Result<Option<PathBuf>, JournalError> {
    let file_error = |e| JournalError::file(from, e);
    if !from.is_file() {
        return Err(file_error(std::io::ErrorKind::NotFound.into()));
    }
    if same_file(from, journal) {
        return Err(JournalError::Itself(from.into()));
    }
    let journal = absolute(journal)?;
    let backup = Journal::open_for_reading(from, "it is a backup".into())?;
    recognised(&backup)?;
    backup.check()?;
    if !journal.exists() {
        backup.back_up(&journal)?;
        return Ok(None);
    }
    let aside = free_name(&journal, &format!("before-restore-{}", Moment::now().0));
    let whole = Journal::open_for_writing(&journal).and_then(|old| old.check().map(|()| old));
    match whole {
        Ok(old) => {
            old.back_up(&aside)?;
            take_the_place(&backup, old)?;
        }
        Err(
            error @ (JournalError::Busy(_)
            | JournalError::ReadOnly { .. }
            | JournalError::NoFolder(_)),
        ) => return Err(error),
        Err(_) => replace_damaged(&backup, &journal, &aside)?,
    }
    Ok(Some(aside))
}

/// The backup's pages instead of the journal's own, in one transaction.
fn take_the_place(backup: &Journal, mut journal: Journal) -> Result<(), JournalError> {
    let path = journal.path.clone();
    let wrap = |e| JournalError::sqlite(&path, e);
    let copy =
        rusqlite::backup::Backup::new(&backup.connection, &mut journal.connection).map_err(wrap)?;
    let started = Instant::now();
    loop {
        match copy.step(-1).map_err(wrap)? {
            StepResult::Done => return Ok(()),
            _ if started.elapsed() > PATIENCE => return Err(JournalError::Busy(path.clone())),
            _ => std::thread::sleep(Duration::from_millis(20)),
        }
    }
}

/// A file that SQLite cannot read goes aside under a second name before the backup takes its own;
/// its log goes first, so that the backup never meets it.
fn replace_damaged(backup: &Journal, journal: &Path, aside: &Path) -> Result<(), JournalError> {
    let file_error = |e| JournalError::file(journal, e);
    std::fs::hard_link(journal, aside)
        .or_else(|_| std::fs::copy(journal, aside).map(|_| ())) // not every disk knows links
        .map_err(file_error)?;
    for tail in ["-wal", "-shm"] {
        let with = |path: &Path| {
            let mut name = path.as_os_str().to_owned();
            name.push(tail);
            PathBuf::from(name)
        };
        let log = with(journal);
        if log.exists() {
            std::fs::rename(&log, with(aside)).map_err(|e| JournalError::file(&log, e))?;
        }
    }
    backup.back_up(journal)
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

fn insert(connection: &Connection, round: &PracticeRound) -> rusqlite::Result<usize> {
    connection
        .prepare_cached(
            "INSERT INTO recording (hash, name) VALUES (?1, ?2)
             ON CONFLICT (hash) DO UPDATE SET name = excluded.name",
        )?
        .execute(params![round.recording.to_string(), round.name])?;
    let part = |figure: Option<HandFigure>| {
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
             (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
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
            serde_json::to_string(&round.faults).unwrap_or_else(|_| "[]".to_owned()),
        ])
}

/// A name beside `path` that no file has yet.
fn free_name(path: &Path, what: &str) -> PathBuf {
    let name = |tail: &str| {
        let mut name = path.file_name().unwrap_or_default().to_os_string();
        name.push(format!(".{what}{tail}"));
        path.with_file_name(name)
    };
    let later = (2..).map(|n| name(&format!("-{n}")));
    std::iter::once(name(""))
        .chain(later)
        .find(|path| !path.exists())
        .unwrap_or_else(|| name("-last"))
}
