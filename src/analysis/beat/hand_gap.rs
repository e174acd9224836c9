//! Pinches: thumb and finger at once, heard as one attack.
//!
//! Owns what attacks that two hands share say about how far apart the hands are. Two strings
//! plucked within about ten milliseconds sound as one attack and are given one instant, that of
//! the earlier one. A plain median of such notes would say that the hands are together; here each
//! shared attack counts for what it is: a distance that is known to be short, and a thumb that
//! waits where the finger came first. The rest is a likelihood of the hands' distance over all
//! pairs, shared or apart (a censored normal distribution; Tobin 1958, from memory).

use crate::dsp::middle::{spread, weighted_median};
use crate::music::note::Role;
use std::sync::LazyLock;

/// A note as a distance from its slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touch {
    /// When it was heard, seconds.
    pub time: f64,
    /// Seconds after its slot.
    pub away: f64,
    /// Thumb or fingers.
    pub role: Role,
    /// How much it counts, 0 to 1.
    pub weight: f64,
}

/// How far the fingers are behind the thumb, seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Most credible distance (posterior mean); positive is fingers behind.
    pub centre: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// Mean distance in attacks that the hands share.
    pub shared: f64,
}

/// Notes of two hands nearer than this (s) can be one pinch.
const NEAR: f64 = 0.045;
/// Notes heard at one instant (s).
const SAME: f64 = 0.0005;
/// Two attacks are heard as one: chance of it far apart and together, and the distances (ms) of
/// finger after thumb and thumb after finger at which it is even, with their widths. Counted on 582
/// pinches of rendered pieces (corpus seeds 11 and 12); the constants below on seeds 11, 12, 13 and
/// the default.
const FLOOR: f64 = 0.02;
const PEAK: f64 = 0.68;
const AFTER: (f64, f64) = (6.0, 1.5);
const BEFORE: (f64, f64) = (13.0, 4.0);
/// Spread of the distance from pinch to pinch (ms): those tried, and how far apart players' own
/// lie in the middle (logarithm's SD one half).
const SPREADS: [f64; 7] = [3.0, 4.0, 5.0, 6.5, 8.0, 10.0, 13.0];
const USUAL: f64 = 6.0;
/// Spread of the distance from player to player (ms).
const PLAYERS: f64 = 20.0;
/// Density (1/ms) of pairs that are no pinch.
const OTHER: f64 = 1e-3;
/// Error (ms) of a centre beyond what its notes' scatter says.
const EXTRA: f64 = 1.5;
/// Largest distance tried, ms.
const MOST: i32 = 45;
/// Fewest notes that have a centre.
const FEWEST: usize = 3;

/// Chance that two attacks `d` ms apart (finger minus thumb) are heard as one.
fn as_one(d: f64) -> f64 {
    let rise = |x: f64| 1.0 / (1.0 + (-x).exp());
    FLOOR + (PEAK - FLOOR) * rise((AFTER.0 - d) / AFTER.1) * rise((d + BEFORE.0) / BEFORE.1)
}

/// What shared attacks are like when the hands are `centre` apart with a spread.
#[derive(Debug, Clone, Copy, Default)]
struct Shared {
    /// Logarithm of their share.
    share: f64,
    /// Mean distance, ms.
    mean: f64,
    /// Mean of how far the thumb comes after, 0 or below, ms.
    waits: f64,
}

/// By distance and spread.
static SHARED: LazyLock<Vec<[Shared; SPREADS.len()]>> = LazyLock::new(|| {
    let one = |centre: f64, sd: f64| {
        let (mut share, mut mean, mut waits) = (0.0, 0.0, 0.0);
        for d in -(MOST + 15)..=MOST + 15 {
            let d = f64::from(d);
            let weight = normal(d - centre, sd) * as_one(d);
            share += weight;
            mean += weight * d;
            waits += weight * d.min(0.0);
        }
        let share = share.max(1e-9);
        Shared {
            share: share.ln(),
            mean: mean / share,
            waits: waits / share,
        }
    };
    (-MOST..=MOST)
        .map(|centre| SPREADS.map(|sd| one(f64::from(centre), sd)))
        .collect()
});

fn normal(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt())
}

/// Pairs of touches (thumb, fingers) that can be pinches, as indices; `touches` in order of time.
pub fn pairs(touches: &[Touch]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    let mut taken = vec![false; touches.len()];
    for (i, thumb) in touches.iter().enumerate() {
        if thumb.role != Role::Bass {
            continue;
        }
        let from = touches.partition_point(|t| t.time < thumb.time - NEAR);
        let near = (from..touches.len())
            .take_while(|&j| touches[j].time <= thumb.time + NEAR)
            .filter(|&j| touches[j].role == Role::Melody && !taken[j])
            .min_by(|&a, &b| {
                let far = |j: usize| (touches[j].time - thumb.time).abs();
                far(a).total_cmp(&far(b))
            });
        if let Some(j) = near {
            taken[j] = true;
            pairs.push((i, j));
        }
    }
    pairs
}

/// Are these two heard as one attack?
pub fn shared(a: &Touch, b: &Touch) -> bool {
    (a.time - b.time).abs() < SAME
}

