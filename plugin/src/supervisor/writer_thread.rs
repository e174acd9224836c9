//! The thread that records: it writes what the audio threads of all instances have recorded. Where a
//! folder stalls, it is let go as a queue's thread is (`queue`).

use super::guest::{Guest, words};
use crate::job::JobId;
use crate::lock::locked;
use crate::services::Said;
use crate::services::take_writer::{Answer, Order, TakeWriter};
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// How long an instance that goes waits for what it has recorded to be written.
const GRACE: Duration = Duration::from_secs(2);
/// How often what was recorded is written.
const TEND: Duration = Duration::from_millis(15);

enum Letter {
    Order(JobId, Order),
    Leave,
}

#[derive(Default)]
struct Post {
    letters: VecDeque<(u64, Letter)>,
    guests: Vec<Arc<Guest>>,
    /// Is a letter being read, or a recording written?
    busy: bool,
    stop: bool,
    /// Did somebody wait for it in vain?
    stalled: bool,
}

/// The orders, and what is recorded.
#[derive(Default)]
pub(super) struct WriterThread {
    post: Mutex<Post>,
    bell: Condvar,
    writer: Mutex<TakeWriter>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl WriterThread {
    /// Starts with its thread.
    pub(super) fn start() -> Arc<Self> {
        let this = Arc::new(Self::default());
        let writer = Arc::clone(&this);
        let run = move || {
            // A thread that breaks starts over; what it looks after lives outside it.
            while catch_unwind(AssertUnwindSafe(|| writer.work())).is_err() {}
        };
        let thread = thread::Builder::new().name("thumbline records".into());
        // Without a thread nothing is recorded, but the host lives on.
        *locked(&this.thread) = thread.spawn(run).ok();
        this
    }

    pub(super) fn order(&self, guest: &Arc<Guest>, id: JobId, order: Order) {
        let mut post = locked(&self.post);
        if !post.guests.iter().any(|g| g.number == guest.number) {
            post.guests.push(Arc::clone(guest));
        }
        post.letters
            .push_back((guest.number, Letter::Order(id, order)));
        self.bell.notify_all();
    }

    /// Waits until what the instance records is written; false where that takes too long: it is
    /// written later then.
    pub(super) fn leave(&self, number: u64) -> bool {
        let mut post = locked(&self.post);
        if !post.guests.iter().any(|g| g.number == number) {
            return true;
        }
        post.letters.push_back((number, Letter::Leave));
        self.bell.notify_all();
        let until = Instant::now() + GRACE;
        while post.guests.iter().any(|g| g.number == number) || post.busy {
            let left = until.saturating_duration_since(Instant::now());
            post.stalled |= left.is_zero();
            if post.stalled {
                return false;
            }
            let woken = self.bell.wait_timeout(post, left);
            post = woken.unwrap_or_else(PoisonError::into_inner).0;
        }
        true
    }

    /// Ends the thread; it is joined unless it is stalled.
    pub(super) fn stop(&self) {
        let stalled = {
            let mut post = locked(&self.post);
            post.stop = true;
            post.stalled
        };
        self.bell.notify_all();
        let thread = locked(&self.thread).take().filter(|_| !stalled);
        if let Some(thread) = thread.filter(|t| t.thread().id() != thread::current().id()) {
            let _ = thread.join();
        }
    }

    fn work(&self) {
        loop {
            let (letters, guests) = {
                let mut post = locked(&self.post);
                post.busy = false;
                self.bell.notify_all();
                while post.letters.is_empty() && !post.stop {
                    let idle = locked(&self.writer).is_idle();
                    let (next, timeout) = if idle {
                        let next = self.bell.wait(post);
                        (next.unwrap_or_else(PoisonError::into_inner), false)
                    } else {
                        let next = self.bell.wait_timeout(post, TEND);
                        let (next, timeout) = next.unwrap_or_else(PoisonError::into_inner);
                        (next, timeout.timed_out())
                    };
                    post = next;
                    if timeout {
                        break;
                    }
                }
                if post.stop && post.letters.is_empty() {
                    return;
                }
                post.busy = true;
                (std::mem::take(&mut post.letters), post.guests.clone())
            };
            let mut say = |number: u64, id: JobId, answer: Answer| {
                if let Some(guest) = guests.iter().find(|g| g.number == number) {
                    guest.client.said(id, Said::TakeWriter(answer));
                }
            };
            let mut writer = locked(&self.writer);
            for (number, letter) in letters {
                match letter {
                    Letter::Order(id, order) => {
                        let done = catch_unwind(AssertUnwindSafe(|| {
                            writer.order(number, id, order, &mut say);
                        }));
                        if let Err(panic) = done
                            && let Some(guest) = guests.iter().find(|g| g.number == number)
                        {
                            guest.client.said(id, Said::Broke(words(&*panic)));
                        }
                    }
                    Letter::Leave => {
                        let _ = catch_unwind(AssertUnwindSafe(|| writer.leave(number)));
                        locked(&self.post).guests.retain(|g| g.number != number);
                    }
                }
            }
            writer.tend(&mut say);
        }
    }
}
