//! The threads of the process, shared by all instances: one reads (decoding, resampling), one
//! listens (analysis), one keeps (tends every desk a few dozen times a second).
//!
//! A job is a step that is called again while it answers true, so many recordings are read side by
//! side, the more urgent first. The threads live as long as one instance does and are joined with
//! the last: a host may unload the library then.

use crate::hub::Hub;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, Weak};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// How often desks are tended: a start, a stop or a region asked for by MIDI or automation waits
/// no longer.
const TEND: Duration = Duration::from_millis(15);

/// How urgent a job is; lower comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Somebody waits to hear it.
    Sound,
    /// Somebody waits to see it.
    Sight,
}

struct Job {
    urgency: Urgency,
    step: Box<dyn FnMut() -> bool + Send>,
}

#[derive(Default)]
struct Queue {
    jobs: Mutex<VecDeque<Job>>,
    bell: Condvar,
    stop: AtomicBool,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Queue {
    fn push(&self, job: Job) {
        locked(&self.jobs).push_back(job);
        self.bell.notify_one();
    }

    fn pop(&self) -> Option<Job> {
        let mut jobs = locked(&self.jobs);
        loop {
            if self.stop.load(Ordering::Acquire) {
                return None;
            }
            let first = jobs
                .iter()
                .enumerate()
                .min_by_key(|(_, job)| job.urgency)
                .map(|(i, _)| i);
            if let Some(job) = first.and_then(|i| jobs.remove(i)) {
                return Some(job);
            }
            jobs = self.bell.wait(jobs).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn work(&self) {
        while let Some(mut job) = self.pop() {
            // A job that panics is dropped; the thread and everybody else's jobs go on.
            let more = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| (job.step)()));
            if more.unwrap_or(false) {
                self.push(job);
            }
        }
    }
}

/// The threads.
pub struct Crew {
    reading: Arc<Queue>,
    listening: Arc<Queue>,
    hubs: Arc<Mutex<Vec<Weak<Hub>>>>,
    stop: Arc<AtomicBool>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

static CREW: Mutex<Weak<Crew>> = Mutex::new(Weak::new());

impl Crew {
    /// The crew at work, or a new one.
    pub fn hire() -> Arc<Self> {
        let mut crew = locked(&CREW);
        if let Some(crew) = crew.upgrade() {
            return crew;
        }
        let fresh = Arc::new(Self {
            reading: Arc::default(),
            listening: Arc::default(),
            hubs: Arc::default(),
            stop: Arc::default(),
            threads: Mutex::default(),
        });
        for (name, queue) in [("reads", &fresh.reading), ("listens", &fresh.listening)] {
            let queue = Arc::clone(queue);
            fresh.start(name, move || queue.work());
        }
        let (hubs, stop) = (Arc::clone(&fresh.hubs), Arc::clone(&fresh.stop));
        fresh.start("keeps", move || {
            while !stop.load(Ordering::Acquire) {
                let all: Vec<Arc<Hub>> = {
                    let mut hubs = locked(&hubs);
                    hubs.retain(|hub| hub.strong_count() > 0);
                    hubs.iter().filter_map(Weak::upgrade).collect()
                };
                for hub in &all {
                    hub.tend();
                }
                drop(all);
                thread::sleep(TEND);
            }
        });
        *crew = Arc::downgrade(&fresh);
        fresh
    }

    fn start(&self, name: &str, run: impl FnOnce() + Send + 'static) {
        // Without a thread there is no sound, but the host lives on.
        if let Ok(handle) = thread::Builder::new()
            .name(format!("thumbline {name}"))
            .spawn(run)
        {
            locked(&self.threads).push(handle);
        }
    }

    /// Tends this desk from now on, while it lives.
    pub fn tend(&self, hub: Weak<Hub>) {
        locked(&self.hubs).push(hub);
    }

    /// Calls `step` on the reading thread, again while it answers true.
    pub fn read(&self, urgency: Urgency, step: impl FnMut() -> bool + Send + 'static) {
        self.reading.push(Job {
            urgency,
            step: Box::new(step),
        });
    }

    /// Calls `step` on the listening thread, again while it answers true.
    pub fn listen(&self, urgency: Urgency, step: impl FnMut() -> bool + Send + 'static) {
        self.listening.push(Job {
            urgency,
            step: Box::new(step),
        });
    }
}

impl Drop for Crew {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Release);
        for queue in [&self.reading, &self.listening] {
            queue.stop.store(true, Ordering::Release);
            // Under the lock, so that no thread is between its look and its sleep.
            let _jobs = locked(&queue.jobs);
            queue.bell.notify_all();
        }
        let own = thread::current().id();
        for handle in locked(&self.threads).drain(..) {
            if handle.thread().id() != own {
                let _ = handle.join();
            }
        }
    }
}
