//! The file dialog. It may stay open as long as the player likes, and cannot be closed from here: a
//! thread of its own that nobody waits for, and that holds nothing of the instance that asked. On
//! Linux the library stays loaded for it (`-z nodelete`).

use std::path::PathBuf;
use thumbline::load::ENDINGS;

/// Opens the dialog that asks where a lesson page goes, `name` being proposed; `chosen` hears the place,
/// nothing where it was dismissed.
///
/// # Errors
/// When no thread can be started for it.
pub fn page(name: String, chosen: impl FnOnce(PathBuf) + Send + 'static) -> std::io::Result<()> {
    std::thread::Builder::new()
        .name("thumbline asks".into())
        .spawn(move || {
            let path = rfd::FileDialog::new()
                .set_title("Lesson page")
                .set_file_name(name)
                .add_filter("Web page", &["html"])
                .save_file();
            if let Some(path) = path {
                chosen(path);
            }
        })?;
    Ok(())
}

/// Opens the dialog; `chosen` hears what was chosen, nothing where it was dismissed.
///
/// # Errors
/// When no thread can be started for it.
pub fn recording(chosen: impl FnOnce(PathBuf) + Send + 'static) -> std::io::Result<()> {
    std::thread::Builder::new()
        .name("thumbline asks".into())
        .spawn(move || {
            let path = rfd::FileDialog::new()
                .set_title("Open a recording")
                .add_filter("Recordings", &ENDINGS)
                .pick_file();
            if let Some(path) = path {
                chosen(path);
            }
        })?;
    Ok(())
}
