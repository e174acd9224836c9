//! Which of several close instants each pitch begins at.
//!
//! The network answers for ±20 ms around an instant, so in a pinch or a rolled chord it names every
//! note at every candidate. Where its answer for one pitch turns from yes to no tells where that
//! note lies: two more readings, just before the group and just after it, make the turn visible.
//! Owns the grouping and that comparison.

use super::pluck_net::{PITCHES, Prediction};

/// Candidates this near to the one before belong to its group, seconds.
const CHAIN: f64 = 0.038;
/// A candidate joins a group when the network thinks this of an onset there.
const JOINS: f32 = 0.2;
/// How far outside a group the further readings lie, seconds.
const OUTSIDE: f64 = 0.020;
/// Distance at which the network is as likely to say yes as no, and how softly it turns, seconds:
/// it is taught yes below 20 ms, no above 36 and nothing between.
const TURN: f64 = 0.028;
const SOFT: f64 = 0.004;

/// How well each pitch fits an instant of its group: log likelihood less that of the best other
/// instant of the group, and 0 where an instant stands alone.
pub type Fits = Vec<f32>;

/// For each of the instants `times` (sorted, with what the network says there), the fit of every
/// pitch. `read` asks the network at further instants.
pub fn fits(
    times: &[f64],
    readings: &[Prediction],
    mut read: impl FnMut(f64) -> Prediction,
) -> Vec<Fits> {
    let mut all = vec![vec![0.0; PITCHES]; times.len()];
    let joined: Vec<usize> = (0..times.len())
        .filter(|i| readings[*i].onset >= JOINS)
        .collect();
    let mut from = 0;
    while from < joined.len() {
        let mut to = from + 1;
        while to < joined.len() && times[joined[to]] - times[joined[to - 1]] < CHAIN {
            to += 1;
        }
        let group = &joined[from..to];
        if group.len() > 1 {
            let (first, last) = (times[group[0]], times[group[group.len() - 1]]);
            let (before, after) = (first - OUTSIDE, last + OUTSIDE);
            let (reading_before, reading_after) = (read(before), read(after));
            let mut seen: Vec<(f64, &Prediction)> =
                group.iter().map(|i| (times[*i], &readings[*i])).collect();
            seen.push((before, &reading_before));
            seen.push((after, &reading_after));
            #[allow(
                clippy::needless_range_loop,
                reason = "a pitch indexes every reading, not one list"
            )]
            for pitch in 0..PITCHES {
                if seen.iter().all(|(_, r)| r.pitches[pitch] < 0.05) {
                    continue;
                }
                let likely: Vec<f32> = group
                    .iter()
                    .map(|i| likelihood(times[*i], pitch, &seen))
                    .collect();
                for (k, i) in group.iter().enumerate() {
                    let other = likely
                        .iter()
                        .enumerate()
                        .filter(|(o, _)| *o != k)
                        .fold(f32::NEG_INFINITY, |m, (_, v)| m.max(*v));
                    all[*i][pitch] = likely[k] - other;
                }
            }
        }
        from = to;
    }
    all
}

/// Log likelihood of what the network says of `pitch` at the instants `seen`, if it begins at
/// `time`.
fn likelihood(time: f64, pitch: usize, seen: &[(f64, &Prediction)]) -> f32 {
    seen.iter()
        .map(|(at, reading)| {
            let yes = 1.0 / (1.0 + (((at - time).abs() - TURN) / SOFT).exp());
            let yes = (yes as f32).clamp(0.02, 0.98);
            let said = reading.pitches[pitch];
            said * yes.ln() + (1.0 - said) * (1.0 - yes).ln()
        })
        .sum()
}
