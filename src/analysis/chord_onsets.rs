//! When notes that are plucked almost together begin, each for itself.
//!
//! In a pinch or a rolled chord the first attack hides the next ones in the waveform, and a thumb
//! note that follows a finger within 30 ms would be pinned to the finger's attack: drift that
//! nobody played. How much of a pitch's own partials lies in short windows around an attack tells
//! when that pitch began; the network reads that at every candidate nearby. Owns how those readings
//! become one time a note. A note that stands alone keeps the time read off the waveform, which is
//! more exact; so does one of three or more, whose readings scatter on real strums.

use super::features::Features;
use super::note_event::NoteEvent;
use super::pitch::LOWEST;
use crate::unit::Seconds;

/// Notes within this time may hide each other's attack, seconds.
const NEAR: f64 = 0.045;
/// Readings within this time of a note speak of it, seconds; the nearer the note lies to the instant
/// that was read, the more exact: the weight falls with this distance.
const REACH: f64 = 0.035;
const EXACT: f64 = 0.004;
/// A reading speaks of a pitch from this probability on.
const NAMED: f32 = 0.15;
/// The waveform's time stands where the readings agree with it to this, seconds.
const AGREED: f64 = 0.003;
/// Two notes of one attack are told apart from this distance on, seconds: about one standard error of
/// it. Nearer ones keep one time between them, to the bit, which says that they were not measured
/// each for itself.
const APART: f64 = 0.002;
/// Readings that lie before the first attack of the group by no more than this mean that attack,
/// seconds: the waveform tells it more exactly.
const FIRST: f64 = 0.006;
/// A note this many semitones below another is the low one of the two.
const BELOW: i32 = 4;
/// The network, taught to be wrong by little on the whole, draws a low note that follows a higher
/// one towards the higher one's attack: what it says against what was true, ms (medians over 30
/// rendered pieces).
const DRAWN: [(f64, f64); 9] = [
    (0.0, 0.0),
    (0.5, 0.5),
    (1.6, 4.2),
    (4.2, 11.8),
    (7.0, 14.2),
    (10.0, 17.0),
    (17.0, 21.5),
    (24.0, 26.3),
    (30.0, 31.0),
];

/// Gives every note of `events` that has others nearby its own time; keeps the order of time.
pub fn part(events: &mut [NoteEvent], heard: &[Features]) {
    let aims: Vec<f64> = events.iter().map(|e| aim(e, heard)).collect();
    let times: Vec<f64> = (0..events.len()).map(|i| time(events, &aims, i)).collect();
    for (event, time) in events.iter_mut().zip(times) {
        event.time = Seconds(time.max(0.0));
    }
    events.sort_by(|a, b| a.time.total_cmp(&b.time).then(a.midi.cmp(&b.midi)));
}

/// Where the readings say that a note begins, seconds.
fn aim(event: &NoteEvent, heard: &[Features]) -> f64 {
    let pitch = (event.midi - LOWEST).max(0) as usize;
    let from = heard.partition_point(|h| h.candidate.time < event.time.0 - REACH);
    let (mut sum, mut weight) = (0.0, 0.0);
    for h in &heard[from..] {
        let apart = h.candidate.time - event.time.0;
        if apart > REACH {
            break;
        }
        let said = h.reading.pitches.get(pitch).copied().unwrap_or(0.0);
        if said <= NAMED {
            continue;
        }
        let away = h.reading.begins[pitch];
        let w = f64::from(said) * (-0.5 * (away / EXACT).powi(2)).exp() + 1e-6;
        sum += w * (apart + away);
        weight += w;
    }
    event.time.0 + if weight > 0.0 { sum / weight } else { 0.0 }
}

/// The time of note `i`.
fn time(events: &[NoteEvent], aims: &[f64], i: usize) -> f64 {
    let own = events[i];
    let from = events.partition_point(|e| e.time.0 < own.time.0 - NEAR);
    let others = (from..events.len())
        .take_while(|k| events[*k].time.0 < own.time.0 + NEAR)
        .filter(|k| events[*k].midi != own.midi);
    let (mut count, mut higher, mut first) = (0, f64::INFINITY, own.time.0);
    let mut other = i;
    for k in others {
        count += 1;
        other = k;
        first = first.min(events[k].time.0);
        if events[k].midi >= own.midi + BELOW {
            higher = higher.min(aims[k]);
        }
    }
    if count != 1 {
        return own.time.0;
    }
    if (events[other].time - own.time).0.abs() < AGREED {
        return own_of_two(events, aims, (i, other));
    }
    let behind = 1000.0 * (aims[i] - higher);
    let aim = if behind > 0.0 && behind < 30.0 {
        higher + 0.001 * undrawn(behind)
    } else {
        aims[i]
    };
    let aim = if aim < first && aim > first - FIRST {
        first
    } else {
        aim
    };
    if (aim - own.time.0).abs() < AGREED {
        own.time.0
    } else {
        aim
    }
}

/// The time of one of two notes that share an attack. The readings tell how long after the earlier one
/// the later begins; the waveform's time is that of whichever they place nearer to it.
fn own_of_two(events: &[NoteEvent], aims: &[f64], (own, other): (usize, usize)) -> f64 {
    let attack = events[own].time.0.min(events[other].time.0);
    let (earlier, later) = if aims[own] <= aims[other] {
        (own, other)
    } else {
        (other, own)
    };
    let drawn = events[later].midi + BELOW <= events[earlier].midi;
    let apart = aims[later] - aims[earlier];
    let apart = if drawn {
        0.001 * undrawn(1000.0 * apart)
    } else {
        apart
    };
    if apart < APART {
        return attack;
    }
    let marked = |i: usize| (aims[i] - attack).abs();
    let first = if drawn || marked(earlier) <= marked(later) {
        attack
    } else {
        attack - apart
    };
    if own == earlier { first } else { first + apart }
}

/// [`DRAWN`] between its points, ms.
fn undrawn(behind: f64) -> f64 {
    DRAWN
        .windows(2)
        .find(|pair| behind <= pair[1].0)
        .map_or(behind, |pair| {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            y0 + (behind - x0) / (x1 - x0) * (y1 - y0)
        })
}
