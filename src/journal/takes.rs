//! The sound of takes: FLAC files in a folder beside the journal, each named by the hash of what it
//! holds.
//!
//! A file is written whole or not at all and is never changed after; the journal notes it only when
//! it is on the disk. Forgetting a page leaves its takes; only [`Journal::discard_take`] removes
//! one, and only when it is asked to for good.

use super::error::JournalError;
use super::moment::Moment;
use super::open::Journal;
use super::round::PracticeRound;
use crate::load::load;
use crate::recording::{ContentHash, Recording};
use crate::report::file::{Target, WriteError};
use crate::report::flac;
use rusqlite::{Row, params};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// A take whose sound is kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeptTake {
    /// Identity of its sound.
    pub hash: ContentHash,
    /// Where it is.
    pub file: PathBuf,
    /// When it was kept.
    pub at: Moment,
    /// Rounds of the journal that were measured on it.
    pub rounds: u64,
    /// Size of the file in bytes; none when it is no longer there.
    pub bytes: Option<u64>,
}

/// What keeping a take came to.
#[derive(Debug)]
pub struct KeptRounds {
    /// Rounds that the journal did not have; 0 where this take was measured before.
    pub new: usize,
    /// Why the take's sound is not kept, where it is not.
    pub soundless: Option<JournalError>,
}

impl Journal {
    /// Keeps the sound of a take, at 24 bits; a take that is kept already is not kept twice. Gives
    /// the hash of the sound as it reads back: the take's own, unless it was finer than 24 bits.
    ///
    /// # Errors
    /// [`JournalError::Unusable`] for more channels than FLAC holds; otherwise what the disk says.
    pub fn keep_sound(&mut self, take: &Recording) -> Result<ContentHash, JournalError> {
        self.writable()?;
        if take.channels().len() > flac::MOST_CHANNELS {
            let why = format!("a take of {} channels", take.channels().len());
            return Err(JournalError::Unusable(why));
        }
        let channels: Vec<Vec<f32>> = take
            .channels()
            .iter()
            .map(|c| c.iter().map(|s| flac::rounded(*s)).collect())
            .collect();
        let rounded = Recording::new(take.name(), take.rate(), channels)
            .map_err(|why| JournalError::Unusable(why.to_string()))?;
        let hash = rounded.hash();
        let name = name(hash);
        let folder = self.takes_folder();
        let file = folder.join(&name);
        if !file.is_file() {
            std::fs::create_dir_all(&folder).map_err(|e| JournalError::file(&folder, e))?;
            Target::File(file)
                .write(|out| flac::write(out, rounded.rate(), rounded.channels()))
                .map_err(|e| written(&folder.join(&name), e))?;
        }
        self.note_take(hash, Moment::now())?;
        Ok(hash)
    }

    /// Keeps the `rounds` of a take and its sound, once: a take whose rounds with this recording
    /// are kept already is not practised again by being measured again. Where the sound cannot be
    /// kept the rounds are all the same.
    ///
    /// # Errors
    /// A journal that cannot be written to: then nothing is kept.
    pub fn keep_with_sound(
        &mut self,
        take: &Recording,
        mut rounds: Vec<PracticeRound>,
    ) -> Result<KeptRounds, JournalError> {
        self.writable()?;
        let sound = self.keep_sound(take);
        if let Ok(hash) = sound {
            for round in &mut rounds {
                round.take = Some(hash);
            }
            if let Some(first) = rounds.first()
                && self.measured_before(first.recording, hash)?
            {
                rounds.clear();
            }
        }
        Ok(KeptRounds {
            new: self.keep_all(&rounds)?,
            soundless: sound.err(),
        })
    }

