//! Which candidates are notes, and which pitches they bring.
//!
//! Three small weighings, each a weighted sum: how exactly a candidate marks an onset; which of
//! several close candidates a pitch begins at; whether that pitch begins there at all. Role,
//! string and kind come after.

mod weighing;
pub mod weight_fit;
mod weights;

use super::features::Features;
use super::note_event::NoteEvent;
use super::pitch::LOWEST;
use super::pluck_net::PITCHES;
use crate::unit::Seconds;
use weights::WEIGHTS;

pub use weighing::Weights;

/// Least probability of a note. From 0.65 to 0.75 rendered pieces do not care; within that, chosen with
/// three real recordings in view, where sounds of damping are the commonest false notes.
const LEAST: f32 = 0.7;
/// Candidates that name one pitch and lie this near to one another speak of one note, seconds.
const CHAIN: f64 = 0.038;
/// Two notes of one pitch are at least this far apart, seconds: a string needs that to be plucked
/// again.
const REPEAT: f64 = 0.045;
/// The network names a pitch from here on.
const NAMED: f32 = 0.08;
/// Most neighbours that are looked at on either side.
const NEIGHBOURS: usize = 8;

/// The notes that begin, in order of time, lower pitches first.
pub fn events(heard: &[Features]) -> Vec<NoteEvent> {
    let weights = &WEIGHTS;
    let marks = marks(heard, weights);
    let folded: Vec<Vec<f32>> = heard.iter().map(|h| fold(&h.newness.pitches)).collect();
    let mut events: Vec<NoteEvent> = (0..PITCHES)
        .flat_map(|pitch| {
            groups(heard, pitch)
                .into_iter()
                .flat_map(|group| settle(heard, &marks, pitch, group, weights))
                .collect::<Vec<_>>()
                .into_iter()
                .filter_map(|i| event(heard, &marks, &folded, pitch, i))
                .collect::<Vec<_>>()
        })
        .collect();
    events.sort_by(|a, b| a.time.total_cmp(&b.time).then(a.midi.cmp(&b.midi)));
    events
}

fn marks(heard: &[Features], weights: &Weights) -> Vec<Mark> {
    (0..heard.len())
        .map(|i| Mark::of(heard, i, weights))
        .collect()
}

/// How a candidate stands among its neighbours.
struct Mark {
    /// What speaks for an onset within 3 ms of it.
    features: [f32; 13],
    /// Log odds that an onset lies within 3 ms of the candidate.
    exact: f32,
    /// How much neighbours' offsets point at it.
    pointed: f32,
    /// How much its own offset says that it is the first of the new notes.
    own: f32,
}

impl Mark {
    fn of(heard: &[Features], i: usize, weights: &Weights) -> Self {
        let h = &heard[i];
        let (time, onset) = (h.candidate.time, h.reading.onset);
        let (rise, flux) = (h.candidate.rise.max(0.0), h.candidate.strength.max(0.0));
        let bell = |d: f64| (-0.5 * (d / 0.003).powi(2)).exp() as f32;
        let (mut rival_flux, mut rival_rise, mut rival_onset) = (0.0f32, 0.0f32, 0.0f32);
        let (mut pointed, mut earlier) = (0.0f32, 0.0f32);
        for k in around(heard.len(), i, NEIGHBOURS) {
            let other = &heard[k];
            let apart = (other.candidate.time - time).abs();
            if apart < 0.024 {
                let aim = other.candidate.time + other.reading.offset;
                pointed += other.reading.onset * bell(aim - time);
            }
            if apart >= 0.03 {
                continue;
            }
            let weight = (1.0 - apart / 0.03) as f32;
            rival_flux = rival_flux.max(weight * (other.candidate.strength.max(0.0) - flux));
            rival_rise = rival_rise.max(weight * (other.candidate.rise.max(0.0) - rise) / 10.0);
            rival_onset = rival_onset.max(weight * (odds(other.reading.onset) - odds(onset)) / 3.0);
            if other.candidate.time < time {
                earlier = earlier.max(other.reading.onset);
            }
        }
        let pointed = pointed.min(2.0);
        let own = onset * bell(h.reading.offset);
        let ahead = ((-h.reading.offset).max(0.0) / 0.01).min(2.0) as f32;
        let features = [
            (rise / 10.0).sqrt(),
            (flux + 0.05).ln(),
            (h.newness.fresh / (h.newness.after + 1e-6) + 0.02).ln(),
            odds(onset),
            (h.reading.offset.abs() / 0.01).min(2.0) as f32,
            rival_flux,
            rival_rise,
            rival_onset,
            pointed,
            own,
            earlier,
            earlier * ahead,
            if flux > 0.0 { 1.0 } else { 0.0 },
        ];
        Self {
            exact: weigh(&features, &weights.exact.0) + weights.exact.1,
            features,
            pointed,
            own,
        }
    }
}

