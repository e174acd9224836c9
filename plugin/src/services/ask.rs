//! The desktop's file dialogs. One may stay open as long as the player likes, and cannot be closed
//! from here: a thread of its own that nobody waits for, and that holds nothing of the instance that
//! asked. On Linux the library stays loaded for it (`-z nodelete`).

use super::folder::WRITTEN;
use crate::snapshot::For;
use std::io;
use std::path::PathBuf;
use std::time::{Duration, Instant};
use thumbline::load::ENDINGS;

/// A dialog that answers sooner than this was never seen: the desktop has none.
const SEEN: Duration = Duration::from_millis(400);

/// What came of a dialog.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Asked {
    /// This was chosen.
    Chosen(PathBuf),
    /// It was dismissed.
    Dismissed,
    /// There is no dialog on this desktop.
    NoDialog,
}

/// Shows a file in the program that the system has for it.
///
/// # Errors
/// When no thread can be started for it.
pub fn show(path: PathBuf) -> io::Result<()> {
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "windows") {
        ("cmd", &["/C", "start", ""])
    } else if cfg!(target_os = "macos") {
        ("open", &[])
    } else {
        ("xdg-open", &[])
    };
    std::thread::Builder::new()
        .name("thumbline shows".into())
        .spawn(move || {
            // Where the system has no such program, the file lies there all the same.
            let _ = std::process::Command::new(program)
                .args(before)
                .arg(path)
                .status();
        })?;
    Ok(())
}

/// Opens the dialog that asks where a lesson page goes, `name` being proposed.
///
/// # Errors
/// When no thread can be started for it.
pub fn page(name: String, answer: impl FnOnce(Asked) + Send + 'static) -> io::Result<()> {
    ask(answer, move || {
        rfd::FileDialog::new()
            .set_title("Lesson page")
            .set_file_name(name)
            .add_filter("Web page", &["html"])
            .save_file()
    })
}

/// Opens the dialog that asks for a recording, a take or written notes, in `folder` where one is named.
///
/// # Errors
/// When no thread can be started for it.
pub fn sound(
    purpose: For,
    folder: Option<PathBuf>,
    answer: impl FnOnce(Asked) + Send + 'static,
) -> io::Result<()> {
    ask(answer, move || {
        let dialog = rfd::FileDialog::new().set_title(purpose.heading());
        let mut dialog = if purpose.is_sound() {
            dialog.add_filter("Recordings", &ENDINGS)
        } else {
            dialog.add_filter("MIDI and MusicXML", &WRITTEN)
        };
        if let Some(folder) = folder {
            dialog = dialog.set_directory(folder);
        }
        dialog.pick_file()
    })
}

fn ask(
    answer: impl FnOnce(Asked) + Send + 'static,
    open: impl FnOnce() -> Option<PathBuf> + Send + 'static,
) -> io::Result<()> {
    std::thread::Builder::new()
        .name("thumbline asks".into())
        .spawn(move || {
            let begun = Instant::now();
            answer(match open() {
                Some(path) => Asked::Chosen(path),
                None if begun.elapsed() < SEEN => Asked::NoDialog,
                None => Asked::Dismissed,
            });
        })?;
    Ok(())
}
