//! One service's queue, and the thread that works through it.
//!
//! A thread that reads or writes a file waits as long as the system has it wait: on a network folder
//! that has stalled, for ever. No flag reaches it there. So a thread that does not come back from a
//! task that nobody wants any more is let go, and another takes its place; when it does come back, it
//! finds that and ends. It may outlive the last instance, so the plug-in is linked never to be
//! unmapped (`build.rs`).

use super::guest::{Guest, words};
use crate::job::{Cancel, JobId, Urgency};
use crate::lock::locked;
use crate::services::{Job, Lane, Said, Work};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};
use thumbline::stop;

/// How long a thread may stay in a task that was given up: what works looks at its flag far more often.
const GRACE: Duration = Duration::from_millis(600);
/// How long reading may stay in one step while another instance waits to have something read.
const TURN: Duration = Duration::from_secs(5);

struct Task {
    guest: Arc<Guest>,
    id: JobId,
    urgency: Urgency,
    cancel: Cancel,
    work: Work,
}

/// A task that runs.
struct Running {
    guest: u64,
    id: JobId,
    cancel: Cancel,
    since: Instant,
    given_up: Option<Instant>,
}

impl Running {
    fn give_up(&mut self) {
        self.cancel.cancel();
        self.given_up.get_or_insert_with(Instant::now);
    }
}

#[derive(Default)]
struct Waiting {
    tasks: Vec<Task>,
    now: Option<Running>,
    /// Tasks whose threads were let go.
    stuck: Vec<(u64, Running)>,
    /// Rises with every thread that takes another's place.
    shift: u64,
    /// When each instance was served last, in turns.
    served: BTreeMap<u64, u64>,
    turns: u64,
    stop: bool,
}

/// A service's queue.
pub(super) struct Queue {
    lane: Lane,
    waiting: Mutex<Waiting>,
    bell: Condvar,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Queue {
    /// Starts with its thread.
    pub(super) fn start(lane: Lane) -> Arc<Self> {
        let queue = Arc::new(Self {
            lane,
            waiting: Mutex::default(),
            bell: Condvar::default(),
            thread: Mutex::default(),
        });
        queue.hire(0);
        queue
    }

    /// Puts a thread to work; the one before, if there was one, is let go.
    fn hire(self: &Arc<Self>, shift: u64) {
        let queue = Arc::clone(self);
        let run = move || {
            // A thread that breaks starts over; what it looks after lives outside it.
            while catch_unwind(AssertUnwindSafe(|| queue.work(shift))).is_err() {}
        };
        let thread = thread::Builder::new().name(self.lane.name().into());
        // Without a thread there is no such service, but the host lives on.
        *locked(&self.thread) = thread.spawn(run).ok();
    }

    /// Lets the thread go that does not come back, if there is one.
    pub(super) fn look_after(self: &Arc<Self>) {
        let shift = {
            let mut waiting = locked(&self.waiting);
            let Some(now) = &waiting.now else { return };
            let others = || waiting.tasks.iter().any(|t| t.guest.number != now.guest);
            let stays = match now.given_up {
                Some(given_up) => given_up.elapsed() < GRACE,
                None => self.lane != Lane::Decode || now.since.elapsed() < TURN || !others(),
            };
            if stays || waiting.stop {
                return;
            }
            let shift = waiting.shift;
            let stuck = waiting.now.take().map(|now| (shift, now));
            waiting.stuck.extend(stuck);
            waiting.shift += 1;
            waiting.shift
        };
        self.hire(shift);
        self.bell.notify_all();
    }

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
            let waits = &mut *waiting;
            let stuck = waits.stuck.iter_mut().map(|(_, running)| running);
            for running in waits.now.iter_mut().chain(stuck) {
                if which(running.guest, running.id) {
                    running.give_up();
                }
            }
            let tasks = std::mem::take(&mut waiting.tasks);
            let (dropped, kept) = tasks.into_iter().partition(|t| which(t.guest.number, t.id));
            waiting.tasks = kept;
            dropped
        };
        // What they hold is freed outside the lock.
        drop(dropped);
    }

    /// Waits until no task of the instance runs, or its thread was let go.
    pub(super) fn wait_for(self: &Arc<Self>, number: u64) {
        loop {
            let waiting = locked(&self.waiting);
            if waiting.now.as_ref().is_none_or(|now| now.guest != number) {
                return;
            }
            let woken = self.bell.wait_timeout(waiting, GRACE / 4);
            drop(woken.unwrap_or_else(PoisonError::into_inner));
            self.look_after();
        }
    }

    /// Ends the thread and joins it; nothing runs any more.
    pub(super) fn stop(&self) {
        locked(&self.waiting).stop = true;
        self.bell.notify_all();
        let thread = locked(&self.thread).take();
        if let Some(thread) = thread.filter(|t| t.thread().id() != thread::current().id()) {
            let _ = thread.join();
        }
    }

    fn next(&self, shift: u64) -> Option<Task> {
        let mut waiting = locked(&self.waiting);
        loop {
            if waiting.stop || waiting.shift != shift {
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
                waiting.now = Some(Running {
                    guest: task.guest.number,
                    id: task.id,
                    cancel: task.cancel.clone(),
                    since: Instant::now(),
                    given_up: None,
                });
                return Some(task);
            }
            waiting = self
                .bell
                .wait(waiting)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Works until it is stopped, or another thread has taken its place.
    fn work(&self, shift: u64) {
        while let Some(mut task) = self.next(shift) {
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
                if waiting.shift == shift {
                    waiting.now = None;
                } else {
                    waiting.stuck.retain(|(of, _)| *of != shift);
                }
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
