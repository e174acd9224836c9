//! What every job of a service has: a number, a token to cancel it by, an urgency.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A job's number, unique in its instance: an answer to any but the latest of its kind is dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct JobId(pub u64);

/// Tells a job to stop. Clones are one token.
#[derive(Debug, Clone, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// From now on the job's result is not wanted.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Release);
    }

    /// What the work looks at from within.
    pub fn flag(&self) -> thumbline::stop::Flag {
        Arc::clone(&self.0)
    }

    /// Should the job stop?
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}

/// How urgent a job is; lower comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Somebody waits to hear it.
    Sound,
    /// Somebody waits to see it.
    Sight,
}
