//! Where on the neck a pitch is played, and in which tuning.

use super::decide::Event;
use crate::music::tuning::Tuning;

/// Highest fret above the capo that is considered.
pub const HIGHEST_FRET: i32 = 19;

/// The tuning and capo whose open strings best fit the pitches that were played.
pub fn guess(events: &[Event]) -> Tuning {
    let families = [
        Tuning::standard(),
        Tuning::low_to_high(&[38, 45, 50, 55, 59, 64]),
        Tuning::dadgad(),
        Tuning::low_to_high(&[38, 43, 50, 55, 59, 62]),
        Tuning::low_to_high(&[38, 45, 50, 54, 57, 62]),
        Tuning::low_to_high(&[38, 43, 48, 53, 57, 62]),
    ];
    let mut best = (f64::NEG_INFINITY, Tuning::standard());
    for (rank, family) in families.into_iter().enumerate() {
        for capo in 0..8 {
            let tuning = family.clone().with_capo(capo);
            let fit: f64 = events
                .iter()
                .map(|e| f64::from(e.confidence) * place_fit(&tuning, e.midi))
                .sum();
            let prior = events.len() as f64 * (0.02 * f64::from(capo) + 0.03 * rank.min(1) as f64);
            if fit - prior > best.0 {
                best = (fit - prior, tuning);
            }
        }
    }
    best.1
}

/// How naturally a pitch lies: open best, low frets well, below the lowest string not at all.
fn place_fit(tuning: &Tuning, midi: i32) -> f64 {
    let lowest = tuning
        .places(midi, HIGHEST_FRET)
        .into_iter()
        .map(|(_, fret)| fret)
        .min();
    match lowest {
        None => -4.0,
        Some(0) => 1.0,
        Some(fret) => 0.5 - 0.08 * f64::from(fret),
    }
}

/// The lowest fret at which `midi` can be played: (string, fret).
pub fn nearest(tuning: &Tuning, midi: i32) -> Option<(u8, i32)> {
    tuning
        .places(midi, HIGHEST_FRET)
        .into_iter()
        .min_by_key(|(_, fret)| *fret)
}
