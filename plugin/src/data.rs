//! The player's data folder, and files that are written whole or not at all.

use percent_encoding::percent_decode_str;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thumbline::report::file::PartialFile;

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

/// The file that a pasted text names: a whole path, or an address of a file as file managers copy it;
/// none for anything else.
pub fn named(text: &str) -> Option<PathBuf> {
    let line = text.lines().map(str::trim).find(|l| !l.is_empty())?;
    let line = line.trim_matches(['"', '\'']);
    let path = match line.strip_prefix("file://") {
        Some(address) => addressed(address),
        None => PathBuf::from(line),
    };
    (path.is_absolute() && path.extension().is_some()).then_some(path)
}

/// The path in the address of a file, after `file://`: a machine's name before it is left out.
pub fn addressed(address: &str) -> PathBuf {
    let from = address.find('/').unwrap_or_default();
    PathBuf::from(&*percent_decode_str(&address[from..]).decode_utf8_lossy())
}

/// Writes a file whole or not at all.
///
/// # Errors
/// When it cannot be written or put in its place; the file that was there stays then.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(dir) = path.parent() {
        std::fs::create_dir_all(dir)?;
    }
    let part = PartialFile::beside(path)?;
    let mut file = File::options().write(true).open(part.path())?;
    file.write_all(bytes)?;
    file.sync_all()?;
    part.keep()
}