/// How far apart the hands are; none where no attack is shared (then plain medians say it) or
/// either hand has fewer than three notes. `touches` in order of time.
pub fn apart(touches: &[Touch]) -> Option<Apart> {
    let pairs = pairs(touches);
    let weight = |&(i, j): &(usize, usize)| touches[i].weight * touches[j].weight;
    let (one, two): (Vec<_>, Vec<_>) = pairs
        .iter()
        .partition(|&&(i, j)| shared(&touches[i], &touches[j]));
    let count = |role| touches.iter().filter(|t| t.role == role).count();
    if one.is_empty() || count(Role::Bass) < FEWEST || count(Role::Melody) < FEWEST {
        return None;
    }
    let ones: f64 = one.iter().map(weight).sum();
    let gaps: Vec<(f64, f64)> = two
        .iter()
        .map(|&(i, j)| {
            (
                1000.0 * (touches[j].time - touches[i].time),
                weight(&(i, j)),
            )
        })
        .collect();
    let (mut thumb_shares, mut paired) = (vec![false; touches.len()], vec![false; touches.len()]);
    for &(i, _) in &one {
        thumb_shares[i] = true;
    }
    for &(_, j) in &pairs {
        paired[j] = true;
    }
    let centre_of = |keep: &dyn Fn(usize) -> bool| {
        centre((0..touches.len()).filter(|&i| keep(i)).map(|i| touches[i]))
    };
    let waiting = centre_of(&|i| touches[i].role == Role::Bass && thumb_shares[i]);
    let thumb = centre_of(&|i| touches[i].role == Role::Bass && !thumb_shares[i]);
    let fingers = centre_of(&|i| touches[i].role == Role::Melody && !paired[i]);
    let seen = Seen {
        ones,
        gaps,
        waits: waiting.zip(thumb).map(|(w, t)| w.less(t)),
        alone: fingers.zip(thumb).map(|(f, t)| f.less(t)),
    };
    Some(seen.posterior())
}

/// A centre and its standard error, ms.
#[derive(Debug, Clone, Copy)]
struct Centre {
    at: f64,
    error: f64,
}

impl Centre {
    fn less(self, other: Self) -> Self {
        Self {
            at: self.at - other.at,
            error: self.error.hypot(other.error).hypot(EXTRA),
        }
    }

    fn likelihood(self, expected: f64) -> f64 {
        -0.5 * ((self.at - expected) / self.error).powi(2)
    }
}

/// Weighted median of some notes' distances from their slots; its error is that of a median of
/// normal values, 1.25 SD / √n.
fn centre(notes: impl Iterator<Item = Touch>) -> Option<Centre> {
    let mut notes: Vec<(f64, f64)> = notes.map(|t| (1000.0 * t.away, t.weight)).collect();
    if notes.len() < FEWEST {
        return None;
    }
    let at = weighted_median(&mut notes)?;
    let weight: f64 = notes.iter().map(|n| n.1).sum();
    let away: Vec<f64> = notes.iter().map(|n| n.0).collect();
    let spread = spread(&away, at) + 1.0;
    Some(Centre {
        at,
        error: 1.25 * spread / weight.max(0.3).sqrt(),
    })
}

/// All that was seen of the hands' distance.
struct Seen {
    /// Weight of shared attacks.
    ones: f64,
    /// Distances of pairs that are heard apart (ms) and their weights.
    gaps: Vec<(f64, f64)>,
    /// Shared attacks against the thumb's other notes.
    waits: Option<Centre>,
    /// Fingers by themselves against the thumb's other notes.
    alone: Option<Centre>,
}

impl Seen {
    fn likelihood(&self, centre: f64, sd: f64, shared: &Shared) -> f64 {
        let gaps: f64 = self
            .gaps
            .iter()
            .map(|(d, w)| w * (normal(d - centre, sd) + OTHER).ln())
            .sum();
        let waits = self.waits.map_or(0.0, |w| w.likelihood(shared.waits));
        let alone = self.alone.map_or(0.0, |a| a.likelihood(centre));
        let prior = (centre / PLAYERS).powi(2) + (2.0 * (sd / USUAL).ln()).powi(2);
        self.ones * shared.share + gaps + waits + alone - 0.5 * prior
    }

    fn posterior(&self) -> Apart {
        let cells: Vec<(f64, f64, f64)> = (-MOST..=MOST)
            .zip(SHARED.iter())
            .flat_map(|(centre, row)| {
                SPREADS.iter().zip(row).map(move |(&sd, shared)| {
                    let centre = f64::from(centre);
                    (self.likelihood(centre, sd, shared), centre, shared.mean)
                })
            })
            .collect();
        let top = cells.iter().map(|c| c.0).fold(f64::MIN, f64::max);
        let (mut sum, mut first, mut second, mut shared) = (0.0, 0.0, 0.0, 0.0);
        for &(likelihood, centre, mean) in &cells {
            let weight = (likelihood - top).exp();
            sum += weight;
            first += weight * centre;
            second += weight * centre * centre;
            shared += weight * mean;
        }
        let centre = first / sum;
        Apart {
            centre: 0.001 * centre,
            sd: 0.001 * (second / sum - centre * centre).max(0.0).sqrt(),
            shared: 0.001 * shared / sum,
        }
    }
}

/// The touches as they were played as far as can be told: shared attacks taken apart by their mean
/// distance, the earlier hand where the attack was heard.
pub fn taken_apart(touches: &[Touch], apart: &Apart) -> Vec<Touch> {
    let mut played = touches.to_vec();
    for (i, j) in pairs(touches) {
        if shared(&touches[i], &touches[j]) {
            played[i].away += (-apart.shared).max(0.0);
            played[j].away += apart.shared.max(0.0);
        }
    }
    played
}
