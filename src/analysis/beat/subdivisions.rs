//! How each bar divides its beats, and where the swung off-beat lies.
//!
//! Owns the evidence for eighths, triplets, sixteenths and sextuplets. A finer grid is never
//! chosen because it lies nearer to the notes: each division pays for the slots nobody plays
//! (Poisson likelihood), and a bar changes division only when its notes say so (Viterbi over
//! bars).

use super::events::Event;
use crate::music::note::Role;

/// Division of a beat: slots and the expected number of thumb and finger events at each.
struct Division {
    parts: u8,
    prior: f64,
    expected: &'static [(f64, f64)],
}

/// Tuned on rendered pieces and rounded.
const DIVISIONS: [Division; 4] = [
    Division {
        parts: 2,
        prior: 0.5,
        expected: &[(0.75, 0.55), (0.12, 0.5)],
    },
    Division {
        parts: 3,
        prior: 0.2,
        expected: &[(0.75, 0.6), (0.08, 0.5), (0.08, 0.5)],
    },
    Division {
        parts: 4,
        prior: 0.25,
        expected: &[(0.7, 0.6), (0.08, 0.35), (0.2, 0.5), (0.12, 0.4)],
    },
    Division {
        parts: 6,
        prior: 0.05,
        expected: &[
            (0.7, 0.6),
            (0.04, 0.3),
            (0.06, 0.4),
            (0.08, 0.3),
            (0.06, 0.4),
            (0.04, 0.3),
        ],
    },
];
/// Stray events a beat.
const STRAY: f64 = 0.06;
/// Cost of another division in the next bar, nats.
const CHANGE: f64 = 4.0;

/// Expected number of events of a hand (0 thumb, 1 fingers) at a slot of a beat of `parts`.
pub(crate) fn usual(parts: u8, part: usize, hand: usize) -> f64 {
    let division = DIVISIONS
        .iter()
        .find(|d| d.parts == parts)
        .unwrap_or(&DIVISIONS[0]);
    let (thumb, fingers) = division.expected.get(part).copied().unwrap_or((0.05, 0.2));
    if hand == 0 { thumb } else { fingers }
}

/// How the beats of a run divide.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Slots {
    /// Slots of each beat.
    pub parts: Vec<u8>,
    /// Place of the off-beat eighth within the beat: 0.5 straight, 0.667 triplets.
    pub swing: f64,
    /// Log-likelihood gain of threes over the best plain division, whole run.
    pub triple: f64,
}

impl Slots {
    /// Place of slot `part` of beat `beat` within the beat, 0 to below 1.
    pub fn share(&self, beat: usize, part: u8) -> f64 {
        let parts = self.parts.get(beat).copied().unwrap_or(2);
        share(parts, part, self.swing)
    }

    /// Is this the off-beat of a beat of two parts, read as swung?
    pub fn swings(&self, beat: usize, part: u8) -> bool {
        part == 1 && self.parts.get(beat) == Some(&2) && self.swing > 0.5
    }

    /// The slot nearest to a place in a beat: (beats on, part, distance in beats).
    pub fn nearest(&self, beat: usize, at: f64) -> (usize, u8, f64) {
        let parts = self.parts.get(beat).copied().unwrap_or(2);
        let mut best = (1, 0, at - 1.0);
        for part in 0..parts {
            let off = at - share(parts, part, self.swing);
            if off.abs() < best.2.abs() {
                best = (0, part, off);
            }
        }
        best
    }
}

fn share(parts: u8, part: u8, swing: f64) -> f64 {
    if parts == 2 && part == 1 {
        swing
    } else {
        f64::from(part) / f64::from(parts.max(1))
    }
}

