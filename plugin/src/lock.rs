//! Locks that stay open after a thread broke while it held one: the panic is caught and said elsewhere, and
//! the others go on.

use std::sync::{Mutex, MutexGuard, PoisonError};

/// Locks, also where a thread broke that held it.
pub fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
