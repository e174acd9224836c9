//! From rough beats to the measuring grid of one run.
//!
//! Owns the turns between slots and curve: the beats say which slot a note is meant for, the
//! slots say where its beat is, and the systematic lateness of the fingers is taken off so that
//! the thumb places the beat.

use super::bars::locate;
use super::events::Event;
use super::slots::{self, Slots};
use super::smooth::{self, Curve, Pin, Sight};
use crate::music::note::Role;

/// One run of beats, measured.
#[derive(Debug, Clone)]
pub(crate) struct Run {
    /// Beats and their certainty.
    pub curve: Curve,
    /// How the beats divide.
    pub slots: Slots,
}

/// Beats of one window in which the division is read.
const WINDOW: usize = 4;
/// Smallest and largest spread (s) a hand is taken to have.
const HAND: (f64, f64) = (0.004, 0.030);

impl Run {
    /// Fits a run that starts from `rough` beats; `pins` are beats held in place.
    pub fn fit(rough: &[f64], events: &[Event], pins: &[Pin]) -> Self {
        let inside: Vec<Event> = events
            .iter()
            .filter(|e| locate(rough, e.time).is_some())
            .cloned()
            .collect();
        let windows = windows(rough.len());
        let mut beats = rough.to_vec();
        let mut slots = slots::read(&beats, &inside, &windows);
        let mut curve = None;
        let mut hands = [
            Hand {
                late: 0.0,
                sd: 0.012,
            },
            Hand {
                late: 0.0,
                sd: 0.02,
            },
        ];
        for _ in 0..3 {
            let sights = sights(&beats, &inside, &slots, &hands);
            let fitted = smooth::fit(&beats, &sights, pins, None);
            beats.clone_from(&fitted.beats);
            slots = slots::read(&beats, &inside, &windows);
            hands = self::hands(&beats, &inside, &slots);
            curve = Some(fitted);
        }
        Self {
            curve: curve.unwrap_or_else(|| smooth::fit(rough, &[], pins, None)),
            slots,
        }
    }
}

impl Run {
    /// A run whose beats are known: only its slots are read.
    pub fn fixed(beats: &[f64], events: &[Event]) -> Self {
        Self {
            curve: Curve {
                beats: beats.to_vec(),
                sd: vec![0.001; beats.len()],
                reach: 0.0,
                bend: 0.0,
            },
            slots: slots::read(beats, events, &windows(beats.len())),
        }
    }
}

/// Windows of beats in which the division is read.
fn windows(beats: usize) -> Vec<(usize, usize)> {
    (0..beats)
        .step_by(WINDOW)
        .map(|from| (from, (from + WINDOW).min(beats)))
        .collect()
}

/// Systematic offset and spread of one hand, seconds.
#[derive(Debug, Clone, Copy)]
struct Hand {
    late: f64,
    sd: f64,
}

fn sights(beats: &[f64], events: &[Event], slots: &Slots, hands: &[Hand; 2]) -> Vec<Sight> {
    events
        .iter()
        .filter_map(|event| {
            let (beat, at) = locate(beats, event.time)?;
            let hand = hands[usize::from(event.role == Role::Melody)];
            let length = length(beats, beat);
            let (on, part, _) = slots.nearest(beat, at - hand.late / length);
            let beat = beat + on;
            let share = if on == 1 {
                0.0
            } else {
                slots.share(beat, part)
            };
            // An off-beat's own place is uncertain by a share of the beat.
            let sd = if part == 0 {
                hand.sd
            } else {
                hand.sd.hypot(0.012 * length)
            };
            (beat < beats.len()).then_some(Sight {
                beat,
                share,
                time: event.time - hand.late,
                sd,
                weight: event.weight,
            })
        })
        .collect()
}

fn length(beats: &[f64], k: usize) -> f64 {
    if k + 1 < beats.len() {
        beats[k + 1] - beats[k]
    } else {
        beats[beats.len() - 1] - beats[beats.len() - 2]
    }
}

/// Median distance of the fingers from their slots when the thumb is on time, and the spread of
/// both hands.
fn hands(beats: &[f64], events: &[Event], slots: &Slots) -> [Hand; 2] {
    let mut off: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    for event in events {
        if let Some((beat, at)) = locate(beats, event.time) {
            let (_, _, away) = slots.nearest(beat, at);
            off[usize::from(event.role == Role::Melody)].push(away * length(beats, beat));
        }
    }
    let [thumb, fingers] = off.map(|mut away| {
        let late = median(&mut away);
        let mut distance: Vec<f64> = away.iter().map(|a| (a - late).abs()).collect();
        Hand {
            late,
            sd: (1.4826 * median(&mut distance)).clamp(HAND.0, HAND.1),
        }
    });
    // Too few thumb notes place no beat: then the fingers do.
    let enough = events.iter().filter(|e| e.role == Role::Bass).count() * 8 >= beats.len();
    let late = if enough {
        fingers.late - thumb.late
    } else {
        0.0
    };
    [
        Hand {
            late: 0.0,
            sd: thumb.sd.max(0.006),
        },
        Hand {
            late: late.clamp(-0.06, 0.06),
            sd: fingers.sd.max(0.008),
        },
    ]
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
