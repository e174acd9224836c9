//! From rough beats to the measuring grid of one run.
//!
//! Owns the turns between slots and curve: the beats say which slot a note is meant for, the
//! slots say where its beat is, and the systematic lateness of the fingers is taken off so that
//! the thumb places the beat.

use super::events::{self, Event};
use super::hand_gap::{self, Touch};
use super::subdivisions::locate;
use super::subdivisions::{self, Slots};
use super::tempo_curve::{self, Curve, Observation, Pin};
use crate::dsp::middle::upper_median;
use crate::music::grid::{Beat, Grid};
use crate::music::note::{Note, Role};
use crate::unit::Seconds;

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
        let mut slots = subdivisions::read(&beats, &inside, &windows);
        let mut curve = None;
        let mut hands = [
            Hand {
                late: 0.0,
                sd: 0.012,
                waits: 0.0,
            },
            Hand {
                late: 0.0,
                sd: 0.02,
                waits: 0.0,
            },
        ];
        for _ in 0..3 {
            let observations = observations(&beats, &inside, &slots, &hands);
            let fitted = tempo_curve::fit(&beats, &observations, pins, None);
            beats.clone_from(&fitted.beats);
            slots = subdivisions::read(&beats, &inside, &windows);
            hands = self::hands(&beats, &inside, &slots);
            curve = Some(fitted);
        }
        Self {
            curve: curve.unwrap_or_else(|| tempo_curve::fit(rough, &[], pins, None)),
            slots,
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
    /// How much later than heard it is in attacks that both hands share.
    waits: f64,
}

fn observations(
    beats: &[f64],
    events: &[Event],
    slots: &Slots,
    hands: &[Hand; 2],
) -> Vec<Observation> {
    let sharing = sharing(events);
    events
        .iter()
        .zip(&sharing)
        // Of an attack that both hands share the thumb's half says all.
        .filter(|(event, shares)| !(**shares && event.role == Role::Melody))
        .filter_map(|(event, &shares)| {
            let hand = hands[usize::from(event.role == Role::Melody)];
            let time = event.time + if shares { hand.waits } else { 0.0 };
            let (beat, at) = locate(beats, time)?;
            let length = length(beats, beat);
            let (on, part, _) = slots.nearest(beat, at - hand.late / length);
            // The place of a swung off-beat holds the fingers' lateness already.
            let late = if on == 0 && slots.swings(beat, part) {
                0.0
            } else {
                hand.late
            };
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
            (beat < beats.len()).then_some(Observation {
                beat,
                share,
                time: time - late,
                sd,
                weight: event.weight,
            })
        })
        .collect()
}

/// Which events are one attack with an event of the other hand.
fn sharing(events: &[Event]) -> Vec<bool> {
    let touches: Vec<Touch> = events.iter().map(|e| touch(e, 0.0)).collect();
    let mut shares = vec![false; events.len()];
    for (i, j) in hand_gap::pairs(&touches) {
        if hand_gap::shared(&touches[i], &touches[j]) {
            (shares[i], shares[j]) = (true, true);
        }
    }
    shares
}

fn touch(event: &Event, away: f64) -> Touch {
    Touch {
        time: event.time,
        away,
        role: event.role,
        weight: event.weight * (2.0 * event.sure - 1.0).max(0.05),
    }
}

fn length(beats: &[f64], k: usize) -> f64 {
    if k + 1 < beats.len() {
        beats[k + 1] - beats[k]
    } else {
        beats[beats.len() - 1] - beats[beats.len() - 2]
    }
}

/// Distance of the fingers from their slots when the thumb is on time, and the spread of both
/// hands. Swung off-beats do not say how late the fingers are: their place was read from them.
fn hands(beats: &[f64], events: &[Event], slots: &Slots) -> [Hand; 2] {
    let mut touches: Vec<Touch> = Vec::with_capacity(events.len());
    for event in events {
        let Some((beat, at)) = locate(beats, event.time) else {
            continue;
        };
        let (on, part, away) = slots.nearest(beat, at);
        let swung = on == 0 && slots.swings(beat, part);
        if !(swung && event.role == Role::Melody) {
            touches.push(touch(event, away * length(beats, beat)));
        }
    }
    let apart = hand_gap::apart(&touches);
    if let Some(apart) = &apart {
        touches = hand_gap::taken_apart(&touches, apart);
    }
    let [thumb, fingers] = [Role::Bass, Role::Melody].map(|role| {
        let own = touches.iter().filter(|t| t.role == role);
        let mut away: Vec<f64> = own.map(|t| t.away).collect();
        let late = upper_median(&mut away).unwrap_or(0.0);
        let mut distance: Vec<f64> = away.iter().map(|a| (a - late).abs()).collect();
        Hand {
            late,
            sd: (1.4826 * upper_median(&mut distance).unwrap_or(0.0)).clamp(HAND.0, HAND.1),
            waits: 0.0,
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
            waits: apart.map_or(0.0, |a| (-a.shared).max(0.0)),
        },
        Hand {
            late: late.clamp(-0.06, 0.06),
            sd: fingers.sd.max(0.008),
            waits: 0.0,
        },
    ]
}

/// The beats of `rough` (within about an eighth of where they should be), moved to where `notes`
/// (in order of time) put them, as every measuring grid is; bars and places stay as they are.
pub fn fit_to_notes(rough: &Grid, notes: &[Note]) -> Grid {
    let times: Vec<f64> = rough.beats().iter().map(|b| b.time.0).collect();
    let run = Run::fit(&times, &events::collect(notes), &[]);
    let beats = rough
        .beats()
        .iter()
        .zip(&run.curve.beats)
        .map(|(beat, &time)| Beat {
            time: Seconds(time),
            ..*beat
        })
        .collect();
    Grid::from_parts(rough.meter, beats, rough.free_time().to_vec()).swung(rough.off_beat)
}
