//! From readings and edits to a grid.
//!
//! Owns what each edit does: taps, dragged beats and tempi steer the decoding and pin the
//! curve; bar one, meter and subdivision only rename beats; free time cuts beats away.

use super::edits::Edit;
use super::lattice::{FEELS, Steering};
use super::opening;
use super::reading::{Measured, Reading, Source};
use super::smooth::Pin;
use super::{Alternative, LEVELS, Part, Tracked, priors};
use crate::music::grid::{Beat, FreeTime, Grid};
use crate::music::meter::Meter;
use crate::unit::{Bpm, Seconds, Span};

/// A tap is off by about this share of a beat (Repp 2005, from memory: 4 % untrained).
const TAP: f64 = 0.04;
/// A beat this near (share of it) to where a player says that one is, is that beat.
const AGREES: f64 = 0.18;
/// Reward (nats) that keeps the beats of a reading while an edit bends some of them.
const KEEP: f32 = 3.0;
/// A dragged beat is held to half a millisecond.
const HELD: f64 = 0.0005;
/// Rewards in nats: a tap, a dragged beat, a beat that is to start a bar.
const TAP_REWARD: f32 = 14.0;
const DRAG_REWARD: f32 = 40.0;
const BAR_REWARD: f32 = 8.0;
/// A tempo that was set in figures may be off by this factor, one that was tapped or doubled by
/// that.
const TEMPO_ROOM: (f64, f64) = (1.08, 1.22);
/// A beat is not longer nor shorter than the piece's own by more than this factor after an edit.
const LEVEL: f64 = 1.5;
/// Beats on either side that tell how sure a beat is.
const NEAR: usize = 4;
/// How much more bar lines look like downbeats than other beats where there is but one kind.
const UNTOLD: f64 = 0.3;
/// Mean confidence below which the whole reading is called doubtful.
const DOUBTFUL: f64 = 0.6;
/// Other readings that are told.
const TOLD: usize = 6;
/// Free time between runs that is shorter than this many beats is no free time: the tracker
/// found its beat again.
const BRIEF: f64 = 1.6;

impl Part {
    /// The grid under edits that hold.
    pub(super) fn solve(&self, held: &[Edit]) -> Tracked {
        let Some(best) = self.readings.first() else {
            return unheard(held);
        };
        let best = self.agreeing(held).unwrap_or(best);
        let again = self.again(best, held);
        let reading = again.as_ref().unwrap_or(best);
        let mut tracked = self.build(reading, held);
        tracked.alternatives = self.alternatives(reading, &tracked.grid);
        tracked.warnings = self.warnings(&tracked);
        tracked
    }

    /// The best reading that has a beat wherever the player says that there is one; none where no
    /// instant is told, or no reading agrees.
    fn agreeing(&self, held: &[Edit]) -> Option<&Reading> {
        let told: Vec<f64> = held.iter().filter_map(|e| Some(e.beat()?.0)).collect();
        let gap = tapped(held);
        (!told.is_empty())
            .then(|| {
                self.readings.iter().find(|reading| {
                    let beats: Vec<f64> = reading.path.runs.concat();
                    let near = |at: &f64| {
                        nearest(&beats, *at)
                            .is_some_and(|k| (beats[k] - at).abs() < AGREES * reading.beat)
                    };
                    let level = gap.is_none_or(|gap| (gap / reading.beat).ln().abs() < 0.12);
                    level && told.iter().all(near)
                })
            })
            .flatten()
    }

    /// A reading decoded again under the edits; none where they leave the beats as they are.
    fn again(&self, best: &Reading, held: &[Edit]) -> Option<Reading> {
        let meter = set_meter(held);
        let target = target_beat(best.beat, held);
        let mut steering = steering(target.unwrap_or(best.beat), target, held);
        let told = held.iter().any(|e| e.beat().is_some());
        steering.told = target.is_some() && told;
        if target.is_none() && told {
            // An edit stays where it was made: the other beats are kept.
            steering.length = Some((best.beat / LEVEL, best.beat * LEVEL));
            let keep = |&at: &f64| (at, 0.05 * best.beat, KEEP);
            steering
                .beats
                .extend(best.path.runs.iter().flatten().map(keep));
        }
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
            (Source { level, feel }, None) => (level, vec![feel]),
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
        Some(self.reading(Source { level, feel }, path, &pins, meter))
    }

