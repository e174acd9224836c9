//! Where results go, and what they may not take the place of.

use super::usage::usage;
use anyhow::Result;
use clap::Args;
use std::path::{Path, PathBuf};
use thumbline::report::file::{Target, same_file};
use thumbline::report::sign;

/// What may be replaced by a result.
#[derive(Args)]
pub struct OutputArguments {
    /// Overwrite files that exist already, but never a recording.
    #[arg(long)]
    replace: bool,
}

impl OutputArguments {
    /// Where reports go, looked at before any work: `-` is standard output, which only one of them
    /// can have. What this program wrote may be written anew; everything else that is in the way
    /// takes `--replace`, and what is `read` by the same command is safe even from that, unless it
    /// was written by this program.
    pub fn targets<const N: usize>(
        &self,
        read: &[&Path],
        paths: [Option<&PathBuf>; N],
    ) -> Result<[Option<Target>; N]> {
        for (i, path) in paths.iter().enumerate() {
            let Some(path) = path else { continue };
            if paths[..i].iter().flatten().any(|p| same_place(p, path)) {
                return Err(usage(
                    "two reports cannot go to the same place: name another file for one of them",
                ));
            }
            self.allow(read, path)?;
        }
        Ok(paths.map(|path| path.map(|p| Target::of(p))))
    }

    /// The one place where a result goes.
    pub fn target(&self, read: &[&Path], path: &PathBuf) -> Result<Target> {
        self.targets(read, [Some(path)])?;
        Ok(Target::of(path))
    }

    /// May `path` be written by a command that reads the files `read`?
    fn allow(&self, read: &[&Path], path: &Path) -> Result<()> {
        if path.as_os_str() == "-" || !path.is_file() {
            return Ok(());
        }
        let name = path.display();
        if let Some(source) = read.iter().find(|source| same_file(source, path)) {
            let source = source.display();
            return match (sign::is_ours(path), self.replace) {
                (true, true) => Ok(()),
                (true, false) => Err(usage(format!(
                    "`{name}` is what is read here (`{source}`): name another file, or say \
                     --replace to lose it"
                ))),
                (false, _) => Err(usage(format!(
                    "`{name}` is the recording itself (`{source}`) and would be lost: name \
                     another file"
                ))),
            };
        }
        if self.replace || sign::is_ours(path) {
            return Ok(());
        }
        Err(usage(format!(
            "`{name}` is there already and nothing in it says that Thumbline made it: name \
             another file, or say --replace to lose it"
        )))
    }
}

/// Do two paths lead to one file, there already or not?
fn same_place(a: &Path, b: &Path) -> bool {
    if a == b || same_file(a, b) {
        return true;
    }
    let place = |path: &Path| {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        Some((folder.canonicalize().ok()?, path.file_name()?.to_owned()))
    };
    place(a).is_some_and(|a| place(b) == Some(a))
}
