//! Two-finger shapes that walk up the scale while the open strings around them drone.

use crate::music::hand::Hand;
use crate::music::scale::Scale;
use crate::music::tuning::Tuning;

/// One walk: a pair of strings in parallel, the others open.
#[derive(Debug, Clone, PartialEq)]
pub struct Drone {
    /// The two strings that are stopped, the lower one first.
    pub strings: (u8, u8),
    /// What lies between their notes: `thirds`, `sixths`, `tenths`.
    pub interval: &'static str,
    /// Open strings that drone: tonic or fifth, the lowest first.
    pub open: Vec<u8>,
    /// Frets of the two strings, one step of the scale after the other, upwards.
    pub steps: Vec<(i32, i32)>,
    /// Different finger shapes that it takes, 1 or 2.
    pub forms: usize,
}

/// Highest fret of a walk.
const HIGHEST: i32 = 12;

/// The best walks for `scale` in `tuning`, most droning strings first: shapes that move up under open
/// strings. Empty where fewer than two strings can drone.
pub fn drones(scale: &Scale, tuning: &Tuning, hand: &Hand, count: usize) -> Vec<Drone> {
    let fifth = (scale.tonic + 7).rem_euclid(12);
    let drone = |string: u8| {
        let class = tuning.open(string).map(|o| o.rem_euclid(12));
        class == Some(scale.tonic) || (class == Some(fifth) && scale.steps.contains(&7))
    };
    let mut found = Vec::new();
    for low in 2..=tuning.strings() {
        for high in 1..low {
            let open: Vec<u8> = (1..=tuning.strings())
                .rev()
                .filter(|s| *s != low && *s != high && drone(*s))
                .collect();
            if open.len() < 2 {
                continue;
            }
            // Degrees apart: thirds 2, sixths 5, tenths 9 of seven notes.
            for (degrees, interval) in [(2, "thirds"), (5, "sixths"), (9, "tenths")] {
                let steps = walk(scale, tuning, hand, low, high, degrees);
                if steps.len() < 5 {
                    continue;
                }
                let mut forms: Vec<i32> = steps.iter().map(|(a, b)| b - a).collect();
                forms.sort_unstable();
                forms.dedup();
                if forms.len() <= 2 {
                    found.push(Drone {
                        strings: (low, high),
                        interval,
                        open: open.clone(),
                        forms: forms.len(),
                        steps,
                    });
                }
            }
        }
    }
    found.sort_by_key(|d| {
        let apart = d.strings.0 - d.strings.1;
        (
            std::cmp::Reverse(d.open.len()),
            apart,
            std::cmp::Reverse(d.steps.len()),
        )
    });
    found.truncate(count);
    found
}

/// Frets of the two strings for every note of the scale that both reach with one hand.
fn walk(
    scale: &Scale,
    tuning: &Tuning,
    hand: &Hand,
    low: u8,
    high: u8,
    degrees: usize,
) -> Vec<(i32, i32)> {
    let (Some(open_low), Some(open_high)) = (tuning.open(low), tuning.open(high)) else {
        return Vec::new();
    };
    let notes = scale.notes(open_low, open_low + HIGHEST + 24);
    if scale.steps.len() != 7 {
        return Vec::new();
    }
    notes
        .iter()
        .zip(notes.iter().skip(degrees))
        .map(|(a, b)| (a - open_low, b - open_high))
        .filter(|(a, b)| (0..=HIGHEST).contains(a) && (0..=HIGHEST).contains(b))
        .filter(|(a, b)| {
            let mut frets = vec![Some(0); usize::from(tuning.strings())];
            frets[usize::from(low) - 1] = Some(*a);
            frets[usize::from(high) - 1] = Some(*b);
            hand.grip(&frets).is_some_and(|g| g.effort < 3.0)
        })
        .collect()
}
