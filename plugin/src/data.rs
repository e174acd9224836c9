//! The player's data folder, and files that are written whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thumbline::report::file::Part;

/// Where recordings and takes are kept: the player's data folder, or a temporary one of this
/// process's own where the system names none.
pub fn data_dir() -> PathBuf {
    thumbline::home::data().unwrap_or_else(thumbline::home::makeshift)
}

/// Where files for other programs go, unless the player says otherwise.
pub fn taken_away() -> PathBuf {
    thumbline::home::taken_away().unwrap_or_else(thumbline::home::makeshift)
}

/// A file's name without its folders.
pub fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Writes a file whole or not at all.
///
/// # Errors
/// When it cannot be written or put in its place; the file that was there stays then.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(dir) = path.parent() {
        std::fs::create_dir_all(dir)?;
    }
    let part = Part::beside(path)?;
    let mut file = File::options().write(true).open(part.path())?;
    file.write_all(bytes)?;
    file.sync_all()?;
    part.keep()
}
