//! Long work is given up from within, and nothing else is touched by it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};
use thumbline::analysis::{Options, analyze};
use thumbline::demo;
use thumbline::parallel;
use thumbline::stop::{Flag, Stopped, watch};

#[test]
fn an_analysis_ends_where_it_stands_and_the_next_one_is_whole() {
    let sound = demo::recording(44_100).expect("the demo").recording;
    let whole = |flag: Option<Flag>| watch(flag, || analyze(&sound, &Options::default(), &mut ()));
    let begun = Instant::now();
    let expected = whole(None).expect("nobody stops it").expect("heard");
    let took = begun.elapsed();
    for share in [0.05, 0.3, 0.6] {
        let flag = Flag::default();
        let raised = Arc::clone(&flag);
        let raiser = thread::spawn(move || {
            thread::sleep(took.mul_f64(share));
            raised.store(true, Ordering::Relaxed);
        });
        assert_eq!(whole(Some(flag)).map(|_| ()), Err(Stopped), "at {share}");
        raiser.join().expect("it slept");
        // The thread looks at no flag any more.
        assert_eq!(whole(None).expect("whole").expect("heard"), expected);
    }
}

#[test]
fn threads_stop_with_their_caller() {
    let flag = Flag::new(AtomicBool::new(true));
    let begun = Instant::now();
    let things: Vec<u32> = (0..100).collect();
    let done = watch(Some(flag), || {
        parallel::map(&things, |_| thread::sleep(Duration::from_millis(1)))
    });
    assert_eq!(done.map(|d| d.len()), Err(Stopped));
    assert!(begun.elapsed() < Duration::from_secs(5));
}

#[test]
fn a_panic_is_no_stop() {
    let caught = std::panic::catch_unwind(|| watch(None, || panic!("as usual")));
    assert!(caught.is_err());
}
