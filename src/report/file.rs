//! Output files written whole or not at all.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Why a report could not be written.
#[derive(Debug, thiserror::Error)]
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

/// The temporary file; removed unless it was renamed.
struct Part {
    path: PathBuf,
    kept: bool,
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.kept {
            let _ = fs::remove_file(&self.path); // nothing more can be done about a leftover
        }
    }
}

fn write_file(path: &Path, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    if path.is_dir() {
        return Err(io::Error::new(
            io::ErrorKind::IsADirectory,
            "it is a folder",
        ));
    }
    let name = path
        .file_name()
        .ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "it has no file name"))?;
    // A device or a pipe cannot be replaced; it is written as it is.
    if fs::metadata(path).is_ok_and(|facts| !facts.is_file()) {
        let mut out = BufWriter::new(File::options().write(true).open(path)?);
        fill(&mut out)?;
        return out.flush();
    }
    let mut beside = std::ffi::OsString::from(".");
    beside.push(name);
    beside.push(format!(".{}.part", std::process::id()));
    let mut part = Part {
        path: path.with_file_name(beside),
        kept: false,
    };
    let mut out = BufWriter::new(File::create(&part.path)?);
    fill(&mut out)?;
    out.into_inner()
        .map_err(io::IntoInnerError::into_error)?
        .sync_all()?;
    fs::rename(&part.path, path)?;
    part.kept = true;
    Ok(())
}
