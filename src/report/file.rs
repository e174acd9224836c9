//! Output files written whole or not at all.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Why a report could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The file or its folder cannot be written.
    #[error(
        "`{name}` cannot be written ({why}): choose another folder or free some space; nothing was changed"
    )]
    File {
        /// The file.
        name: String,
        /// The system's reason.
        why: io::Error,
    },
    /// Standard output is closed or full.
    #[error("standard output cannot be written ({0})")]
    Output(io::Error),
}

/// Where a report goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// Standard output.
    Output,
    /// A file, replaced when it exists.
    File(PathBuf),
}

impl Target {
    /// `-` is standard output, everything else a file.
    pub fn of(path: &Path) -> Self {
        if path.as_os_str() == "-" {
            Self::Output
        } else {
            Self::File(path.to_owned())
        }
    }

    /// Lets `fill` write the report.
    ///
    /// A file appears under its name only when it is complete: it is written beside it under a
    /// temporary name and then renamed. Whatever fails, what stood there before is untouched.
    ///
    /// # Errors
    /// [`WriteError`] with the name of the file.
    pub fn write(
        &self,
        fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), WriteError> {
        match self {
            Self::Output => {
                let mut out = BufWriter::new(io::stdout().lock());
                fill(&mut out)
                    .and_then(|()| out.flush())
                    .map_err(WriteError::Output)
            }
            Self::File(path) => write_file(path, fill).map_err(|why| WriteError::File {
                name: path.display().to_string(),
                why,
            }),
        }
    }
}

/// Do two paths lead to one file that is there, be it by another name, a link or a detour? Only
/// plain files are compared: to look into a pipe would wait for it.
pub fn same_file(a: &Path, b: &Path) -> bool {
    a.is_file() && b.is_file() && same_file::is_same_file(a, b).unwrap_or(false)
}

/// A file on its way: it lies beside its place under a name of its own until [`PartialFile::keep`] puts it
/// there, and goes again when it is dropped before.
#[derive(Debug)]
pub struct PartialFile {
    path: PathBuf,
    place: PathBuf,
    kept: bool,
}

impl PartialFile {
    /// Makes an empty file beside `place`, under a name that no other has: two programs, or two
    /// windows of one, that write the same file do not meet, and no link is followed.
    ///
    /// # Errors
    /// When `place` is a folder or names no file, or none can be made beside it.
    pub fn beside(place: &Path) -> io::Result<Self> {
        if place.is_dir() {
            return Err(io::Error::new(
                io::ErrorKind::IsADirectory,
                "it is a folder",
            ));
        }
        let name = place
            .file_name()
            .ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "it has no file name"))?;
        let mut last = io::Error::other("no free name");
        for _ in 0..100 {
            let number = NUMBER.fetch_add(1, Ordering::Relaxed);
            let mut beside = OsString::from(".");
            beside.push(name);
            beside.push(format!(".{}-{number}.part", std::process::id()));
            let path = place.with_file_name(beside);
            match File::create_new(&path) {
                Ok(_) => {
                    return Ok(Self {
                        path,
                        place: place.to_owned(),
                        kept: false,
                    });
                }
                Err(why) if why.kind() == io::ErrorKind::AlreadyExists => last = why,
                Err(why) => return Err(why),
            }
        }
        Err(last)
    }

    /// Where it lies now.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Puts it in its place, whatever was there.
    ///
    /// # Errors
    /// The system's; what was there before stays then.
    pub fn keep(mut self) -> io::Result<()> {
        fs::rename(&self.path, &self.place)?;
        self.kept = true;
        // That it now stands under this name is the folder's to remember; not every system lets a
        // folder be synchronised, and the file itself is safe already.
        if let Some(folder) = self.place.parent().filter(|f| !f.as_os_str().is_empty()) {
            let _ = File::open(folder).and_then(|folder| folder.sync_all());
        }
        Ok(())
    }
}

impl Drop for PartialFile {
    fn drop(&mut self) {
        if !self.kept {
            let _ = fs::remove_file(&self.path); // nothing more can be done about a leftover
        }
    }
}

/// Tells this program's parts apart.
static NUMBER: AtomicU64 = AtomicU64::new(0);

fn write_file(path: &Path, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    // A device or a pipe cannot be replaced; it is written as it is.
    if fs::metadata(path).is_ok_and(|facts| !facts.is_file() && !facts.is_dir()) {
        let mut out = BufWriter::new(File::options().write(true).open(path)?);
        fill(&mut out)?;
        return out.flush();
    }
    let part = PartialFile::beside(path)?;
    let mut out = BufWriter::new(File::options().write(true).open(part.path())?);
    fill(&mut out)?;
    out.into_inner()
        .map_err(io::IntoInnerError::into_error)?
        .sync_all()?;
    part.keep()
}
