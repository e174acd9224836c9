//! What a player types: tunings, pitches, scales, patterns, meters, counts; and what is made of it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;
use thumbline::music::chord::{main_chords, shapes};
use thumbline::music::drill::harmonics_stage;
use thumbline::music::fingering::{Costs, paths};
use thumbline::music::hand::Hand;
use thumbline::music::meter::Meter;
use thumbline::music::picking::Cell;
use thumbline::music::pitch::read_pitch;
use thumbline::music::score::read_count;
use thumbline::music::tuning::Tuning;
use thumbline::preset::{Presets, read_meter};
use thumbline::unit::Bpm;

static PRESETS: LazyLock<Presets> = LazyLock::new(Presets::built_in);

fuzz_target!(|bytes: &[u8]| {
    let Some((kind, rest)) = bytes.split_first() else {
        return;
    };
    let Ok(text) = std::str::from_utf8(rest) else {
        return;
    };
    match kind % 6 {
        0 => {
            let Ok((_, tuning)) = PRESETS.tuning(text) else {
                return;
            };
            let again = Tuning::parse(&tuning.to_string()).expect("reads what it writes");
            assert_eq!(again, tuning);
            let tuning = tuning.with_capo(i32::from(kind / 6));
            let line = [50, 52, 54, 57, 59, 62];
            let _ = paths(&tuning, &line, 12, &Costs::default(), 2);
            let _ = harmonics_stage(&tuning, Bpm(80.0));
            let _ = PRESETS.tuning_name(&tuning);
        }
        1 => {
            let Ok(scale) = PRESETS.scale(text) else {
                return;
            };
            assert!(scale.notes(40, 88).iter().all(|n| (40..=88).contains(n)));
            for chord in main_chords(&scale) {
                let _ = shapes(&chord, &Tuning::dadgad(), &Hand::default(), 2);
            }
        }
        2 => {
            let _ = PRESETS.pattern(text);
        }
        3 => {
            let _ = read_pitch(text).map(|midi| assert!((-15..=140).contains(&midi)));
        }
        4 => {
            let Some(meter) = read_meter(text) else {
                return;
            };
            let _ = read_count(text, meter);
        }
        _ => {
            let bars: Vec<&str> = text.lines().collect();
            for meter in ["4/4", "6/8", "3/4"].iter().filter_map(|m| read_meter(m)) {
                let meter: Meter = meter;
                if let Ok(cell) = Cell::parse(meter, &bars) {
                    let _ = (cell.beats(), cell.distance(&cell));
                }
            }
        }
    }
});
