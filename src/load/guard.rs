//! A wall around the format readers: they are other people's code reading other people's bytes,
//! and a panic inside them must not become ours.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static INSIDE: Cell<bool> = const { Cell::new(false) };
}

/// What `read` returns, or none when it panics. Nothing is printed then; panics elsewhere are
/// reported as before.
pub(super) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |panic| {
            if !INSIDE.get() {
                before(panic);
            }
        }));
    });
    INSIDE.set(true);
    let result = catch_unwind(AssertUnwindSafe(read)).ok();
    INSIDE.set(false);
    result
}
