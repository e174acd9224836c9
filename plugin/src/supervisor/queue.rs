//! One service's queue, and the thread that works through it.

use super::guest::{Guest, words};
use crate::job::{Cancel, JobId, Urgency};
use crate::lock::locked;
use crate::services::{Job, Said, Work};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use thumbline::stop;

struct Task {
    guest: Arc<Guest>,
    id: JobId,
    urgency: Urgency,
    cancel: Cancel,
    work: Work,
}

#[derive(Default)]
struct Waiting {
    tasks: Vec<Task>,
    /// Whose task runs now, which, and its token.
    now: Option<(u64, JobId, Cancel)>,
    /// When each instance was served last, in turns.
    served: BTreeMap<u64, u64>,
    turns: u64,
    stop: bool,
}

/// A service's queue.
#[derive(Default)]
pub(super) struct Queue {
    waiting: Mutex<Waiting>,
    bell: Condvar,
}

impl Queue {
    pub(super) fn push(&self, guest: &Arc<Guest>, id: JobId, job: Job) {
        let task = Task {
            guest: Arc::clone(guest),
            id,
            urgency: job.urgency(),
            cancel: Cancel::default(),
            work: job.work(),
        };
        locked(&self.waiting).tasks.push(task);
        self.bell.notify_all();
    }

    pub(super) fn cancel(&self, number: u64, id: JobId) {
        self.give_up(|n, i| n == number && i == id);
    }

    pub(super) fn cancel_all(&self, number: u64) {
        self.give_up(|n, _| n == number);
        locked(&self.waiting).served.remove(&number);
    }

    fn give_up(&self, which: impl Fn(u64, JobId) -> bool) {
        let dropped: Vec<Task> = {
            let mut waiting = locked(&self.waiting);
            if let Some((number, id, cancel)) = &waiting.now
                && which(*number, *id)
            {
                cancel.cancel();
            }
            let tasks = std::mem::take(&mut waiting.tasks);
            let (dropped, kept) = tasks.into_iter().partition(|t| which(t.guest.number, t.id));
            waiting.tasks = kept;
            dropped
        };
        // What they hold is freed outside the lock.
        drop(dropped);
    }

    /// Waits until no task of the instance runs.
    pub(super) fn wait_for(&self, number: u64) {
        let mut waiting = locked(&self.waiting);
        while waiting.now.as_ref().is_some_and(|(n, ..)| *n == number) {
            waiting = self
                .bell
                .wait(waiting)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    pub(super) fn stop(&self) {
        locked(&self.waiting).stop = true;
        self.bell.notify_all();
    }

    fn next(&self) -> Option<Task> {
        let mut waiting = locked(&self.waiting);
        loop {
            if waiting.stop {
                return None;
            }
            let first = waiting
                .tasks
                .iter()
                .enumerate()
                .min_by_key(|(place, task)| {
                    let behind = !task.guest.foremost.load(Ordering::Relaxed);
                    let served = waiting.served.get(&task.guest.number).copied();
                    (task.urgency, behind, served.unwrap_or(0), *place)
                })
                .map(|(place, _)| place);
            if let Some(first) = first {
                let task = waiting.tasks.remove(first);
                waiting.turns += 1;
                let turn = waiting.turns;
                waiting.served.insert(task.guest.number, turn);
                waiting.now = Some((task.guest.number, task.id, task.cancel.clone()));
                return Some(task);
            }
            waiting = self
                .bell
                .wait(waiting)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Works until it is stopped.
    pub(super) fn work(&self) {
        while let Some(mut task) = self.next() {
            let (cancel, id, client) = (task.cancel.clone(), task.id, &task.guest.client);
            let mut say = |said: Said| {
                if !cancel.is_cancelled() {
                    client.said(id, said);
                }
            };
            let step = catch_unwind(AssertUnwindSafe(|| {
                let step = stop::watch(Some(cancel.flag()), || (task.work)(&cancel, &mut say));
                step.unwrap_or(false)
            }));
            let more = step.unwrap_or_else(|panic| {
                say(Said::Broke(words(&*panic)));
                false
            });
            let done = {
                let mut waiting = locked(&self.waiting);
                waiting.now = None;
                if more && !cancel.is_cancelled() {
                    waiting.tasks.push(task);
                    None
                } else {
                    Some(task)
                }
            };
            // Freed before anybody who waits for its end is woken.
            drop(done);
            self.bell.notify_all();
        }
    }
}
