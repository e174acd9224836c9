//! A wall around the format readers: they are other people's code reading other people's bytes,
//! and a panic inside them must not become ours.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static INSIDE: Cell<bool> = const { Cell::new(false) };
}

/// What `read` returns, or none when it panics.
pub(super) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    INSIDE.set(true);
    let result = catch_unwind(AssertUnwindSafe(read)).ok();
    INSIDE.set(false);
    result
}

/// From now on a panic inside a format reader, which costs no more than the file, prints nothing;
/// panics elsewhere are reported as before.
///
/// The hook that does this is one for the whole process: a program of its own calls this at its
/// start, and what is a guest in another program never does.
pub fn hush_readers() {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |panic| {
            if !INSIDE.get() {
                before(panic);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// A guest leaves its host's hook where it is, until it is told that the house is its own.
    #[test]
    fn only_a_program_of_its_own_changes_the_hook() {
        static SEEN: AtomicUsize = AtomicUsize::new(0);
        set_hook(Box::new(|_| {
            SEEN.fetch_add(1, Ordering::SeqCst);
        }));
        assert!(guarded(|| panic!("a reader's")).is_none());
        assert_eq!(SEEN.load(Ordering::SeqCst), 1, "the host's hook heard it");
        hush_readers();
        assert!(guarded(|| panic!("a reader's")).is_none());
        assert_eq!(SEEN.load(Ordering::SeqCst), 1, "hushed");
        assert!(catch_unwind(|| panic!("ours")).is_err());
        assert_eq!(SEEN.load(Ordering::SeqCst), 2, "our own is still heard");
        let _ = take_hook();
    }
}