    fn build(&self, reading: &Reading, held: &[Edit]) -> Tracked {
        let measured = &reading.measured;
        let mut beats = number(measured, held);
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
            ..Tracked::default()
        }
    }

    /// Takes away the beats of an opening without a pulse, which is given back, and counts bars
    /// from what follows; nothing where the player has said that there is a pulse.
    fn opening(&self, reading: &Reading, held: &[Edit], beats: &mut Vec<Beat>) -> Option<FreeTime> {
        let run = reading.measured.runs.first()?.curve.beats.len();
        let events: Vec<f64> = self.events.iter().map(|e| e.time).collect();
        let beats_of_run = beats.get(..run)?;
        let free = opening::free(beats_of_run).max(opening::unfit(beats_of_run, &events));
        let to = beats.get(free)?.time;
        let told = held.iter().any(|edit| match *edit {
            Edit::Pulse { from, .. } => from < to,
            Edit::Tempo { .. } | Edit::Halve | Edit::Double => true,
            _ => edit.beat().is_some_and(|at| at < to),
        });
        if free == 0 || told {
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

    /// How probable it is that a beat's bar is right, beats and bar lines (see [`priors`]).
    fn trust(&self, reading: &Reading, beats: &mut [Beat]) {
        let others = &reading.measured.others;
        let lead = match (others.first(), others.get(1)) {
            (Some(first), Some(next)) => (first.score - next.score).min(20.0),
            _ => 20.0,
        };
        let mut at = 0;
        for run in &reading.measured.runs {
            let times = &run.curve.beats;
            for k in 0..times.len() {
                let around = k.saturating_sub(NEAR)..(k + NEAR + 1).min(times.len());
                let mean = |values: &mut dyn Iterator<Item = f64>| {
                    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
                    (n > 0.0).then(|| sum / n)
                };
                let believed = mean(&mut around.clone().map(|j| self.belief.beat_share(times[j])));
                let down = |first: bool| {
                    let of = around
                        .clone()
                        .filter(|&j| beats.get(at + j).is_some_and(|b| (b.place == 1) == first));
                    mean(&mut of.map(|j| self.belief.downbeat(times[j])))
                };
                let apart = down(true).zip(down(false)).map_or(UNTOLD, |(d, u)| d - u);
                let sure = priors::sure([believed.unwrap_or(0.5), apart, lead / 10.0]);
                if let Some(beat) = beats.get_mut(at + k) {
                    beat.confidence = sure as f32;
                }
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

    /// What else the notes may be, most probable first, with odds over all readings, meters and
    /// phases together.
    fn alternatives(&self, reading: &Reading, grid: &Grid) -> Vec<Alternative> {
        let same = |r: &Reading| {
            let beats = &reading.path.runs.concat();
            let others = r.path.runs.concat();
            let near = |at: &f64| {
                nearest(beats, *at).is_some_and(|k| (beats[k] - at).abs() < AGREES * r.beat)
            };
            (r.beat / reading.beat).ln().abs() < 0.06
                && others.iter().filter(|at| near(at)).count() * 2 > others.len()
        };
        let mut scores = Vec::new();
        let mut others: Vec<(f64, String, Edit)> = Vec::new();
        let own = std::iter::once(reading);
        for r in own.chain(self.readings.iter().filter(|r| !same(r))) {
            let longest = r.measured.runs.iter().max_by_key(|r| r.curve.beats.len());
            for (i, choice) in r.measured.others.iter().enumerate() {
                let score = r.score - r.measured.score + choice.score;
                scores.push(score);
                let Some(&at) = longest.and_then(|l| l.curve.beats.get(choice.phase)) else {
                    continue;
                };
                let at = Seconds(at);
                if std::ptr::eq(r, reading) {
                    if choice.meter != grid.meter {
                        let meter = choice.meter;
                        others.push((score, format!("{meter} bars"), Edit::Meter { meter }));
                    } else if i > 0 {
                        let label = format!("bar one at {:.1} s", at.0);
                        others.push((score, label, Edit::BarOne { at }));
                    }
                } else if i == 0 {
                    let tempo = 60.0 / r.beat;
                    let times = reading.beat / r.beat;
                    let is = |factor: f64| (times / factor).ln().abs() < 0.06;
                    let (label, edit) = if is(2.0) {
                        (format!("double the tempo ({tempo:.0})"), Edit::Double)
                    } else if is(0.5) {
                        (format!("half the tempo ({tempo:.0})"), Edit::Halve)
                    } else if is(1.0) {
                        (
                            format!("the beat between, bar one at {:.1} s", at.0),
                            Edit::BarOne { at },
                        )
                    } else {
                        let bpm = Bpm(tempo);
                        (format!("{tempo:.0} beats a minute"), Edit::Tempo { bpm })
                    };
                    others.push((score, label, edit));
                }
            }
        }
        let top = scores.iter().copied().fold(f64::MIN, f64::max);
        let odds = |score: f64| ((score - top) / priors::OVERSTATED).exp();
        let all: f64 = scores.iter().map(|&s| odds(s)).sum();
        others.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut told: Vec<Alternative> = Vec::new();
        for (score, label, edit) in others {
            if !told.iter().any(|o| o.edit == edit) {
                let odds = (odds(score) / all) as f32;
                told.push(Alternative { label, edit, odds });
            }
        }
        told.truncate(TOLD);
        told
    }

    fn warnings(&self, tracked: &Tracked) -> Vec<String> {
        let mut warnings = Vec::new();
        let beats = tracked.grid.beats();
        let sure =
            beats.iter().map(|b| f64::from(b.confidence)).sum::<f64>() / beats.len().max(1) as f64;
        if beats.is_empty() {
            warnings.push("No pulse was heard.".to_owned());
        } else if sure < DOUBTFUL {
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
        target = tapped(held).filter(|t| (t / own).ln().abs() > 0.12);
    }
    target
}

/// The beat that a row of taps keeps, seconds; none without taps that follow each other.
fn tapped(held: &[Edit]) -> Option<f64> {
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
