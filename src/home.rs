//! Where this program keeps what a player made: takes, the journal, practice set-ups.
//!
//! One folder for the command line and the plug-in, so that both write in the same journal. It
//! names places and makes none, but for a makeshift one.

use directories::{ProjectDirs, UserDirs};
use std::path::PathBuf;
use std::sync::OnceLock;

/// The player's data folder: `THUMBLINE_DATA`, or this program's folder among the system's data;
/// none where there is no home.
pub fn data() -> Option<PathBuf> {
    if let Some(given) = std::env::var_os("THUMBLINE_DATA") {
        return Some(given.into());
    }
    Some(folders()?.data_dir().to_owned())
}

/// The player's own presets: `THUMBLINE_PRESETS`, or `presets` in this program's folder among the
/// system's settings; none where there is no home.
pub fn presets() -> Option<PathBuf> {
    if let Some(given) = std::env::var_os("THUMBLINE_PRESETS") {
        return Some(given.into());
    }
    Some(folders()?.config_dir().join("presets"))
}

/// Where a player looks for what was written for other programs: `taken away` in `THUMBLINE_DATA`, or a
/// folder of this program's name among the player's documents, or else among its data; none where there
/// is no home.
pub fn taken_away() -> Option<PathBuf> {
    if std::env::var_os("THUMBLINE_DATA").is_none()
        && let Some(documents) = UserDirs::new().and_then(|d| Some(d.document_dir()?.to_owned()))
    {
        return Some(documents.join("Thumbline"));
    }
    Some(data()?.join("taken away"))
}

/// A folder for where there is no home, one for the whole life of this process: nobody else can
/// know its name beforehand or look into it. What is kept there lasts until the system clears its
/// temporary files.
pub fn makeshift() -> PathBuf {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    let made = || {
        let folder = tempfile::Builder::new().prefix("thumbline-").tempdir();
        // Where none can be made, what is written later fails and says so.
        folder.map_or_else(
            |_| std::env::temp_dir().join("nowhere"),
            tempfile::TempDir::keep,
        )
    };
    FOLDER.get_or_init(made).clone()
}

fn folders() -> Option<ProjectDirs> {
    ProjectDirs::from("org", "thumbline", "thumbline")
}
