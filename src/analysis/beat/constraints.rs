//! What a player's edits ask of the decoding.
//!
//! Owns the reading of the list of edits as instants, tempi and stretches; what is done with them
//! belongs to `solve`.

use super::edits::Edit;
use super::hsmm::Steering;
use super::priors::{self, LEVELS};
use super::tempo_curve::Pin;
use crate::music::meter::Meter;

/// A tap is off by about this share of a beat (Repp 2005, from memory: 4 % untrained).
const TAP: f64 = 0.04;
/// A beat that is dragged less far than this share of a beat is the same beat elsewhere; farther,
/// and the player says where beats are.
const SAME_BEAT: f64 = 0.35;
/// A tempo that was set in figures may be off by this factor, one that was tapped or doubled by
/// that.
const TEMPO_ROOM: (f64, f64) = (1.08, 1.22);
/// A tapped tempo this near (its logarithm) to a reading's is the same.
pub(super) const SAME_TEMPO: f64 = 0.12;

/// Instants at which the player says that a beat is. Small drags move a beat that was there.
pub(super) fn told(held: &[Edit], beat: f64) -> Vec<f64> {
    held.iter()
        .filter(|edit| nudge(edit, beat).is_none())
        .filter_map(|edit| Some(edit.beat()?.0))
        .collect()
}

/// From where to where an edit moves one beat that stays the same beat.
pub(super) fn nudge(edit: &Edit, beat: f64) -> Option<(f64, f64)> {
    match *edit {
        Edit::DragBeat { from, to } if (to - from).abs().0 < SAME_BEAT * beat => {
            Some((from.0, to.0))
        }
        _ => None,
    }
}

/// The meter that was set.
pub(super) fn set_meter(held: &[Edit]) -> Option<Meter> {
    held.iter().rev().find_map(|e| match e {
        Edit::Meter { meter } => Some(*meter),
        _ => None,
    })
}

/// The beat that tempo edits or a row of taps ask for, seconds.
pub(super) fn target_beat(own: f64, held: &[Edit]) -> Option<f64> {
    let mut target = None;
    let mut beat = own;
    for edit in held {
        match edit {
            Edit::Tempo { bpm } => beat = bpm.beat().0,
            Edit::Halve => beat *= 2.0,
            Edit::Double => beat /= 2.0,
            _ => continue,
        }
        target = Some(beat.clamp(0.24, 1.55));
    }
    if target.is_none() {
        target = tapped(held).filter(|t| (t / own).ln().abs() > SAME_TEMPO);
    }
    target
}

/// The beat that a row of taps keeps, seconds; none without taps that follow each other.
pub(super) fn tapped(held: &[Edit]) -> Option<f64> {
    let mut taps: Vec<f64> = held
        .iter()
        .filter_map(|e| match e {
            Edit::Tap { at } => Some(at.0),
            _ => None,
        })
        .collect();
    taps.sort_by(f64::total_cmp);
    let mut gaps: Vec<f64> = taps
        .windows(2)
        .map(|p| p[1] - p[0])
        .filter(|g| (0.24..=1.55).contains(g))
        .collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied()
}

/// The tempo level whose beats are nearest to `beat` seconds.
pub(super) fn level_of(beat: f64) -> usize {
    let away = |own: f64| (beat / own).ln().abs();
    (0..LEVELS.len())
        .min_by(|&a, &b| away(LEVELS[a]).total_cmp(&away(LEVELS[b])))
        .unwrap_or(2)
}

/// The edits as rewards and limits for the decoding, for beats of about `beat` seconds.
pub(super) fn steering(beat: f64, target: Option<f64>, held: &[Edit]) -> Steering {
    let set = held.iter().any(|e| matches!(e, Edit::Tempo { .. }));
    let room = if set { TEMPO_ROOM.0 } else { TEMPO_ROOM.1 };
    let mut steering = Steering {
        length: target.map(|t| (t / room, t * room)),
        ..Steering::default()
    };
    for edit in held {
        match *edit {
            Edit::Tap { at } => steering.beats.push((at.0, TAP * beat, priors::TAPPED)),
            Edit::DragBeat { from, to } if nudge(edit, beat).is_none() => {
                steering.beats.push((from.0, TAP * beat, -priors::BAR_TOLD));
                steering.beats.push((to.0, 0.02 * beat, priors::DRAGGED));
            }
            Edit::BarOne { at } | Edit::BarStart { at } => {
                steering.beats.push((at.0, 0.08 * beat, priors::BAR_TOLD));
            }
            Edit::FreeTime { from, to } => steering.free.push((from.0, to.0)),
            Edit::Pulse { from, to } => steering.pulse.push((from.0, to.0)),
            _ => {}
        }
    }
    steering
}

/// Beats held in place: (instant, standard deviation), seconds.
pub(super) fn pins(held: &[Edit], beat: f64) -> Vec<Pin> {
    held.iter()
        .filter_map(|edit| match *edit {
            Edit::Tap { at } => Some((at.0, TAP * beat)),
            _ => None,
        })
        .collect()
}

/// Index of the nearest of `times` to an instant.
pub(super) fn nearest(times: &[f64], at: f64) -> Option<usize> {
    (0..times.len()).min_by(|&a, &b| (times[a] - at).abs().total_cmp(&(times[b] - at).abs()))
}

/// A beat this near (share of it) to where a player says that one is, is that beat.
pub(super) const AGREES: f64 = 0.18;
