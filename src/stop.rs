//! Giving up long work from within.
//!
//! Who starts the work hands it a flag; the work's inner loops [`check`] it, at least every few
//! milliseconds, and unwind to whoever [`watch`]es when it is raised. No result depends on it. Threads
//! of [`crate::parallel`] look at their caller's flag. The way of incremental compilers: plumbing a
//! token through every function would hide what the functions are for. Not for the audio thread.

use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Raised when a result is not wanted any more. Clones are one flag.
pub type Flag = Arc<AtomicBool>;

/// The work was given up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped;

thread_local! {
    static FLAG: RefCell<Option<Flag>> = const { RefCell::new(None) };
}

/// The flag that this thread looks at.
pub(crate) fn flag() -> Option<Flag> {
    FLAG.with_borrow(Clone::clone)
}

/// Runs `work` with `flag` to look at.
///
/// # Errors
/// [`Stopped`] when the flag was raised before `work` was done. A panic in `work` is the caller's.
pub fn watch<R>(flag: Option<Flag>, work: impl FnOnce() -> R) -> Result<R, Stopped> {
    let before = FLAG.replace(flag);
    let done = catch_unwind(AssertUnwindSafe(work));
    FLAG.set(before);
    done.map_err(|panic| match panic.downcast::<Stopped>() {
        Ok(stopped) => *stopped,
        Err(other) => resume_unwind(other),
    })
}

/// Gives up what this thread does if its flag is raised.
pub(crate) fn check() {
    let raised = FLAG.with_borrow(|f| f.as_ref().is_some_and(|f| f.load(Ordering::Relaxed)));
    if raised {
        resume_unwind(Box::new(Stopped));
    }
}
