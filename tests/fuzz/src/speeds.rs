//! A file of changing speeds, and a short tone slowed by it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::sync::{Arc, LazyLock};
use thumbline::recording::Recording;
use thumbline::stretch::{self, PitchShift, SpeedMap, transient};
use thumbline::unit::Cents;

static TONE: LazyLock<Arc<Recording>> = LazyLock::new(|| {
    let tone =
        (0..3_000).map(|i| 0.5 * (i as f32 * 0.2).sin() * (-0.002 * (i % 1_000) as f32).exp());
    Arc::new(Recording::new("tone", 8_000, vec![tone.collect()]).expect("sound"))
});

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(map) = SpeedMap::parse(text) else {
        return;
    };
    let frames = map.stretched(TONE.frames(), TONE.rate()).round() as usize;
    assert!(
        (2_000..=12_000).contains(&frames),
        "{frames} frames of 3,000 at 25 to 150 %"
    );
    let onsets = Arc::new(transient::onsets(&TONE));
    let pitch = PitchShift::nearest(Cents(f64::from(bytes[0] % 24) * 50.0 - 600.0));
    let Ok(sound) = stretch::render(&TONE, &onsets, &map, pitch, |_| true) else {
        panic!("nobody stopped it");
    };
    assert_eq!(sound[0].len(), frames);
    assert!(
        sound[0].iter().all(|s| s.abs() < 8.0),
        "louder than it came in"
    );
});
