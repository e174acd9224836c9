//! Where this program keeps what a player made: takes, the journal, practice set-ups.
//!
//! One folder for the command line and the plug-in, so that both write in the same journal. It
//! names places and makes none.

use directories::ProjectDirs;
use std::path::PathBuf;

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

fn folders() -> Option<ProjectDirs> {
    ProjectDirs::from("org", "thumbline", "thumbline")
}
