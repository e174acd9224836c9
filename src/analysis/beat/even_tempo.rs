//! The most probable beats of one unbending tempo, as of a player with a click.
//!
//! Owns the search for them on a lattice; whether the playing is so even is decided where readings
//! are compared, by evidence: an even reading saves what changes of tempo cost.

use super::hsmm::{Lattice, Path, Steering};
use super::priors;
use std::ops::Range;

/// Tempi on either side of the one that is looked around, share of it.
const AROUND: f64 = 0.025;
/// Phases that are tried, shares of a beat.
const PHASES: usize = 40;
/// Shift of the last beat between one tempo and the next, share of a beat.
const FINE: f64 = 0.08;
/// A beat is where the player says within this share of it: a few taps tell the place, not the tempo.
const WITHIN: f64 = 0.1;
/// Least share of the beats that are even for the playing to be: a steady half does not make free
/// playing before it a lead-in (rendered).
const LEAST: f64 = 0.9;
/// Cost of going over from even beats to others, nats (by hand).
const JOINT: f64 = 4.0;
/// More beats than this are not played to one tempo, or not soon found.
const MOST: usize = 500;

impl Lattice {
    /// Even beats of about `beat` seconds from the first to the last of `path`, for a feel.
    pub fn even(&self, feel: usize, path: &Path, beat: f64, steering: &Steering) -> Option<Path> {
        let (first, last) = (*path.runs.first()?.first()?, *path.runs.last()?.last()?);
        let n = ((last - first) / beat).round() as usize + 1;
        if !(8..=MOST).contains(&n) {
            return None;
        }
        let each = if steering.told {
            priors::EVEN_TOLD
        } else {
            self.priors.even
        };
        // Where the player says that there is a pulse, all of it is kept.
        let whole = steering.told || !steering.beats.is_empty() || !steering.pulse.is_empty();
        let step = FINE / n as f64;
        let tempi = (2.0 * AROUND / step).ceil() as usize;
        let mut best: Option<(f32, f64, f64, Range<usize>)> = None;
        for tempo in 0..=tempi {
            let beat = beat * (1.0 - AROUND + step * tempo as f64);
            for phase in 0..PHASES {
                let from = first + beat * (phase as f64 / PHASES as f64 - 0.5);
                let saved = (each * (beat / priors::A_BEAT).min(1.0)) as f32;
                let weighed = self.each(feel, from, beat, n).map(|e| e + saved);
                let (gaps, score) = if whole {
                    (0..n - 1, weighed.sum())
                } else {
                    richest(weighed)
                };
                let begins = self.believed_at(from + beat * gaps.start as f64);
                let score = score + begins + rewards(from, beat, n, steering);
                if best.as_ref().is_none_or(|b| score > b.0) {
                    best = Some((score, from, beat, gaps));
                }
            }
        }
        let (score, from, beat, gaps) = best?;
        if (gaps.len() as f64) < LEAST * n as f64 {
            return None;
        }
        let run = gaps.start..gaps.end + 1;
        let even: Vec<f64> = run.map(|k| from + beat * k as f64).collect();
        let (runs, gained, joints) = self.gone_on(feel, even, beat, path);
        let costs =
            (self.priors.enter + self.priors.leave) * runs.len() as f64 + JOINT * joints as f64;
        Some(Path {
            score: f64::from(score + gained) - costs,
            runs,
        })
    }

    /// Even beats with those of the path that go on from them, the evidence of these, and how often
    /// one goes over into the other.
    fn gone_on(
        &self,
        feel: usize,
        mut even: Vec<f64>,
        beat: f64,
        path: &Path,
    ) -> (Vec<Vec<f64>>, f32, usize) {
        let Some(&last) = even.last() else {
            return (Vec::new(), 0.0, 0);
        };
        let (mut gained, mut joints, mut after) = (0.0, 0, Vec::new());
        for run in &path.runs {
            let from = run.partition_point(|&at| at <= last + WITHIN * beat);
            let (known, rest) = run.split_at(from);
            let joins = known.last().is_some_and(|at| last - at < WITHIN * beat);
            if joins && !rest.is_empty() {
                joints += 1;
                let end = even.len() - 1;
                even.extend(rest);
                gained += self.of(feel, &even[end..]);
            } else if rest.len() > 1 {
                gained += self.of(feel, rest);
                after.push(rest.to_vec());
            }
        }
        after.insert(0, even);
        (after, gained, joints)
    }
}

/// The stretch of these values whose sum is greatest, and that sum (Kadane, from memory): free
/// playing before and after a pulse is not held together by it.
fn richest(values: impl Iterator<Item = f32>) -> (Range<usize>, f32) {
    let (mut best, mut most) = (0..0, 0.0);
    let (mut from, mut sum) = (0, 0.0);
    for (k, value) in values.enumerate() {
        if sum < 0.0 {
            (from, sum) = (k, 0.0);
        }
        sum += value;
        if sum > most {
            (best, most) = (from..k + 1, sum);
        }
    }
    (best, most)
}

/// What the beats earn by lying where the player says that they do.
fn rewards(from: f64, beat: f64, n: usize, steering: &Steering) -> f32 {
    let near = |&(at, width, reward): &(f64, f64, f32)| {
        let k = ((at - from) / beat).round().clamp(0.0, n as f64 - 1.0);
        let z = (from + beat * k - at) / width.max(WITHIN * beat);
        reward * (-0.5 * z * z).exp() as f32
    };
    steering.beats.iter().map(near).sum()
}
