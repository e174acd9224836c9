//! The hook of panics, which is one for a whole process: a test in a process of its own.

use std::panic::{catch_unwind, set_hook, take_hook};
use std::sync::atomic::{AtomicUsize, Ordering};
use thumbline::load::guard::{guarded, hush_readers};

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
