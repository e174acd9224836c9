//! Files that come to the window with the mouse, and go from it; and the keys of functions.
//!
//! The windowing layer hands on none of them. Under X11 a helper of our own does it (`x11`); elsewhere there
//! is none yet: a path can be pasted there, files are written into a folder, and pages have other keys too.

mod exchange;
#[cfg(target_os = "linux")]
mod x11;

use crate::lock::locked;
use exchange::Exchange;
use raw_window_handle::HasWindowHandle;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

/// The window's end of it. Dropped, nothing of it runs any more.
pub struct Carrier {
    exchange: Arc<Mutex<Exchange>>,
    #[cfg(target_os = "linux")]
    helper: x11::Helper,
}

impl Carrier {
    /// Begins for a window; `wake` is called when something came. None where the system has no such thing.
    pub fn beside(window: &impl HasWindowHandle, wake: impl Fn() + Send + 'static) -> Option<Self> {
        let exchange = Arc::<Mutex<Exchange>>::default();
        #[cfg(target_os = "linux")]
        {
            let helper = x11::Helper::start(window, Arc::clone(&exchange), Box::new(wake))?;
            Some(Self { exchange, helper })
        }
        #[cfg(not(target_os = "linux"))]
        {
            let _ = (window, wake, exchange);
            None
        }
    }

    /// Are files held over the window?
    pub fn coming(&self) -> bool {
        self.with(|exchange| exchange.coming)
    }

    /// Files that were let go over it since the last time.
    pub fn came(&self) -> Vec<PathBuf> {
        self.with(|exchange| std::mem::take(&mut exchange.came))
    }

    /// Keys of functions, F1 on as from 1, that were pressed since the last time: the windowing layer hands
    /// on none of them either.
    pub fn functions(&self) -> Vec<u8> {
        self.with(|exchange| std::mem::take(&mut exchange.functions))
    }

    /// The pointer, whose button is down, carries these files from now on, until it is let go.
    pub fn take_away(&self, files: Vec<PathBuf>) {
        self.with(|exchange| exchange.leaving = files);
        #[cfg(target_os = "linux")]
        self.helper.wake();
    }

    fn with<T>(&self, act: impl FnOnce(&mut Exchange) -> T) -> T {
        act(&mut locked(&self.exchange))
    }
}

#[cfg(test)]
mod tests {
    use super::exchange::{addresses, files};
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
