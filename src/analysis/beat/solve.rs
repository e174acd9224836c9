//! From readings and edits to a grid.
//!
//! Owns what each edit does: taps, dragged beats and tempi steer the decoding and pin the
//! curve; bar one, meter and subdivision only rename beats; free time cuts beats away.

use super::edits::Edit;
use super::lattice::{FEELS, Steering};
use super::opening;
use super::reading::{Measured, Reading, Source, inside};
use super::smooth::Pin;
use super::{Alternative, LEVELS, Part, Tracked};
use crate::music::grid::{Beat, FreeTime, Grid};
use crate::music::meter::Meter;
use crate::unit::{Seconds, Span};

/// A tap is off by about this share of a beat (Repp 2005, from memory: 4 % untrained).
const TAP: f64 = 0.04;
/// A dragged beat is held to half a millisecond.
const HELD: f64 = 0.0005;
/// Rewards in nats: a tap, a dragged beat, a beat that is to start a bar.
const TAP_REWARD: f32 = 14.0;
const DRAG_REWARD: f32 = 40.0;
const BAR_REWARD: f32 = 8.0;
/// A tempo that was set in figures may be off by this factor, one that was tapped or doubled by
/// that.
const TEMPO_ROOM: (f64, f64) = (1.08, 1.22);
/// Free time between runs that is shorter than this many beats is no free time: the tracker
/// found its beat again.
const BRIEF: f64 = 1.6;

impl Part {
    /// The grid under edits that hold.
    pub(super) fn solve(&self, held: &[Edit]) -> Tracked {
        let Some(best) = self.readings.first() else {
            return unheard(held);
        };
        let again = self.again(best, held);
        let reading = again.as_ref().unwrap_or(best);
        let mut tracked = self.build(reading, held);
        tracked.alternatives = self.alternatives(reading, &tracked.grid);
        tracked.warnings = self.warnings(&tracked);
        tracked
    }

