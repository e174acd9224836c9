//! The threads of the process, shared by all instances: one a service, one that looks after every
//! instance a few dozen times a second, one that writes what is recorded.
//!
//! They start with the first instance and are joined with the last. An instance that goes
//! ([`Seat::leave`]) has its jobs cancelled, and waits until none of them runs any more: nothing of
//! it outlives it but a thread that a stalled file holds, which is let go. A job that breaks is dropped
//! and said; its thread goes on with everybody else's.
//!
//! Fair: the more urgent job first, then the instance that is heard or looked at, then the one that
//! was served least lately.

mod guest;
mod queue;
mod writer_thread;

use crate::job::JobId;
use crate::lock::locked;
use crate::services::{Job, Lane, take_writer};
pub use guest::Client;
use guest::{Guest, words};
use queue::Queue;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;
use writer_thread::WriterThread;

/// How often instances are looked after: a start, a stop or a region asked for by MIDI or
/// automation waits no longer.
const TICK: Duration = Duration::from_millis(15);

/// A place for an instance; see [`Seat::leave`].
pub struct Seat {
    guest: Arc<Guest>,
    crew: Arc<Crew>,
    left: AtomicBool,
}

struct Crew {
    lanes: [Arc<Queue>; Lane::ALL.len()],
    /// The last one records; those before wait for a folder that does not answer.
    writers: Mutex<Vec<Arc<WriterThread>>>,
    ticking: Arc<Ticking>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

#[derive(Default)]
struct Ticking {
    table: Mutex<Table>,
    /// Rings when an instance has been looked after.
    done: Condvar,
    stop: AtomicBool,
}

#[derive(Default)]
struct Table {
    guests: Vec<Arc<Guest>>,
    /// The one that is looked after now.
    now: Option<u64>,
}

/// The crew at work, and how many instances it works for.
static CREW: Mutex<Option<(Arc<Crew>, usize)>> = Mutex::new(None);
static NUMBERS: AtomicU64 = AtomicU64::new(1);

impl Seat {
    /// Sits an instance down; the threads start with the first.
    pub fn take(client: Arc<dyn Client>) -> Self {
        let guest = Arc::new(Guest {
            number: NUMBERS.fetch_add(1, Ordering::Relaxed),
            foremost: AtomicBool::new(false),
            client,
        });
        let crew = {
            let mut crew = locked(&CREW);
            let (at_work, guests) = crew.get_or_insert_with(|| (Crew::start(), 0));
            *guests += 1;
            Arc::clone(at_work)
        };
        locked(&crew.ticking.table).guests.push(Arc::clone(&guest));
        Self {
            guest,
            crew,
            left: AtomicBool::new(false),
        }
    }

    /// Is the instance heard or looked at now? Its jobs come before others then.
    pub fn set_foremost(&self, foremost: bool) {
        self.guest.foremost.store(foremost, Ordering::Relaxed);
    }

    /// Queues a job; who has left gets nothing done any more.
    pub fn start(&self, id: JobId, job: Job) {
        if self.left.load(Ordering::Acquire) {
            return;
        }
        self.crew.lanes[job.lane() as usize].push(&self.guest, id, job);
    }

    /// A job's result is not wanted any more.
    pub fn cancel(&self, id: JobId) {
        for lane in &self.crew.lanes {
            lane.cancel(self.guest.number, id);
        }
    }

    /// Gives an order to the thread that records.
    pub fn write_take(&self, id: JobId, order: take_writer::Order) {
        if self.left.load(Ordering::Acquire) {
            return;
        }
        if let Some(writer) = locked(&self.crew.writers).last() {
            writer.order(&self.guest, id, order);
        }
    }

    /// The instance goes: its jobs are cancelled and waited for, what it records is written. The
    /// last one joins the threads. Not to be called from one of them, nor while holding what a
    /// [`Client`] needs.
    pub fn leave(&self) {
        if self.left.swap(true, Ordering::AcqRel) {
            return;
        }
        let number = self.guest.number;
        {
            let mut table = locked(&self.crew.ticking.table);
            table.guests.retain(|g| g.number != number);
            while table.now == Some(number) {
                table =
                    (self.crew.ticking.done.wait(table)).unwrap_or_else(PoisonError::into_inner);
            }
        }
        for lane in &self.crew.lanes {
            lane.cancel_all(number);
        }
        for lane in &self.crew.lanes {
            lane.wait_for(number);
        }
        let writers = locked(&self.crew.writers).clone();
        for writer in writers {
            if !writer.leave(number) {
                self.crew.replace(&writer);
            }
        }
        let last = {
            let mut crew = locked(&CREW);
            match &mut *crew {
                Some((_, guests)) if *guests > 1 => {
                    *guests -= 1;
                    None
                }
                _ => crew.take(),
            }
        };
        if let Some((crew, _)) = last {
            crew.stop();
        }
    }
}

impl Crew {
    fn start() -> Arc<Self> {
        let crew = Self {
            lanes: Lane::ALL.map(Queue::start),
            writers: Mutex::new(vec![WriterThread::start()]),
            ticking: Arc::default(),
            threads: Mutex::default(),
        };
        let (ticking, lanes) = (Arc::clone(&crew.ticking), crew.lanes.clone());
        crew.spawn("thumbline keeps", move || ticking.work(&lanes));
        Arc::new(crew)
    }

    /// From now on another thread records; what `stalled` has to write it writes when its folder answers again.
    fn replace(&self, stalled: &Arc<WriterThread>) {
        let mut writers = locked(&self.writers);
        if writers
            .last()
            .is_some_and(|last| Arc::ptr_eq(last, stalled))
        {
            writers.push(WriterThread::start());
        }
    }

    fn spawn(&self, name: &str, run: impl Fn() + Send + 'static) {
        let run = move || {
            // A thread that breaks starts over; what it looks after lives outside it.
            while catch_unwind(AssertUnwindSafe(&run)).is_err() {}
        };
        // Without a thread there is no such service, but the host lives on.
        if let Ok(handle) = thread::Builder::new().name(name.into()).spawn(run) {
            locked(&self.threads).push(handle);
        }
    }

    fn stop(&self) {
        self.ticking.stop.store(true, Ordering::Release);
        for lane in &self.lanes {
            lane.stop();
        }
        locked(&self.writers)
            .iter()
            .for_each(|writer| writer.stop());
        let own = thread::current().id();
        for handle in locked(&self.threads).drain(..) {
            handle.thread().unpark();
            if handle.thread().id() != own {
                let _ = handle.join();
            }
        }
    }
}

impl Ticking {
    fn work(&self, lanes: &[Arc<Queue>]) {
        while !self.stop.load(Ordering::Acquire) {
            let guests = locked(&self.table).guests.clone();
            for guest in guests {
                {
                    let mut table = locked(&self.table);
                    if !table.guests.iter().any(|g| g.number == guest.number) {
                        continue;
                    }
                    table.now = Some(guest.number);
                }
                let ticked = catch_unwind(AssertUnwindSafe(|| guest.client.tick()));
                if let Err(panic) = ticked {
                    guest.client.broke(words(&*panic));
                }
                locked(&self.table).now = None;
                self.done.notify_all();
            }
            lanes.iter().for_each(Queue::look_after);
            // The last instance wakes it when it goes.
            thread::park_timeout(TICK);
        }
    }
}
