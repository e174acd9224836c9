//! A wall around the format readers: they are other people's code reading other people's bytes,
//! and a panic inside them must not become ours.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static INSIDE: Cell<bool> = const { Cell::new(false) };
}

/// What `read` returns, or none when it panics.
pub fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
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