    /// A reading decoded again under the edits; none where they leave the beats as they are.
    fn again(&self, best: &Reading, held: &[Edit]) -> Option<Reading> {
        let meter = set_meter(held);
        let target = target_beat(best.beat, held);
        let mut steering = steering(target.unwrap_or(best.beat), target, held);
        if let (Some(beat), [first, .., last], []) =
            (target, self.events.as_slice(), steering.free.as_slice())
        {
            // Whoever sets a tempo knows that there is one.
            steering
                .pulse
                .push((first.time + 0.1 * beat, last.time - 0.1 * beat));
        }
        let steered = !steering.beats.is_empty()
            || !steering.free.is_empty()
            || !steering.pulse.is_empty()
            || target.is_some();
        if !steered {
            return meter.map(|_| self.reading(best.source, best.path.clone(), &[], meter));
        }
        let (level, feels) = match (best.source, target) {
            (Source::Decoded { level, feel }, None) => (level, vec![feel]),
            (_, target) => (
                level_of(target.unwrap_or(best.beat)),
                (0..FEELS.len()).collect(),
            ),
        };
        let (feel, path) = feels
            .into_iter()
            .filter_map(|feel| Some((feel, self.decode(level, feel, &steering)?)))
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))?;
        let pins = pins(held, best.beat);
        Some(self.reading(Source::Decoded { level, feel }, path, &pins, meter))
    }

    fn build(&self, reading: &Reading, held: &[Edit]) -> Tracked {
        let measured = &reading.measured;
        let mut beats = number(measured, held);
        if reading.source == Source::Cut {
            // The instant at which the recording is cut off: nobody hears the beat after it.
            beats.pop();
        }
        for edit in held {
            if let Edit::Subdivision { from, to, parts } = *edit {
                for beat in beats.iter_mut().filter(|b| from <= b.time && b.time < to) {
                    beat.parts = parts;
                }
            }
        }
        self.trust(reading, &mut beats);
        let opening = self.opening(reading, held, &mut beats);
        let reach = measured
            .runs
            .iter()
            .map(|r| r.curve.reach)
            .fold(0.0, f64::max);
        let mut free = self.free(reading, held);
        free.extend(opening);
        Tracked {
            grid: Grid::from_parts(measured.meter, beats, free),
            time_constant: (reach > 0.0).then_some(Span(reach)),
            cut_to_click: reading.source == Source::Cut,
            ..Tracked::default()
        }
    }

    /// Takes away the beats of an opening without a pulse, which is given back, and counts bars
    /// from what follows; nothing where the player has said that there is a pulse.
    fn opening(&self, reading: &Reading, held: &[Edit], beats: &mut Vec<Beat>) -> Option<FreeTime> {
        let run = reading.measured.runs.first()?.curve.beats.len();
        let free = opening::free(beats.get(..run)?);
        let to = beats.get(free)?.time;
        let told = held.iter().any(|edit| match *edit {
            Edit::Pulse { from, .. } => from < to,
            Edit::Tempo { .. } | Edit::Halve | Edit::Double => true,
            _ => edit.beat().is_some_and(|at| at < to),
        });
        if free == 0 || told || reading.source == Source::Cut {
            return None;
        }
        let first = beats[free];
        beats.drain(..free);
        if !held.iter().any(|e| matches!(e, Edit::BarOne { .. })) {
            let shift = i32::from(first.place == 1) - first.bar;
            for beat in beats.iter_mut() {
                beat.bar += shift;
            }
        }
        let from = self.events.first()?.time - 0.1;
        Some(FreeTime {
            from: Seconds(from.max(0.0)),
            to,
        })
    }

    /// How sure each beat is: the share of notes around it that lie at slots, beyond what chance
    /// puts there, less what the next best reading takes away.
    fn trust(&self, reading: &Reading, beats: &mut [Beat]) {
        let rival = self
            .readings
            .iter()
            .filter(|r| (r.beat / reading.beat).ln().abs() > 0.1)
            .map(|r| r.score)
            .fold(f64::MIN, f64::max);
        let margin = 1.0 / (1.0 + (-(reading.score - rival) / 4.0).exp());
        let mut at = 0;
        for run in &reading.measured.runs {
            let times = &run.curve.beats;
            let hits: Vec<(f64, f64, f64)> = inside(&self.events, times)
                .iter()
                .filter_map(|event| {
                    let (k, share) = super::bars::locate(times, event.time)?;
                    let length = times
                        .get(k + 1)
                        .map_or(reading.beat, |next| next - times[k]);
                    let (_, _, away) = run.slots.nearest(k, share);
                    let room = (0.022 / length).max(0.05);
                    let chance = (2.0 * room * f64::from(run.slots.parts[k])).min(0.9);
                    let hit = if away.abs() < room { 1.0 } else { 0.0 };
                    Some((event.time, hit, chance))
                })
                .collect();
            for (k, &time) in times.iter().enumerate() {
                let Some(beat) = beats.get_mut(at + k) else {
                    break;
                };
                let reach = 2.5 * reading.beat;
                let from = hits.partition_point(|h| h.0 < time - reach);
                let to = hits.partition_point(|h| h.0 <= time + reach);
                let near = &hits[from..to];
                let (n, hit, chance) = near.iter().fold((0.5, 0.25, 0.15), |sum, h| {
                    (sum.0 + 1.0, sum.1 + h.1, sum.2 + h.2)
                });
                let beyond = ((hit - chance) / (n - chance)).clamp(0.0, 1.0);
                beat.confidence = (beyond * (0.5 + 0.5 * margin)) as f32;
            }
            at += times.len();
        }
    }

    /// Stretches without a pulse: before, between and after the runs, where notes are played.
    fn free(&self, reading: &Reading, held: &[Edit]) -> Vec<FreeTime> {
        let mut free = Vec::new();
        let mut from = self.events.first().map_or(0.0, |e| e.time);
        let room = BRIEF * reading.beat;
        let mut mark = |from: f64, to: f64| {
            let played = self
                .events
                .iter()
                .any(|e| from + 0.05 < e.time && e.time < to - 0.05);
            if to - from > room && played {
                free.push(FreeTime {
                    from: Seconds(from),
                    to: Seconds(to),
                });
            }
        };
        for (i, run) in reading.measured.runs.iter().enumerate() {
            let (Some(&first), Some(&last)) = (run.curve.beats.first(), run.curve.beats.last())
            else {
                continue;
            };
            mark(if i == 0 { (from - 0.1).max(0.0) } else { from }, first);
            from = last;
        }
        mark(from, self.events.last().map_or(0.0, |e| e.time) + 0.1);
        free.extend(held.iter().filter_map(|edit| match *edit {
            Edit::FreeTime { from, to } => Some(FreeTime { from, to }),
            _ => None,
        }));
        free
    }

    fn alternatives(&self, reading: &Reading, grid: &Grid) -> Vec<Alternative> {
        let odds = |score: f64| (1.0 / (1.0 + ((reading.score - score) / 4.0).exp())) as f32;
        let tempo = 60.0 / reading.beat;
        let mut others = Vec::new();
        for (edit, factor, word) in [(Edit::Halve, 2.0, "half"), (Edit::Double, 0.5, "double")] {
            let beat = reading.beat * factor;
            if !(0.24..=1.55).contains(&beat) {
                continue;
            }
            let known = self
                .readings
                .iter()
                .find(|r| (r.beat / beat).ln().abs() < 0.06);
            others.push(Alternative {
                label: format!("{word} the tempo ({:.0})", tempo / factor),
                edit,
                odds: known.map_or(0.01, |r| odds(r.score)),
            });
        }
        let best = reading.measured.others.first().map_or(0.0, |c| c.score);
        let near = |score: f64| (1.0 / (1.0 + ((best - score) / 2.0).exp())) as f32;
        let longest = reading
            .measured
            .runs
            .iter()
            .max_by_key(|r| r.curve.beats.len());
        for choice in reading.measured.others.iter().skip(1).take(8) {
            let same = choice.meter == grid.meter;
            let at = longest.and_then(|r| r.curve.beats.get(choice.phase));
            let (label, edit) = match (same, at) {
                (true, Some(&at)) => (
                    format!("bar one at {at:.1} s"),
                    Edit::BarOne { at: Seconds(at) },
                ),
                _ => (
                    format!("{} bars", choice.meter),
                    Edit::Meter {
                        meter: choice.meter,
                    },
                ),
            };
            let known = others.iter().any(|o: &Alternative| o.edit == edit);
            if !known && near(choice.score) > 0.02 {
                others.push(Alternative {
                    label,
                    edit,
                    odds: near(choice.score),
                });
            }
        }
        others.sort_by(|a, b| b.odds.total_cmp(&a.odds));
        others
    }

    fn warnings(&self, tracked: &Tracked) -> Vec<String> {
        let mut warnings = Vec::new();
        let beats = tracked.grid.beats();
        let sure =
            beats.iter().map(|b| f64::from(b.confidence)).sum::<f64>() / beats.len().max(1) as f64;
        if beats.is_empty() {
            warnings.push("No pulse was heard.".to_owned());
        } else if sure < 0.35 {
            warnings.push("The beat is doubtful: check it by ear or tap it.".to_owned());
        }
        for free in tracked.grid.free_time() {
            warnings.push(format!(
                "No steady beat from {:.1} to {:.1} s: nothing there is called early or late.",
                free.from.0, free.to.0
            ));
        }
        let thumb = self
            .events
            .iter()
            .filter(|e| e.role == crate::music::note::Role::Bass)
            .count();
        if !beats.is_empty() && thumb * 6 < self.events.len() {
            warnings.push("Few thumb notes: the beat rests on the fingers.".to_owned());
        }
        warnings
    }
}

