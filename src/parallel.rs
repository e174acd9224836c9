//! The same work on many things, on all cores at once.
//!
//! Results come in the order of the things, the same on any number of cores. Owns no threads: they
//! live for one call. Not for the audio thread.

use crate::stop;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::panic::resume_unwind;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

/// What `work` makes of each of `things`, in their order. A panic in `work` is the caller's.
pub fn map<T: Sync, R: Send>(things: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let mut made = Vec::with_capacity(things.len());
    let each = stream(
        things,
        || (),
        |(), thing| work(thing),
        |one| {
            made.push(one);
            Ok::<(), Infallible>(())
        },
    );
    let Ok(()) = each;
    made
}

/// Hands what `work` makes of each of `things` to `take`, on the calling thread, in their order and
/// as soon as it is there. Every thread that works has a `start` of its own to work with.
///
/// # Errors
/// The first error of `take`; what is not begun by then is left. A panic in `work` is the caller's.
pub fn stream<T: Sync, S, R: Send, E>(
    things: &[T],
    start: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, &T) -> R + Sync,
    mut take: impl FnMut(R) -> Result<(), E>,
) -> Result<(), E> {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let threads = cores.min(things.len());
    if threads < 2 {
        let mut own = start();
        return things.iter().try_for_each(|t| take(work(&mut own, t)));
    }
    let (next, stopped) = (AtomicUsize::new(0), AtomicBool::new(false));
    let flag = stop::flag();
    let (sender, made) = mpsc::channel();
    let some = |sender: mpsc::Sender<(usize, R)>| {
        let mut own = start();
        while !stopped.load(Ordering::Relaxed) {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(thing) = things.get(i) else { break };
            // Nobody listens any more when the caller has stopped.
            let one = stop::watch(flag.clone(), || work(&mut own, thing));
            let Ok(one) = one else { break };
            let _ = sender.send((i, one));
        }
    };
    let some = &some;
    thread::scope(|scope| {
        let workers: Vec<_> = (0..threads)
            .map(|_| {
                let sender = sender.clone();
                scope.spawn(move || some(sender))
            })
            .collect();
        drop(sender);
        let mut waiting = BTreeMap::new();
        let mut due = 0;
        let mut taken = Ok(());
        for (i, one) in made {
            waiting.insert(i, one);
            while let Some(one) = waiting.remove(&due) {
                due += 1;
                if taken.is_ok() {
                    taken = take(one);
                }
            }
            stopped.store(taken.is_err(), Ordering::Relaxed);
        }
        for worker in workers {
            worker.join().unwrap_or_else(|panic| resume_unwind(panic));
        }
        // Whoever waits for all of it gets none of it.
        stop::check();
        taken
    })
}
