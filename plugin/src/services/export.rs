//! Taking it away: what was heard, or the loop of it, written as a file in any format.

use crate::job::Cancel;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::recording::Recording;
use thumbline::report::export::{self, Format};
use thumbline::report::file::Target;

/// A file to be written.
#[derive(Debug, Clone)]
pub struct Job {
    /// Its format.
    pub format: Format,
    /// The recording, at any rate.
    pub sound: Arc<Recording>,
    /// What was heard in it, as corrected.
    pub heard: Arc<Analysis>,
    /// Name of the recording's file.
    pub name: String,
    /// First and last bar; none for all of it.
    pub bars: Option<(i32, i32)>,
    /// The folder it goes into.
    pub folder: PathBuf,
}

/// Where it lies, or why it does not.
pub type Answer = Result<PathBuf, String>;

/// Does a job in one go; says nothing when it was given up.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    let bytes = match job.bars {
        Some(bars) => export::phrase(job.format, &job.sound, &job.heard, bars),
        None => export::bytes(job.format, &job.sound, &job.heard, None),
    };
    if cancel.is_cancelled() {
        return;
    }
    say(bytes.map_err(|e| e.to_string()).and_then(|bytes| {
        let path = free(&job.folder, &job.stem(), job.format.ending());
        std::fs::create_dir_all(&job.folder).map_err(|e| e.to_string())?;
        let written = Target::of(&path).write(|out| out.write_all(&bytes));
        written.map(|()| path).map_err(|e| e.to_string())
    }));
}

impl Job {
    /// The file's name without its ending: `tune, bars 5-8`.
    fn stem(&self) -> String {
        let name = self
            .name
            .rsplit_once('.')
            .map_or(&*self.name, |(stem, _)| stem);
        let of = match self.bars {
            None => String::new(),
            Some((first, last)) if first == last => format!(", bar {first}"),
            Some((first, last)) => format!(", bars {first}-{last}"),
        };
        let kind = if self.format == Format::MidiEven {
            ", even"
        } else {
            ""
        };
        format!("{name}{of}{kind}")
    }
}

/// A name in `folder` that no file has: with a number where the plain one is taken.
fn free(folder: &Path, stem: &str, ending: &str) -> PathBuf {
    let plain = folder.join(format!("{stem}.{ending}"));
    let numbered = (2..10_000).map(|n| folder.join(format!("{stem} ({n}).{ending}")));
    let mut names = std::iter::once(plain.clone()).chain(numbered);
    names.find(|path| !path.exists()).unwrap_or(plain)
}