/// Numbers the beats of all runs, as the edits ask.
fn number(measured: &Measured, held: &[Edit]) -> Vec<Beat> {
    let bar = usize::from(measured.meter.beats().max(1));
    let all: Vec<f64> = measured
        .runs
        .iter()
        .flat_map(|r| r.curve.beats.iter().copied())
        .collect();
    let starts: Vec<usize> = held
        .iter()
        .filter_map(|e| match e {
            Edit::BarOne { at } | Edit::BarStart { at } => nearest(&all, at.0),
            _ => None,
        })
        .collect();
    let one = held.iter().rev().find_map(|e| match e {
        Edit::BarOne { at } => nearest(&all, at.0),
        _ => None,
    });
    let mut beats = Vec::with_capacity(all.len());
    let (mut from, mut number) = (0, 1);
    for (run, &phase) in measured.runs.iter().zip(&measured.phases) {
        let n = run.curve.beats.len();
        let mut downs: Vec<usize> = starts
            .iter()
            .filter(|s| (from..from + n).contains(s))
            .map(|s| s - from)
            .collect();
        downs.sort_unstable();
        downs.dedup();
        // Without an edit the run counts from its own first downbeat, else from the edits'.
        let first = downs.first().map_or(phase, |d| d % bar);
        let mut place = (bar - first % bar) % bar;
        if place > 0 && from == 0 {
            number = 0;
        }
        for k in 0..n {
            if k > 0 && (place == bar || downs.contains(&k)) {
                place = 0;
                number += 1;
            }
            beats.push(Beat {
                time: Seconds(run.curve.beats[k]),
                bar: number,
                place: place as u8 + 1,
                parts: run.slots.parts[k],
                confidence: 1.0,
            });
            place += 1;
        }
        number += 1;
        from += n;
    }
    if let Some(shift) = one.map(|k| 1 - beats[k].bar) {
        for beat in &mut beats {
            beat.bar += shift;
        }
    }
    beats
}

