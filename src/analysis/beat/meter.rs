//! Meter and bar one: which beats start a bar.
//!
//! Owns the comparison of meters and phases over a run of beats. A bar is where harmony stays
//! together (each bar draws its pitch classes from a chord of its own: Dirichlet-multinomial
//! marginal likelihood), where the thumb plays on one, low and strong, and where the pattern of
//! thumb and fingers comes round again (Beta-Bernoulli marginal likelihood of each slot).

use super::beat_net::Belief;
use super::events::Event;
use super::priors::{self, ACCENT, CHORD, CHORDAL, LOW, MISFIT, ON_ONE, PATTERN, Priors, USUAL};
use super::subdivisions::{self, Slots, locate};
use crate::music::meter::Meter;
use crate::music::note::{Note, Role};

/// Finest division that is told apart.
const PARTS: usize = 6;

/// What is heard at and after one beat.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pulse {
    /// Slots of the beat.
    pub parts: usize,
    /// Weight of thumb and fingers at each slot, 0 to 1.
    pub played: [[f64; PARTS]; 2],
    /// Level of the strongest event on the beat, dB.
    pub level: Option<f64>,
    /// Pitch of the thumb on the beat.
    pub low: Option<f64>,
    /// Weight of each pitch class from this beat to the next.
    pub classes: [f64; 12],
}

/// A choice of meter and phase for a run of beats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Choice {
    /// Time signature.
    pub meter: Meter,
    /// Index of the first downbeat, below the beats of a bar.
    pub phase: usize,
    /// Log score, nats.
    pub score: f64,
}

/// Reads what each beat of a run carries. `beats` increase, seconds.
pub(crate) fn pulses(beats: &[f64], slots: &Slots, events: &[Event], notes: &[Note]) -> Vec<Pulse> {
    let mut pulses: Vec<Pulse> = slots
        .parts
        .iter()
        .map(|&parts| Pulse {
            parts: usize::from(parts),
            ..Pulse::default()
        })
        .collect();
    for event in events {
        let Some((beat, share)) = locate(beats, event.time) else {
            continue;
        };
        let (on, part, _) = slots.nearest(beat, share);
        let hand = usize::from(event.role == Role::Melody);
        let Some(pulse) = pulses.get_mut(beat + on) else {
            continue;
        };
        let played = &mut pulse.played[hand][usize::from(part)];
        *played = played.max(event.weight);
        if part == 0 {
            pulse.level = Some(pulse.level.map_or(event.level, |l| l.max(event.level)));
            if hand == 0 {
                pulse.low = event.lowest.or(pulse.low);
            }
        }
        for &i in &event.notes {
            if let Some(pitch) = notes[i].pitch.filter(|p| p.0.is_finite()) {
                let class = (pitch.nearest()).rem_euclid(12) as usize;
                pulse.classes[class] += if hand == 0 { 1.5 } else { 1.0 } * event.weight;
            }
        }
    }
    pulses
}

/// The network's class of a meter.
fn class(meter: Meter) -> Option<usize> {
    [
        (2, 4),
        (3, 4),
        (4, 4),
        (5, 4),
        (7, 4),
        (6, 8),
        (9, 8),
        (12, 8),
    ]
    .iter()
    .position(|&m| m == (meter.count, meter.unit))
}

/// All phases of a meter, best first. `triple` is the log-likelihood gain of dividing the beat
/// by three: where it speaks against a meter it counts, where it speaks for it the beats' own
/// likelihood has counted it (or six eighths would always be 6/8 and never 3/4). A
pub(crate) fn choices(
    pulses: &[Pulse],
    belief: &Belief,
    beats: &[f64],
    meter: Meter,
    triple: f64,
    priors: &Priors,
) -> Vec<Choice> {
    let down: Vec<f64> = beats.iter().map(|&b| belief.downbeat(b)).collect();
    let known = belief.meters(beats[0], beats[beats.len() - 1]);
    let marks = Marks::read(pulses);
    let bar = usize::from(meter.beats().max(1));
    let fit = if meter.is_compound() { triple } else { -triple };
    // By time and not by beats, or a reading of half the tempo would be doubted less.
    let long = ((beats[beats.len() - 1] - beats[0]) / priors::A_BEAT).max(1.0);
    let shared = priors.common * priors::meter(meter) - (bar as f64).ln()
        + fit.clamp(-MISFIT, 0.0)
        + priors.meters * long.sqrt() * class(meter).map_or(priors::UNKNOWN, |c| known[c])
        + priors.downbeats * priors.returned * beats.len() as f64;
    let mut all: Vec<Choice> = (0..bar)
        .map(|phase| {
            let (pat, har, mar) = (
                pattern(pulses, bar, phase),
                harmony(pulses, bar, phase),
                marks.score(bar, phase),
            );
            let told: f64 = down
                .iter()
                .enumerate()
                .map(|(k, q)| {
                    if k % bar == phase {
                        q.ln()
                    } else {
                        (1.0 - q).ln()
                    }
                })
                .sum();
            let score = shared + pat + har + mar + priors.downbeats * told;
            Choice {
                meter,
                phase,
                score,
            }
        })
        .collect();
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all
}

