//! Which note of the take answers which note of the recording, inside one time through.
//!
//! Candidates lie within a tolerance around the place that the time map gives; pairs are taken
//! cheapest first (equal pitch before another pitch, near before far), each note once.

use super::align::Passage;
use crate::music::note::{Attack, Note};
use crate::unit::{MidiNote, Span};

/// A note farther than this from its place is not the answer to it, seconds of the take.
const TOLERANCE: f64 = 0.16;
/// An answer with another pitch must lie this near.
const WRONG_TOLERANCE: f64 = 0.07;

/// What matching one time through came to: indices.
#[derive(Debug, Clone, Default)]
pub(super) struct Matched {
    /// (recording, take), in order of the take.
    pub pairs: Vec<(usize, usize)>,
    /// Those of them with another pitch.
    pub wrong: Vec<(usize, usize)>,
    /// Notes of the recording without an answer.
    pub missed: Vec<usize>,
    /// Notes of the take that answer nothing.
    pub extra: Vec<usize>,
    /// Neighbours of the recording played in the other order.
    pub swapped: Vec<(usize, usize)>,
}

/// Pairs the notes of one time through.
pub(super) fn pair_notes(
    recording: &[Note],
    take: &[Note],
    passage: &Passage,
    transposed: i32,
) -> Matched {
    let margin = Span(0.03);
    let sounding = |n: &Note| n.attack != Attack::Tap;
    let ours: Vec<usize> = (0..recording.len())
        .filter(|&i| sounding(&recording[i]) && passage.covers(recording[i].time, margin))
        .collect();
    let (from, to) = (passage.take.0 - Span(0.08), passage.take.1 + Span(0.08));
    let theirs: Vec<usize> = (0..take.len())
        .filter(|&j| sounding(&take[j]) && take[j].time >= from && take[j].time <= to)
        .collect();
    let mut costs = Vec::new();
    for &i in &ours {
        let place = passage.in_take(recording[i].time);
        let wanted = recording[i].pitch.map(|p| p.nearest() + transposed);
        let first = theirs.partition_point(|&j| take[j].time.0 < place.0 - TOLERANCE);
        for &j in theirs[first..]
            .iter()
            .take_while(|&&j| take[j].time.0 <= place.0 + TOLERANCE)
        {
            let away = (take[j].time - place).0.abs();
            let played = take[j].pitch.map(MidiNote::nearest);
            let (same, octave) = match (wanted, played) {
                (Some(a), Some(b)) => (a == b, (a - b).rem_euclid(12) == 0),
                _ => (true, true), // a dead note answers by its place alone
            };
            let hand = recording[i].role == take[j].role;
            let cost = if same {
                away + if hand { 0.0 } else { 0.02 }
            } else if away <= WRONG_TOLERANCE && (hand || octave) {
                away + if octave { 0.1 } else { 0.2 }
            } else {
                continue;
            };
            costs.push((cost, i, j, same));
        }
    }
    costs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut answered = vec![false; recording.len()];
    let mut used = vec![false; take.len()];
    let mut out = Matched::default();
    for (_, i, j, same) in costs {
        if answered[i] || used[j] {
            continue;
        }
        answered[i] = true;
        used[j] = true;
        out.pairs.push((i, j));
        if !same {
            out.wrong.push((i, j));
        }
    }
    out.pairs.sort_by_key(|p| (p.1, p.0));
    out.missed = ours.into_iter().filter(|&i| !answered[i]).collect();
    out.extra = theirs.into_iter().filter(|&j| !used[j]).collect();
    out.swapped = swapped(recording, take, &out.pairs);
    out
}

/// Neighbouring pairs whose order differs: 40 ms apart or more on both sides, so that the two
/// notes of a pinch do not count.
fn swapped(recording: &[Note], take: &[Note], pairs: &[(usize, usize)]) -> Vec<(usize, usize)> {
    let apart = Span(0.04);
    pairs
        .windows(2)
        .filter(|w| {
            recording[w[0].0].time - recording[w[1].0].time > apart
                && take[w[1].1].time - take[w[0].1].time > apart
        })
        .map(|w| (w[1].0, w[0].0))
        .collect()
}
