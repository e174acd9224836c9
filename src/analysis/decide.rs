//! Which candidates are notes, and which pitches they bring.
//!
//! Owns the decision at each candidate; role, string and kind come after.

use super::hear::Heard;
use super::pitch::LOWEST;
use crate::unit::Seconds;

/// A pitch that begins at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// When.
    pub time: Seconds,
    /// Whole semitone, MIDI number.
    pub midi: i32,
    /// Probability that a note begins here.
    pub confidence: f32,
    /// Its share of what is new here, in units of signal amplitude.
    pub strength: f32,
}

/// Weights of the logistic decision on [`features`], tuned on rendered pieces.
const WEIGHTS: [f32; 9] = [1.31, 2.14, -0.42, 1.52, 2.83, 1.15, 0.73, 0.92, 0.91];
const BIAS: f32 = 0.477;
/// Least probability of a note.
const LEAST: f32 = 0.45;
/// A further pitch at the same onset has at least this share of the strongest one's strength.
const SHARE: f32 = 0.4;
/// Neighbours that compete for one onset lie this near, seconds.
const NEAR: f64 = 0.05;

/// The notes that begin, in order of time, lower pitches first.
pub fn events(heard: &[Heard]) -> Vec<Event> {
    let folded: Vec<Vec<f32>> = heard.iter().map(|h| fold(&h.newness.pitches)).collect();
    let level = loud(heard);
    let mut events = Vec::new();
    for (i, pitches) in folded.iter().enumerate() {
        let top = pitches.iter().fold(0.0f32, |m, v| m.max(*v));
        let sum = BIAS
            + features(heard, i, top, level)
                .iter()
                .zip(WEIGHTS)
                .map(|(f, w)| f * w)
                .sum::<f32>();
        let confidence = 1.0 / (1.0 + (-sum).exp());
        if confidence < LEAST || top <= 0.0 {
            continue;
        }
        let taken = pitches
            .iter()
            .enumerate()
            .filter(|(_, v)| **v >= SHARE * top);
        events.extend(taken.take(6).map(|(p, v)| Event {
            time: Seconds(heard[i].candidate.time),
            midi: LOWEST + p as i32,
            confidence,
            strength: *v,
        }));
    }
    events
}

/// What the decision rests on: the clarity of the onset, how much is new against what sounds and
/// against the recording, how well strings explain it, and stronger neighbours.
fn features(heard: &[Heard], i: usize, top: f32, level: f32) -> [f32; 9] {
    let h = &heard[i];
    let (rise, strength) = (h.candidate.rise.max(0.0), h.candidate.strength);
    let (mut rival_flux, mut rival_rise, mut before) = (0.0f32, 0.0f32, 0.0f32);
    let near = |k: usize| (heard[k].candidate.time - h.candidate.time).abs();
    let first = (0..i)
        .rev()
        .take_while(|k| near(*k) < NEAR)
        .last()
        .unwrap_or(i);
    let last = (i + 1..heard.len())
        .take_while(|k| near(*k) < NEAR)
        .last()
        .unwrap_or(i);
    for k in (first..=last).filter(|k| *k != i) {
        let weight = (1.0 - near(k) / NEAR) as f32;
        let flux = heard[k].candidate.strength - strength;
        rival_flux = rival_flux.max(weight * flux);
        rival_rise = rival_rise.max(weight * (heard[k].candidate.rise - h.candidate.rise) / 10.0);
        if k < i {
            before = before.max(flux);
        }
    }
    let n = &h.newness;
    [
        (rise / 10.0).sqrt(),
        (strength.max(0.0) + 0.05).ln(),
        (n.fresh / (n.after + 1e-6) + 0.02).ln(),
        (n.fresh / level + 0.01).ln(),
        n.explained,
        (top / (n.fresh + 1e-6) + 0.05).ln(),
        rival_flux,
        rival_rise,
        before,
    ]
}

/// The amount of newness that one in twenty candidates exceeds.
fn loud(heard: &[Heard]) -> f32 {
    let mut fresh: Vec<f32> = heard.iter().map(|h| h.newness.fresh).collect();
    fresh.sort_by(f32::total_cmp);
    fresh.get(fresh.len() * 95 / 100).copied().unwrap_or(0.0) + 1e-6
}

/// Gives what sits on a lower pitch's partials 2 to 8 to that pitch, unless it is much stronger.
fn fold(pitches: &[f32]) -> Vec<f32> {
    let mut p = pitches.to_vec();
    for i in 0..p.len() {
        let top = p.iter().fold(0.0f32, |m, v| m.max(*v));
        if p[i] < 0.12 * top {
            continue;
        }
        for partial in [12, 19, 24, 28, 31, 36] {
            let j = i + partial;
            if j < p.len() && p[j] < 1.5 * p[i] {
                p[i] += std::mem::take(&mut p[j]);
            }
        }
    }
    p
}