/// What can be said without a pulse: with two taps or more, the player's own beats.
fn unheard(held: &[Edit]) -> Tracked {
    let mut taps: Vec<Seconds> = held
        .iter()
        .filter(|e| matches!(e, Edit::Tap { .. } | Edit::DragBeat { .. }))
        .filter_map(Edit::beat)
        .collect();
    taps.sort_by(Seconds::total_cmp);
    let meter = set_meter(held).unwrap_or(Meter::COMMON);
    let one = held.iter().rev().find_map(|e| match e {
        Edit::BarOne { at } | Edit::BarStart { at } => Some(at.0),
        _ => None,
    });
    let times: Vec<f64> = taps.iter().map(|t| t.0).collect();
    let downbeat = one.and_then(|at| nearest(&times, at)).unwrap_or(0);
    Tracked {
        grid: if taps.len() >= 2 {
            Grid::from_beats(&taps, downbeat, meter)
        } else {
            Grid::default()
        },
        warnings: vec!["No pulse was heard.".to_owned()],
        ..Tracked::default()
    }
}

fn set_meter(held: &[Edit]) -> Option<Meter> {
    held.iter().rev().find_map(|e| match e {
        Edit::Meter { meter } => Some(*meter),
        _ => None,
    })
}

/// The beat that tempo edits or a row of taps ask for, seconds.
fn target_beat(own: f64, held: &[Edit]) -> Option<f64> {
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
        let tapped = gaps.get(gaps.len() / 2).copied();
        target = tapped.filter(|t| (t / own).ln().abs() > 0.12);
    }
    target
}

fn level_of(beat: f64) -> usize {
    let away = |own: f64| (beat / own).ln().abs();
    (0..LEVELS.len())
        .min_by(|&a, &b| away(LEVELS[a]).total_cmp(&away(LEVELS[b])))
        .unwrap_or(2)
}

fn steering(beat: f64, target: Option<f64>, held: &[Edit]) -> Steering {
    let set = held.iter().any(|e| matches!(e, Edit::Tempo { .. }));
    let room = if set { TEMPO_ROOM.0 } else { TEMPO_ROOM.1 };
    let mut steering = Steering {
        length: target.map(|t| (t / room, t * room)),
        ..Steering::default()
    };
    for edit in held {
        match *edit {
            Edit::Tap { at } => steering.beats.push((at.0, TAP * beat, TAP_REWARD)),
            Edit::DragBeat { from, to } => {
                if (to - from).abs().0 > 0.1 * beat {
                    steering.beats.push((from.0, TAP * beat, -BAR_REWARD));
                }
                steering.beats.push((to.0, 0.02 * beat, DRAG_REWARD));
            }
            Edit::BarOne { at } | Edit::BarStart { at } => {
                steering.beats.push((at.0, 0.08 * beat, BAR_REWARD));
            }
            Edit::FreeTime { from, to } => steering.free.push((from.0, to.0)),
            Edit::Pulse { from, to } => steering.pulse.push((from.0, to.0)),
            _ => {}
        }
    }
    steering
}

/// Beats held in place: (instant, standard deviation), seconds.
fn pins(held: &[Edit], beat: f64) -> Vec<Pin> {
    held.iter()
        .filter_map(|edit| match *edit {
            Edit::Tap { at } => Some((at.0, TAP * beat)),
            Edit::DragBeat { to, .. } => Some((to.0, HELD)),
            _ => None,
        })
        .collect()
}

fn nearest(times: &[f64], at: f64) -> Option<usize> {
    (0..times.len()).min_by(|&a, &b| (times[a] - at).abs().total_cmp(&(times[b] - at).abs()))
}
