//! Both ends at once, each on a thread of its own: whatever is handed over while the callback runs
//! comes back once, to be freed where that may be done, and nothing is lost on the way.

use super::{RATE, pulse, sound, track};
use assert_no_alloc::assert_no_alloc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Weak};
use thumbline::deck::{Block, Config, Controls, Message, capture, pair};
use thumbline::recording::Recording;

const HANDED: usize = 400;

#[test]
fn what_is_handed_over_comes_back_once() {
    let (mut deck, mut player) = pair(Config::at(RATE));
    let stop = Arc::new(AtomicBool::new(false));
    let heard = Arc::clone(&stop);
    let callback = std::thread::spawn(move || {
        let (mut left, mut right) = ([0.0; 64], [0.0; 64]);
        let mut blocks = 0u64;
        let controls = Controls {
            play: true,
            ..Controls::default()
        };
        while !heard.load(Ordering::Acquire) {
            left.fill(0.01);
            right.fill(0.01);
            assert_no_alloc(|| {
                player.set_controls(controls);
                player.process(&mut Block {
                    left: &mut left,
                    right: &mut right,
                    side: None,
                    host: None,
                });
            });
            assert!(left.iter().chain(&right).all(|s| s.abs() <= 1.0));
            blocks += 1;
        }
        (player, blocks)
    });
    let mut sounds: Vec<Weak<Recording>> = Vec::new();
    let (mut sent, mut freed, mut receivers) = (0, 0, Vec::new());
    let (mut frames, mut places) = (Vec::new(), Vec::new());
    for i in 0..HANDED {
        let sound = sound(0.05);
        sounds.push(Arc::downgrade(&sound));
        let (tap, receiver) = capture::tap(capture::Source::Take, RATE, 1.0);
        receivers.push(receiver);
        for message in [
            Message::Load(track(&sound)),
            Message::Pulse(pulse()),
            Message::Record(tap),
        ] {
            let mut message = message;
            // A full ring gives the message back whole: it is sent again.
            while let Err(back) = deck.send(message) {
                message = back;
                freed += deck.collect();
                std::thread::yield_now();
            }
            sent += 1;
        }
        freed += deck.collect();
        while deck.event().is_some() {}
        if i % 7 == 0 {
            for receiver in &mut receivers {
                receiver.drain(&mut frames, &mut places);
            }
        }
    }
    for message in [
        Message::Unload,
        Message::Pulse(None),
        Message::StopRecording,
    ] {
        let mut message = message;
        while let Err(back) = deck.send(message) {
            message = back;
            freed += deck.collect();
        }
    }
    let begun = std::time::Instant::now();
    while freed < sent && begun.elapsed().as_secs() < 20 {
        freed += deck.collect();
        std::thread::yield_now();
    }
    assert_eq!(freed, sent, "handed over and not given back");
    assert!(sounds.iter().all(|sound| sound.strong_count() == 0));
    for receiver in &mut receivers {
        receiver.drain(&mut frames, &mut places);
        assert!(receiver.finished(), "a tap is still held");
    }
    stop.store(true, Ordering::Release);
    let (_player, blocks) = callback.join().expect("the callback ends");
    println!(
        "{sent} things handed over in {blocks} blocks, {} frames recorded",
        frames.len()
    );
}
