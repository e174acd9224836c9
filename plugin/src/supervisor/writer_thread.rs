//! The thread that records: it writes what the audio threads of all instances have recorded.

use super::guest::{Guest, words};
use crate::job::JobId;
use crate::lock::locked;
use crate::services::Said;
use crate::services::take_writer::{Answer, Order, TakeWriter};
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

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
}

/// The orders, and what is recorded.
#[derive(Default)]
pub(super) struct WriterThread {
    post: Mutex<Post>,
    bell: Condvar,
    writer: Mutex<TakeWriter>,
}

impl WriterThread {
    pub(super) fn order(&self, guest: &Arc<Guest>, id: JobId, order: Order) {
        let mut post = locked(&self.post);
        if !post.guests.iter().any(|g| g.number == guest.number) {
            post.guests.push(Arc::clone(guest));
        }
        post.letters
            .push_back((guest.number, Letter::Order(id, order)));
        self.bell.notify_all();
    }

    /// Waits until what the instance records is written.
    pub(super) fn leave(&self, number: u64) {
        let mut post = locked(&self.post);
        if !post.guests.iter().any(|g| g.number == number) {
            return;
        }
        post.letters.push_back((number, Letter::Leave));
        self.bell.notify_all();
        while post.guests.iter().any(|g| g.number == number) || post.busy {
            post = self.bell.wait(post).unwrap_or_else(PoisonError::into_inner);
        }
    }

    pub(super) fn stop(&self) {
        locked(&self.post).stop = true;
        self.bell.notify_all();
    }

    pub(super) fn work(&self) {
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
                if post.stop {
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
