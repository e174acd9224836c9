//! What the hand-over is made of, as the checker sees it.

use loom::sync::Mutex;
use loom::sync::atomic::AtomicU32;
use std::cell::Cell;
use std::collections::VecDeque;

pub use loom::sync::Arc;
pub use loom::sync::atomic::{AtomicU64, Ordering};

loom::thread_local! {
    /// Is this the audio thread, in its callback?
    pub static CALLBACK: Cell<bool> = Cell::new(false);
}

/// A player of nothing.
pub struct Player {
    rate: u32,
    pub activation: u32,
    /// The checker tells of one that is lost.
    _there: Arc<()>,
}

impl Player {
    pub fn new(rate: u32, activation: u32) -> Self {
        Self {
            rate,
            activation,
            _there: Arc::new(()),
        }
    }

    pub fn rate(&self) -> u32 {
        self.rate
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        assert!(!CALLBACK.with(Cell::get), "freed on the audio thread");
    }
}

/// The switch that the hand-over looks at.
pub struct SharedControls {
    pub activation: AtomicU32,
}

impl SharedControls {
    pub fn new() -> Self {
        let activation = AtomicU32::new(0);
        Self { activation }
    }
}

/// A ring: first in, first out, a bound.
pub struct RingBuffer;

pub struct Producer<T>(Arc<Mutex<VecDeque<T>>>, usize);
pub struct Consumer<T>(Arc<Mutex<VecDeque<T>>>);

pub enum PushError<T> {
    Full(T),
}

impl RingBuffer {
    #[allow(clippy::new_ret_no_self, reason = "as the ring's own")]
    pub fn new<T>(room: usize) -> (Producer<T>, Consumer<T>) {
        let ring = Arc::new(Mutex::new(VecDeque::with_capacity(room)));
        (Producer(Arc::clone(&ring), room), Consumer(ring))
    }
}

impl<T> Producer<T> {
    pub fn push(&mut self, thing: T) -> Result<(), PushError<T>> {
        let mut ring = self.0.lock().expect("no panic");
        if ring.len() == self.1 {
            return Err(PushError::Full(thing));
        }
        ring.push_back(thing);
        Ok(())
    }

    pub fn slots(&self) -> usize {
        self.1 - self.0.lock().expect("no panic").len()
    }
}

impl<T> Consumer<T> {
    pub fn pop(&mut self) -> Result<T, ()> {
        self.0.lock().expect("no panic").pop_front().ok_or(())
    }
}
