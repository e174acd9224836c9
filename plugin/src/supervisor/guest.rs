//! An instance as the threads see it.

use crate::job::JobId;
use crate::services::Said;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// What the threads ask of an instance.
pub trait Client: Send + Sync {
    /// A service says something about a job.
    fn said(&self, id: JobId, said: Said);
    /// Look after it; called a few dozen times a second.
    fn tick(&self);
    /// Something broke while it was looked after.
    fn broke(&self, what: String);
}

/// An instance at the threads' table.
pub(super) struct Guest {
    pub number: u64,
    /// Is it heard or looked at now?
    pub foremost: AtomicBool,
    pub client: Arc<dyn Client>,
}

/// What a panic says of itself.
pub(super) fn words(panic: &(dyn std::any::Any + Send)) -> String {
    panic
        .downcast_ref::<String>()
        .cloned()
        .or_else(|| panic.downcast_ref::<&str>().map(|s| (*s).to_owned()))
        .unwrap_or_else(|| "no reason is known".to_owned())
}
