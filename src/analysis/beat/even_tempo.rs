//! The most probable beats of one unbending tempo, as of a player with a click.
//!
//! Owns the search for them on a lattice; whether the playing is so even is decided where readings
//! are compared, by evidence: an even reading saves what changes of tempo cost.

use super::constraints::AGREES;
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
/// Even beats that are kept of a path, and the share of them that lie [`AGREES`] from the better ones' at
/// the least.
const KEPT: usize = 3;
const APART: f64 = 0.25;
/// More beats than this are not played to one tempo, or not soon found.
const MOST: usize = 500;

/// Beats of one tempo: the instant of the first, their length (s), and the gaps between them that count.
struct Even {
    from: f64,
    beat: f64,
    gaps: Range<usize>,
}

impl Even {
    fn beats(&self) -> Vec<f64> {
        let run = self.gaps.start..self.gaps.end + 1;
        run.map(|k| self.from + self.beat * k as f64).collect()
    }

    /// Lie [`APART`] of `n` beats elsewhere than another's?
    fn leaves(&self, other: &Self, n: usize) -> bool {
        let away = |k: &usize| {
            let beats = (self.from + self.beat * *k as f64 - other.from) / other.beat;
            (beats - beats.round()).abs() > AGREES
        };
        (0..n).filter(away).count() as f64 > APART * n as f64
    }
}

impl Lattice {
    /// Even beats of about `beat` seconds from the first to the last of `path`, for a feel: the most
    /// probable ones, and those that are most so where these are not, at most [`KEPT`].
    pub fn even(&self, feel: usize, path: &Path, beat: f64, steering: &Steering) -> Vec<Path> {
        let (Some(first), Some(last)) = (
            path.runs.first().and_then(|run| run.first()),
            path.runs.last().and_then(|run| run.last()),
        ) else {
            return Vec::new();
        };
        let n = ((last - first) / beat).round() as usize + 1;
        if !(8..=MOST).contains(&n) {
            return Vec::new();
        }
        let (each, once) = if steering.told {
            (priors::EVEN_TOLD, 0.0)
        } else {
            (self.priors.even, self.priors.once)
        };
        // Where the player says that there is a pulse, all of it is kept.
        let whole = steering.told || !steering.beats.is_empty() || !steering.pulse.is_empty();
        let step = FINE / n as f64;
        let tempi = (2.0 * AROUND / step).ceil() as usize;
        let mut tried: Vec<(f32, Even)> = Vec::new();
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
                if (gaps.len() as f64) < LEAST * n as f64 {
                    continue;
                }
                let begins = self.believed_at(from + beat * gaps.start as f64);
                let score = score + begins + rewards(from, beat, n, steering);
                tried.push((score, Even { from, beat, gaps }));
            }
        }
        tried.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut kept: Vec<(f32, Even)> = Vec::new();
        for one in tried {
            if kept.len() < KEPT && kept.iter().all(|k| one.1.leaves(&k.1, n)) {
                kept.push(one);
            }
        }
        let gone_on = |(score, even): (f32, Even)| {
            let (runs, gained, joints) = self.gone_on(feel, even.beats(), even.beat, path);
            let costs = (self.priors.enter + self.priors.leave) * runs.len() as f64
                + JOINT * joints as f64
                + once;
            Path {
                score: f64::from(score + gained) - costs,
                runs,
            }
        };
        kept.into_iter().map(gone_on).collect()
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