/// Reads divisions of a run of beats, bar by bar: `bars` are index ranges of beats.
pub(crate) fn read(beats: &[f64], events: &[Event], bars: &[(usize, usize)]) -> Slots {
    let placed: Vec<(usize, f64, Role, f64)> = events
        .iter()
        .filter_map(|e| locate(beats, e.time).map(|(k, s)| (k, s, e.role, e.weight)))
        .collect();
    let swing = swing(&placed);
    let mut table = vec![[0.0f64; DIVISIONS.len()]; bars.len()];
    for (row, &(from, to)) in table.iter_mut().zip(bars) {
        let length = if to < beats.len() {
            (beats[to] - beats[from]) / (to - from) as f64
        } else {
            (beats[beats.len() - 1] - beats[from]) / (beats.len() - 1 - from).max(1) as f64
        };
        let length = if length > 0.0 { length } else { 0.5 };
        let inside: Vec<_> = placed
            .iter()
            .filter(|p| (from..to).contains(&p.0))
            .collect();
        for (cell, division) in row.iter_mut().zip(&DIVISIONS) {
            let expected: f64 = division.expected.iter().map(|e| e.0 + e.1).sum();
            *cell = -expected * (to - from) as f64;
            for &&(_, at, role, weight) in &inside {
                *cell += weight * density(division, swing, at, role, length).ln();
            }
        }
    }
    let total = |k: usize| table.iter().map(|row| row[k]).sum::<f64>();
    let triple = total(1).max(total(3)) - total(0).max(total(2));
    let chosen = decode(&table);
    let mut parts = vec![2; beats.len()];
    for (&(from, to), &k) in bars.iter().zip(&chosen) {
        parts[from..to.min(beats.len())].fill(DIVISIONS[k].parts);
    }
    Slots {
        parts,
        swing,
        triple,
    }
}

fn density(division: &Division, swing: f64, at: f64, role: Role, length: f64) -> f64 {
    let sd = match role {
        Role::Bass => 0.012,
        Role::Melody => 0.017,
    };
    let sd = f64::hypot(sd, 0.012 * length) / length;
    let bell = |z: f64| (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
    division
        .expected
        .iter()
        .enumerate()
        .map(|(part, e)| {
            let expected = if role == Role::Bass { e.0 } else { e.1 };
            let place = share(division.parts, part as u8, swing);
            let wrapped = if part == 0 {
                bell((at - 1.0) / sd)
            } else {
                0.0
            };
            expected * (bell((at - place) / sd) + wrapped)
        })
        .sum::<f64>()
        + STRAY
}

/// Median place of what lies in the second half of beats, when it gathers in one place that
/// could be a swung eighth; else straight.
fn swing(placed: &[(usize, f64, Role, f64)]) -> f64 {
    let mut late: Vec<f64> = placed
        .iter()
        .filter(|p| (0.42..0.74).contains(&p.1))
        .map(|p| p.1)
        .collect();
    if late.len() < 6 {
        return 0.5;
    }
    late.sort_by(f64::total_cmp);
    late[late.len() / 2].clamp(0.5, 0.72)
}

/// The most probable division of each bar.
fn decode(table: &[[f64; DIVISIONS.len()]]) -> Vec<usize> {
    let mut score: Vec<f64> = DIVISIONS.iter().map(|d| 3.0 * d.prior.ln()).collect();
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(table.len());
    for row in table {
        let mut next = vec![0.0; DIVISIONS.len()];
        let mut from = vec![0; DIVISIONS.len()];
        for k in 0..DIVISIONS.len() {
            let best = (0..DIVISIONS.len())
                .map(|j| (score[j] - if j == k { 0.0 } else { CHANGE }, j))
                .max_by(|a, b| a.0.total_cmp(&b.0));
            if let Some((s, j)) = best {
                next[k] = s + row[k];
                from[k] = j;
            }
        }
        score = next;
        back.push(from);
    }
    let mut k = (0..DIVISIONS.len())
        .max_by(|&a, &b| score[a].total_cmp(&score[b]))
        .unwrap_or(0);
    let mut chosen = vec![0; table.len()];
    for (i, from) in back.iter().enumerate().rev() {
        chosen[i] = k;
        k = from[k];
    }
    chosen
}

/// Beat index and share of the beat of an instant, within the run and one beat around it.
pub(crate) fn locate(beats: &[f64], time: f64) -> Option<(usize, f64)> {
    let n = beats.len();
    if n < 2 {
        return None;
    }
    let after = beats.partition_point(|&b| b <= time);
    let k = after.saturating_sub(1);
    let length = if k + 1 < n {
        beats[k + 1] - beats[k]
    } else {
        beats[n - 1] - beats[n - 2]
    };
    let share = (time - beats[k]) / length;
    if (-0.08..0.0).contains(&share) && k == 0 {
        return Some((0, 0.0));
    }
    (0.0..=1.0)
        .contains(&share)
        .then_some((k, share.min(0.9999)))
}
