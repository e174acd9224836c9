//! The same work on many things, on all cores at once.
//!
//! Results come in the order of the things, the same on any number of cores. Owns no threads: they
//! live for one call. Not for the audio thread.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Threads that a call uses at most: the cores there are.
pub fn cores() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

/// What `work` makes of each of `things`, in their order. A panic in `work` is the caller's.
pub fn map<T: Sync, R: Send>(things: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let threads = cores().min(things.len());
    if threads < 2 {
        return things.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let some = || {
        let mut done = Vec::new();
        while let Some((i, thing)) = {
            let i = next.fetch_add(1, Ordering::Relaxed);
            things.get(i).map(|thing| (i, thing))
        } {
            done.push((i, work(thing)));
        }
        done
    };
    let mut all: Vec<(usize, R)> = thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(some)).collect();
        let mut all = some();
        for other in others {
            all.extend(other.join().unwrap_or_else(|panic| resume_unwind(panic)));
        }
        all
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, made)| made).collect()
}

#[cfg(test)]
mod tests {
    use super::map;

    #[test]
    fn results_come_in_order_and_once() {
        let things: Vec<usize> = (0..1000).collect();
        let made = map(&things, |i| i * i);
        assert!(made.iter().enumerate().all(|(i, m)| *m == i * i) && made.len() == 1000);
        assert!(map(&[] as &[usize], |i| *i).is_empty());
    }

    #[test]
    #[should_panic(expected = "the seventh")]
    fn a_panic_is_the_callers() {
        map(&[0, 1, 2, 3, 4, 5, 6, 7], |i| {
            assert!(*i != 7, "the seventh")
        });
    }
}
