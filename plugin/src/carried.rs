//! Files that come to the window with the mouse, and go from it; and the keys of functions.
//!
//! The windowing layer hands on none of them. Under X11 a helper of our own does it (`x11`); elsewhere there
//! is none yet: a path can be pasted there, files are written into a folder, and pages have other keys too.

#[cfg(target_os = "linux")]
mod x11;

use crate::data::addressed;
use crate::lock::locked;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use raw_window_handle::HasWindowHandle;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

/// What the mouse brings and takes, shared with the window.
#[derive(Default)]
struct Shelf {
    /// Are files held over the window now?
    coming: bool,
    /// Files that were let go over it and not fetched yet.
    came: Vec<PathBuf>,
    /// Files to be taken away.
    leaving: Vec<PathBuf>,
    /// Keys of functions that were pressed, from 1.
    functions: Vec<u8>,
    /// Does nobody want anything any more?
    over: bool,
}

/// The window's end of it. Dropped, nothing of it runs any more.
pub struct Carrier {
    shelf: Arc<Mutex<Shelf>>,
    #[cfg(target_os = "linux")]
    porter: x11::Porter,
}

impl Carrier {
    /// Begins for a window; `wake` is called when something came. None where the system has no such thing.
    pub fn beside(window: &impl HasWindowHandle, wake: impl Fn() + Send + 'static) -> Option<Self> {
        let shelf = Arc::<Mutex<Shelf>>::default();
        #[cfg(target_os = "linux")]
        {
            let porter = x11::Porter::start(window, Arc::clone(&shelf), Box::new(wake))?;
            Some(Self { shelf, porter })
        }
        #[cfg(not(target_os = "linux"))]
        {
            let _ = (window, wake, shelf);
            None
        }
    }

    /// Are files held over the window?
    pub fn coming(&self) -> bool {
        self.with(|shelf| shelf.coming)
    }

    /// Files that were let go over it since the last time.
    pub fn came(&self) -> Vec<PathBuf> {
        self.with(|shelf| std::mem::take(&mut shelf.came))
    }

    /// Keys of functions, F1 on as from 1, that were pressed since the last time: the windowing layer hands
    /// on none of them either.
    pub fn functions(&self) -> Vec<u8> {
        self.with(|shelf| std::mem::take(&mut shelf.functions))
    }

    /// The pointer, whose button is down, carries these files from now on, until it is let go.
    pub fn take_away(&self, files: Vec<PathBuf>) {
        self.with(|shelf| shelf.leaving = files);
        #[cfg(target_os = "linux")]
        self.porter.wake();
    }

    fn with<T>(&self, act: impl FnOnce(&mut Shelf) -> T) -> T {
        act(&mut locked(&self.shelf))
    }
}

/// What is left as it is in the address of a file (RFC 3986, section 3.3).
const PLAIN: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'/')
    .remove(b'-')
    .remove(b'_')
    .remove(b'.')
    .remove(b'~');

/// Files as a list of addresses, one a line (RFC 2483, section 5).
fn addresses(files: &[PathBuf]) -> String {
    let line = |path: &PathBuf| {
        let path = path.to_string_lossy();
        format!("file://{}\r\n", utf8_percent_encode(&path, PLAIN))
    };
    files.iter().map(line).collect()
}

/// The files of such a list; what is no file of this machine is left out.
fn files(list: &str) -> Vec<PathBuf> {
    let lines = list.lines().map(str::trim);
    lines
        .filter_map(|line| line.strip_prefix("file://"))
        .map(addressed)
        .filter(|path| path.is_absolute())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{addresses, files};
    use std::path::PathBuf;

    #[test]
    fn lists_of_addresses_come_back_as_they_went() {
        let paths = [
            PathBuf::from("/music/été 100 %.wav"),
            PathBuf::from("/a#b?c.mid"),
        ];
        assert_eq!(files(&addresses(&paths)), paths);
        // A comment, a machine's name, something that is no file (RFC 2483, RFC 8089).
        let list = "# from elsewhere\r\nfile://localhost/a%20b.flac\r\nhttps://a.b/c.wav\r\n";
        assert_eq!(files(list), [PathBuf::from("/a b.flac")]);
    }
}
