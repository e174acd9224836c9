//! Why the journal could not do what was asked.

use std::path::{Path, PathBuf};

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
    pub(super) fn read_only_because(file: &Path, why: impl Into<String>) -> Self {
        Self::ReadOnly {
            file: file.into(),
            why: why.into(),
        }
    }

    pub(super) fn file(file: &Path, error: std::io::Error) -> Self {
        Self::File {
            file: file.into(),
            error,
        }
    }

    /// Turns what SQLite says about `path` into what a player can do about it.
    pub(super) fn sqlite(path: &Path, error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let path = path.to_path_buf();
        match error.sqlite_error_code() {
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => Self::Busy(path),
            Some(Code::DiskFull) => Self::DiskFull(path),
            Some(Code::DatabaseCorrupt) => Self::Damaged(path),
            Some(Code::NotADatabase) => Self::NotAJournal(path),
            Some(Code::ReadOnly | Code::PermissionDenied) => {
                Self::read_only_because(&path, "you may not write to it")
            }
            Some(Code::CannotOpen) => Self::NoFolder(path.display().to_string()),
            _ => Self::Other { file: path, error },
        }
    }
}