    fn measured_before(
        &self,
        recording: ContentHash,
        take: ContentHash,
    ) -> Result<bool, JournalError> {
        self.connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM round WHERE recording = ?1 AND take = ?2)",
                [recording.to_string(), take.to_string()],
                |row| row.get(0),
            )
            .map_err(|e| self.wrap(e))
    }

    /// All kept takes, the latest first.
    ///
    /// # Errors
    /// What the disk says.
    pub fn takes(&self) -> Result<Vec<KeptTake>, JournalError> {
        let wrap = |e| self.wrap(e);
        let mut query = self
            .connection
            .prepare_cached(
                "SELECT hash, at, (SELECT count(*) FROM round WHERE round.take = take.hash)
                 FROM take ORDER BY at DESC, hash",
            )
            .map_err(wrap)?;
        let folder = self.takes_folder();
        let rows = query
            .query_map([], |row| kept(row, &folder))
            .map_err(wrap)?;
        rows.collect::<Result<_, _>>().map_err(wrap)
    }

    /// Removes a take's sound for good; the rounds measured on it stay. The caller has asked for a
    /// second word first.
    ///
    /// # Errors
    /// What the disk says; the take is then still noted.
    pub fn discard_take(&mut self, hash: ContentHash) -> Result<(), JournalError> {
        self.writable()?;
        let known: bool = self
            .connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM take WHERE hash = ?1)",
                [hash.to_string()],
                |row| row.get(0),
            )
            .map_err(|e| self.wrap(e))?;
        if !known {
            return Ok(());
        }
        let file = self.takes_folder().join(name(hash));
        match std::fs::remove_file(&file) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
                return Err(JournalError::file(&file, e));
            }
            _ => {}
        }
        self.connection
            .execute("DELETE FROM take WHERE hash = ?1", [hash.to_string()])
            .map(|_| ())
            .map_err(|e| self.wrap(e))
    }

    /// Copies another journal's takes that are not here yet; a file that is gone there, or does not
    /// hold the sound that its name says, is passed over. Gives how many came.
    pub(super) fn take_in_takes(&mut self, theirs: &Self) -> Result<usize, JournalError> {
        let here: Vec<ContentHash> = self.takes()?.into_iter().map(|t| t.hash).collect();
        let folder = self.takes_folder();
        let mut added = 0;
        for take in theirs.takes()? {
            if here.contains(&take.hash) || !holds(&take.file, take.hash) {
                continue;
            }
            std::fs::create_dir_all(&folder).map_err(|e| JournalError::file(&folder, e))?;
            let copied = folder.join(name(take.hash));
            let sound = std::fs::read(&take.file).map_err(|e| JournalError::file(&take.file, e))?;
            Target::File(copied.clone())
                .write(|out| out.write_all(&sound))
                .map_err(|e| written(&copied, e))?;
            self.note_take(take.hash, take.at)?;
            added += 1;
        }
        Ok(added)
    }

    /// Where takes are kept: `NAME-takes` beside the journal's file.
    pub fn takes_folder(&self) -> PathBuf {
        let mut name = self.path.file_stem().unwrap_or_default().to_os_string();
        name.push("-takes");
        self.path.with_file_name(name)
    }

    fn note_take(&self, hash: ContentHash, at: Moment) -> Result<(), JournalError> {
        self.connection
            .execute(
                "INSERT INTO take (hash, file, at) VALUES (?1, ?2, ?3)
                 ON CONFLICT (hash) DO UPDATE SET file = excluded.file",
                params![hash.to_string(), name(hash), at.0],
            )
            .map(|_| ())
            .map_err(|e| self.wrap(e))
    }
}

fn kept(row: &Row<'_>, folder: &Path) -> rusqlite::Result<KeptTake> {
    let hash: String = row.get(0)?;
    let hash = ContentHash::try_from(hash).map_err(|why| {
        rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Text, why.into())
    })?;
    let file = folder.join(name(hash));
    Ok(KeptTake {
        hash,
        bytes: std::fs::metadata(&file).ok().map(|m| m.len()),
        file,
        at: Moment(row.get(1)?),
        rounds: row.get::<_, i64>(2)?.max(0) as u64,
    })
}

/// The file's name in the takes' folder. It follows from the hash alone: what a journal made
/// elsewhere says of files is not believed.
fn name(hash: ContentHash) -> String {
    format!("{hash}.flac")
}

/// Is the file a plain one with the sound of that hash? A link may lead anywhere.
fn holds(file: &Path, hash: ContentHash) -> bool {
    std::fs::symlink_metadata(file).is_ok_and(|facts| facts.is_file())
        && load(file).is_ok_and(|sound| sound.hash() == hash)
}

fn written(file: &Path, error: WriteError) -> JournalError {
    let error = match error {
        WriteError::File { why, .. } | WriteError::Output(why) => why,
    };
    JournalError::file(file, error)
}
