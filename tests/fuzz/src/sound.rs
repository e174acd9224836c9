//! Bytes that somebody calls a recording, through every container and codec.
#![no_main]

use libfuzzer_sys::fuzz_target;
use thumbline::load::{Decoder, Part, hush_readers};

/// Enough to meet every kind of packet, frames.
const ENOUGH: usize = 400_000;

fuzz_target!(init: hush_readers(), |bytes: &[u8]| {
    let Ok(mut decoder) = Decoder::from_bytes("fuzz", bytes.to_vec(), Part::WHOLE) else {
        return;
    };
    while decoder.frames() < ENOUGH && decoder.step().unwrap_or(false) {}
    let _ = (decoder.warnings(), decoder.share(), decoder.expected());
    let Ok(sound) = decoder.finish() else { return };
    assert!((8_000..=192_000).contains(&sound.rate()));
    for channel in sound.channels() {
        assert_eq!(channel.len(), sound.frames());
        assert!(channel.iter().all(|s| s.abs() <= 1000.0), "no sound");
    }
});
