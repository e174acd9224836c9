//! Which slot each note is meant for, and what is no drift at all: rolls, grace notes, doubles.

use super::figures::{Slot, Standing};
use crate::music::grid::Grid;
use crate::music::note::{Attack, Note, Role};
use crate::unit::{Beats, Seconds, Span};

/// Steps of a rolled chord lie this far apart (s): below it is a pinch, above it a broken chord.
/// Tuned on rendered pieces, whose rolls step 18 to 34 ms.
const ROLL_STEP: (f64, f64) = (0.010, 0.060);
/// A roll of thumb and fingers spreads at least this far (s) and has at least three notes.
const ROLL_SPREAD: f64 = 0.026;
/// A grace note leads into its note within this time (s).
const GRACE: f64 = 0.11;
/// The same pluck found twice: same hand and pitch within this time (s).
const DOUBLE: f64 = 0.035;
/// Farther from its slot than this share of the slots' distance, a note is between them.
const BETWEEN: f64 = 0.40;

/// A note placed on a grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placed {
    /// Beat index in the grid that the slot belongs to.
    pub beat: usize,
    /// The slot.
    pub slot: Slot,
    /// Bar of the slot.
    pub bar: i32,
    /// Place of the slot, in beats of the grid.
    pub at: Beats,
    /// Length of the beat it lies in.
    pub length: Span,
    /// How the note stands to it.
    pub standing: Standing,
}

/// Place of part `part` of `parts` within a beat: even, but for the off-beat of two parts, which
/// lies at `swing` (0.5 is straight).
pub(super) fn share(parts: u8, part: u8, swing: f64) -> f64 {
    if parts == 2 && part == 1 {
        swing
    } else {
        f64::from(part) / f64::from(parts.max(1))
    }
}

/// The nearest slot for an instant, `late` being how late its hand usually is; none in free time
/// or more than a beat outside the grid.
pub(super) fn nearest(grid: &Grid, time: Seconds, late: f64, swing: f64) -> Option<Placed> {
    let length = grid.beat_length(time)?;
    let at = grid.beat_at(time - Span(late))?;
    let last = grid.beats().len() as f64 - 1.0;
    if at.0 < -1.0 || at.0 > last + 1.0 {
        return None;
    }
    let base = at.0.floor().clamp(0.0, last);
    let index = base as usize;
    let parts = grid.beats()[index].parts.max(1);
    let mut best = (f64::MAX, index, 0u8, parts);
    for (step, part) in (0..parts).map(|p| (0, p)).chain([(1, 0)]) {
        let beat = index + step;
        let place = beat as f64
            + if step == 0 {
                share(parts, part, swing)
            } else {
                0.0
            };
        let away = (at.0 - place).abs();
        if away < best.0 && beat < grid.beats().len() {
            let own = grid.beats()[beat].parts.max(1);
            best = (away, beat, part, if part == 0 { own } else { parts });
        }
    }
    let (away, beat, part, parts) = best;
    let there = grid.beats()[beat];
    let place = beat as f64 + share(parts, part, swing);
    let between = away > BETWEEN / f64::from(parts);
    Some(Placed {
        beat,
        slot: Slot {
            beat: there.place,
            part,
            parts,
        },
        bar: there.bar,
        at: Beats(place),
        length,
        standing: if between {
            Standing::Between
        } else {
            Standing::Plain
        },
    })
}

/// Marks rolled chords, grace notes and doubled onsets among placed notes. `order` lists note
/// indices by time. Returns the rolls, each as note indices from its first note on.
pub(super) fn mark(
    grid: &Grid,
    notes: &[Note],
    order: &[usize],
    placed: &mut [Option<Placed>],
) -> Vec<Vec<usize>> {
    doubles(notes, order, placed);
    let rolls = rolls(notes, order, placed);
    graces(grid, notes, order, placed);
    rolls
}

fn counts(placed: &[Option<Placed>], i: usize) -> bool {
    placed[i].is_some_and(|p| matches!(p.standing, Standing::Plain | Standing::Between))
}

fn stand(placed: &mut [Option<Placed>], i: usize, standing: Standing) {
    if let Some(p) = &mut placed[i] {
        p.standing = standing;
    }
}

fn doubles(notes: &[Note], order: &[usize], placed: &mut [Option<Placed>]) {
    for (k, &i) in order.iter().enumerate() {
        let twin = order[k + 1..]
            .iter()
            .take_while(|&&j| (notes[j].time - notes[i].time).0 < DOUBLE)
            .find(|&&j| notes[j].role == notes[i].role && same_pitch(&notes[i], &notes[j]));
        if let Some(&j) = twin {
            let weaker = if notes[j].confidence > notes[i].confidence {
                i
            } else {
                j
            };
            stand(placed, weaker, Standing::Doubled);
        }
    }
}

fn same_pitch(a: &Note, b: &Note) -> bool {
    matches!((a.pitch, b.pitch), (Some(a), Some(b)) if (a.0 - b.0).abs() < 0.6)
}

fn rolls(notes: &[Note], order: &[usize], placed: &mut [Option<Placed>]) -> Vec<Vec<usize>> {
    let mut rolls = Vec::new();
    let mut k = 0;
    let usable: Vec<usize> = order
        .iter()
        .copied()
        .filter(|&i| counts(placed, i) && notes[i].attack == Attack::Pluck)
        .collect();
    while k < usable.len() {
        let mut end = k + 1;
        while end < usable.len() && rising(&notes[usable[end - 1]], &notes[usable[end]]) {
            end += 1;
        }
        let chord = &usable[k..end];
        let spread = (notes[usable[end - 1]].time - notes[usable[k]].time).0;
        if chord.len() >= 3 && spread >= ROLL_SPREAD {
            for &i in &chord[1..] {
                stand(placed, i, Standing::Rolled);
                // A roll is one event: all of it belongs to its first note's slot.
                if let (Some(first), Some(p)) = (placed[chord[0]], &mut placed[i]) {
                    (p.beat, p.slot, p.bar, p.at) = (first.beat, first.slot, first.bar, first.at);
                }
            }
            rolls.push(chord.to_vec());
        }
        k = end;
    }
    rolls
}

/// Is `next` the following step of a roll upwards?
fn rising(before: &Note, next: &Note) -> bool {
    let gap = (next.time - before.time).0;
    let up = match (before.pitch, next.pitch) {
        (Some(a), Some(b)) => b > a,
        _ => next.role == Role::Melody,
    };
    (ROLL_STEP.0..=ROLL_STEP.1).contains(&gap)
        && up
        && !(before.role == Role::Melody && next.role == Role::Bass)
}

fn graces(grid: &Grid, notes: &[Note], order: &[usize], placed: &mut [Option<Placed>]) {
    let fingers: Vec<usize> = order
        .iter()
        .copied()
        .filter(|&i| notes[i].role == Role::Melody && counts(placed, i))
        .collect();
    for pair in fingers.windows(2) {
        let (i, j) = (pair[0], pair[1]);
        let gap = (notes[j].time - notes[i].time).0;
        let (Some(a), Some(b)) = (placed[i], placed[j]) else {
            continue;
        };
        if gap < ROLL_STEP.1 * 0.5 || gap > GRACE || a.at != b.at {
            continue;
        }
        // Whichever is nearer to the slot is meant for it.
        let away = |n: usize, p: Placed| {
            grid.time_at(p.at)
                .map_or(0.0, |t| (notes[n].time - t).abs().0)
        };
        if away(i, a) > away(j, b) {
            stand(placed, i, Standing::Grace);
        } else {
            stand(placed, j, Standing::Between);
        }
    }
}