/// Gain in log-likelihood when the pitch classes of each bar come from a chord of its own
/// (Dirichlet-multinomial) instead of from the run as a whole; a run on hardly more than one
/// pitch class tells nothing of chords.
fn harmony(pulses: &[Pulse], bar: usize, phase: usize) -> f64 {
    let mut all = [0.0; 12];
    for pulse in pulses {
        for (sum, c) in all.iter_mut().zip(pulse.classes) {
            *sum += c;
        }
    }
    let n: f64 = all.iter().sum();
    let alike: f64 = all
        .iter()
        .filter(|&&c| c > 0.0)
        .map(|&c| c * (c / n).ln())
        .sum();
    let classes = (-alike / n.max(1.0)).exp();
    let mut total = 0.0;
    let mut chord = [0.0; 12];
    for (k, pulse) in pulses.iter().enumerate() {
        if k > 0 && k % bar == phase % bar {
            total += chord_gain(&chord);
            chord = [0.0; 12];
        }
        for (sum, c) in chord.iter_mut().zip(pulse.classes) {
            *sum += c;
        }
    }
    (total + chord_gain(&chord) - alike) * ((classes - 1.0) / CHORDAL).min(1.0)
}

fn chord_gain(chord: &[f64; 12]) -> f64 {
    let n: f64 = chord.iter().sum();
    let terms: f64 = chord
        .iter()
        .map(|&c| ln_gamma(CHORD + c) - ln_gamma(CHORD))
        .sum();
    let all = 12.0 * CHORD;
    ln_gamma(all) - ln_gamma(all + n) + terms
}

/// Gain in log-likelihood of what thumb and fingers play when the bar has a pattern of its own
/// that comes round again (Beta-Bernoulli at each slot, around the usual rates) over the usual
/// rates that the beats were found with.
fn pattern(pulses: &[Pulse], bar: usize, phase: usize) -> f64 {
    let mut total = 0.0;
    for place in 0..bar {
        let here = || pulses.iter().skip((phase + place) % bar).step_by(bar);
        for parts in 1..=PARTS {
            let of_parts = || here().filter(move |p| p.parts == parts);
            if of_parts().next().is_none() {
                continue;
            }
            for hand in 0..2 {
                for part in 0..parts {
                    let usual = subdivisions::usual(parts as u8, part, hand);
                    let mean = if place == 0 && part == 0 && hand == 0 {
                        ON_ONE
                    } else {
                        usual
                    };
                    let (mut yes, mut no) = (0.0, 0.0);
                    for pulse in of_parts() {
                        yes += pulse.played[hand][part];
                        no += 1.0 - pulse.played[hand][part];
                    }
                    let (a, b) = (USUAL * mean, USUAL * (1.0 - mean));
                    let poisson = yes * usual.ln() - (yes + no) * usual;
                    total += ln_beta(a + yes, b + no) - ln_beta(a, b) - poisson;
                }
            }
        }
    }
    PATTERN * total
}

/// Per beat: how much it looks like a downbeat.
struct Marks {
    gain: Vec<f64>,
}

impl Marks {
    fn read(pulses: &[Pulse]) -> Self {
        let low = standard(&pulses.iter().map(|p| p.low).collect::<Vec<_>>());
        let level = standard(&pulses.iter().map(|p| p.level).collect::<Vec<_>>());
        let gain: Vec<f64> = low
            .iter()
            .zip(&level)
            .map(|(low, level)| ACCENT * level - LOW * low)
            .collect();
        Self { gain }
    }

    /// Gain of the downbeats against that of all beats alike.
    fn score(&self, bar: usize, phase: usize) -> f64 {
        let mean = self.gain.iter().sum::<f64>() / self.gain.len().max(1) as f64;
        self.gain
            .iter()
            .skip(phase)
            .step_by(bar)
            .map(|g| g - mean)
            .sum()
    }
}

/// Values in standard deviations from their median, absent ones 0, at most ±2.
fn standard(values: &[Option<f64>]) -> Vec<f64> {
    let mut known: Vec<f64> = values.iter().flatten().copied().collect();
    if known.len() < 4 {
        return vec![0.0; values.len()];
    }
    known.sort_by(f64::total_cmp);
    let centre = known[known.len() / 2];
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    let sd = (known.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / known.len() as f64).sqrt();
    values
        .iter()
        .map(|v| v.map_or(0.0, |v| ((v - centre) / sd.max(0.5)).clamp(-2.0, 2.0)))
        .collect()
}

/// Logarithm of the gamma function for x > 0 (Stirling's series after shifting x above 7;
/// Abramowitz & Stegun 6.1.41, from memory).
pub(crate) fn ln_gamma(x: f64) -> f64 {
    let mut x = x;
    let mut shift = 0.0;
    while x < 7.0 {
        shift -= x.ln();
        x += 1.0;
    }
    let inv = 1.0 / x;
    let series = inv * (1.0 / 12.0 - inv * inv * (1.0 / 360.0 - inv * inv / 1260.0));
    shift + (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series
}

fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}