/// Runs of candidates that name `pitch`, each candidate less than [`CHAIN`] after the one before.
fn groups(heard: &[Features], pitch: usize) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (i, h) in heard.iter().enumerate() {
        if h.reading.pitches[pitch] <= NAMED {
            continue;
        }
        match groups.last_mut() {
            Some(group)
                if group
                    .last()
                    .is_some_and(|last| h.candidate.time - heard[*last].candidate.time < CHAIN) =>
            {
                group.push(i);
            }
            _ => groups.push(vec![i]),
        }
    }
    groups
}

/// The candidates of a group at which `pitch` begins: the best, then the best of those far enough
/// from it, and so on.
fn settle(
    heard: &[Features],
    marks: &[Mark],
    pitch: usize,
    mut group: Vec<usize>,
    weights: &Weights,
) -> Vec<usize> {
    let mut chosen = Vec::new();
    while let Some(first) = group.first().copied() {
        let score = |i: usize| weigh(&placing(heard, marks, pitch, i, i == first), &weights.place);
        let best = group.iter().copied().fold(
            first,
            |best, i| if score(i) > score(best) { i } else { best },
        );
        chosen.push(best);
        let time = heard[best].candidate.time;
        group.retain(|i| (heard[*i].candidate.time - time).abs() > REPEAT);
    }
    chosen
}

/// What speaks for `pitch` beginning at candidate `i` rather than at another of its group.
fn placing(heard: &[Features], marks: &[Mark], pitch: usize, i: usize, first: bool) -> [f32; 7] {
    let h = &heard[i];
    let top = h.newness.pitches.iter().fold(1e-9f32, |m, v| m.max(*v));
    [
        h.fits[pitch].clamp(-6.0, 6.0),
        odds(h.reading.pitches[pitch]),
        marks[i].exact,
        marks[i].pointed,
        marks[i].own,
        if first { 1.0 } else { 0.0 },
        (1.0 + 10.0 * h.newness.pitches[pitch].max(0.0) / top).ln(),
    ]
}

/// What speaks for `pitch` beginning at candidate `i` at all, and its share of what begins there.
fn beginning(
    heard: &[Features],
    marks: &[Mark],
    folded: &[Vec<f32>],
    pitch: usize,
    i: usize,
) -> ([f32; 10], f32) {
    let h = &heard[i];
    let said = h.reading.pitches[pitch];
    let (mut most, mut onset, mut exact) = (said, h.reading.onset, marks[i].exact);
    for k in around(heard.len(), i, NEIGHBOURS) {
        if (heard[k].candidate.time - h.candidate.time).abs() < 0.03 {
            most = most.max(heard[k].reading.pitches[pitch]);
            onset = onset.max(heard[k].reading.onset);
            exact = exact.max(marks[k].exact);
        }
    }
    let top = folded[i].iter().fold(1e-9f32, |m, v| m.max(*v));
    let share = h.newness.pitches[pitch].max(0.0) / top;
    let below = [12, 19, 24]
        .iter()
        .filter_map(|d| pitch.checked_sub(*d))
        .any(|p| h.reading.pitches[p] > 0.5);
    let features = [
        odds(most),
        odds(said),
        odds(onset),
        marks[i].exact,
        exact,
        if share > 0.1 { 1.0 } else { 0.0 },
        (share + 0.03).ln(),
        if below { 1.0 } else { 0.0 },
        odds(h.reading.sounding[pitch]),
        h.fits[pitch].clamp(-6.0, 6.0),
    ];
    (features, share)
}

/// The note of `pitch` at candidate `i`, if there is one.
fn event(
    heard: &[Features],
    marks: &[Mark],
    folded: &[Vec<f32>],
    pitch: usize,
    i: usize,
) -> Option<NoteEvent> {
    let h = &heard[i];
    let (features, share) = beginning(heard, marks, folded, pitch, i);
    let confidence = logistic(weigh(&features, &WEIGHTS.note.0) + WEIGHTS.note.1);
    (confidence > LEAST).then(|| NoteEvent {
        time: Seconds(h.candidate.time),
        midi: LOWEST + pitch as i32,
        confidence,
        strength: h.peak * share.clamp(0.05, 1.0),
        made: h.reading.made[pitch],
        heard: i,
    })
}

/// Indices around `i`, without it, up to `reach` on either side.
fn around(len: usize, i: usize, reach: usize) -> impl Iterator<Item = usize> {
    (i.saturating_sub(reach)..(i + reach + 1).min(len)).filter(move |k| *k != i)
}

fn weigh<const N: usize>(features: &[f32; N], weights: &[f32; N]) -> f32 {
    features.iter().zip(weights).map(|(f, w)| f * w).sum()
}

fn logistic(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}

/// Log odds of a probability, −7 to 7.
fn odds(p: f32) -> f32 {
    ((p + 1e-4) / (1.0 - p + 1e-4)).ln().clamp(-7.0, 7.0)
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
