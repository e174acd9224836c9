//! From readings and edits to a grid.
//!
//! Owns what each edit does: taps, dragged beats and tempi steer the decoding and pin the
//! curve; bar one, meter and subdivision only rename beats; free time cuts beats away.

use super::constraints::{self, nearest};
use super::edits::Edit;
use super::free_opening;
use super::hypothesis::{Hypothesis, Measured, Source};
use super::part::Part;
use super::priors::{self, FEELS};
use super::tracked::Tracked;
use crate::music::grid::{Beat, FreeTime, Grid};
use crate::music::meter::Meter;
use crate::unit::{Seconds, Span};

/// A beat is not longer nor shorter than the piece's own by more than this factor after an edit.
const LEVEL: f64 = 1.5;
/// Free time between runs that is shorter than this many beats is no free time: the tracker
/// found its beat again.
const BRIEF: f64 = 1.6;
/// How far the neighbours of a beat that is dragged go with it, share of its way.
const ALONG: f64 = 0.5;

impl Part {
    /// The grid under edits that hold.
    pub(super) fn solve(&self, held: &[Edit]) -> Tracked {
        let Some(best) = self.hypotheses.first() else {
            return unheard(held);
        };
        let best = self.agreeing(held).unwrap_or(best);
        let again = self.again(best, held);
        let hypothesis = again.as_ref().unwrap_or(best);
        let mut tracked = self.build(hypothesis, held);
        tracked.alternatives = self.alternatives(hypothesis, &tracked.grid);
        tracked.warnings = self.warnings(&tracked);
        tracked
    }

    /// The best reading that has a beat wherever the player says that there is one, at the tempo of
    /// the player's taps; none where no instant is told, or no reading agrees.
    fn agreeing(&self, held: &[Edit]) -> Option<&Hypothesis> {
        let gap = constraints::tapped(held);
        self.hypotheses.iter().find(|hypothesis| {
            let told = constraints::told(held, hypothesis.beat);
            let level =
                gap.is_none_or(|gap| (gap / hypothesis.beat).ln().abs() < constraints::SAME_TEMPO);
            !told.is_empty() && level && hypothesis.agrees(&told)
        })
    }

    /// A reading decoded again under the edits; none where they leave the beats as they are.
    fn again(&self, best: &Hypothesis, held: &[Edit]) -> Option<Hypothesis> {
        let meter = constraints::set_meter(held);
        let told = constraints::told(held, best.beat);
        let agrees = best.agrees(&told);
        // Whoever says that beats lie elsewhere means all of them.
        let target = constraints::target_beat(best.beat, held)
            .or_else(|| (!agrees).then(|| constraints::tapped(held).unwrap_or(best.beat)));
        let mut steering = constraints::steering(target.unwrap_or(best.beat), target, held);
        steering.told = target.is_some() && !told.is_empty();
        if steering.told {
            let insist = |beat: &mut (f64, f64, f32)| beat.2 *= priors::INSISTS;
            steering.beats.iter_mut().for_each(insist);
        }
        let stretches = !steering.free.is_empty() || !steering.pulse.is_empty();
        if target.is_none() && !stretches {
            // What the player says is so already: no beat moves.
            return meter.map(|_| self.hypothesis(best.source, best.path.clone(), &[], meter));
        }
        if target.is_none() && !told.is_empty() {
            // An edit stays where it was made: the other beats are kept.
            steering.length = Some((best.beat / LEVEL, best.beat * LEVEL));
            let keep = |&at: &f64| (at, 0.05 * best.beat, priors::KEPT);
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
        let (level, feels) = match (best.source, target) {
            (Source { level, feel }, None) => (level, vec![feel]),
            (_, target) => (
                constraints::level_of(target.unwrap_or(best.beat)),
                (0..FEELS.len()).collect(),
            ),
        };
        let paths = self.decode_all(level, &feels, &steering);
        let (feel, path) = paths
            .into_iter()
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))?;
        let pins = constraints::pins(held, best.beat);
        Some(self.hypothesis(Source { level, feel }, path, &pins, meter))
    }

    fn build(&self, hypothesis: &Hypothesis, held: &[Edit]) -> Tracked {
        let measured = &hypothesis.measured;
        let mut beats = number(measured, held);
        nudge(&mut beats, held, hypothesis.beat);
        for edit in held {
            if let Edit::Subdivision { from, to, parts } = *edit {
                for beat in beats.iter_mut().filter(|b| from <= b.time && b.time < to) {
                    beat.parts = parts;
                }
            }
        }
        self.trust(hypothesis, held, &mut beats);
        let opening = self.opening(hypothesis, held, &mut beats);
        let reach = measured
            .runs
            .iter()
            .map(|r| r.curve.reach)
            .fold(0.0, f64::max);
        let mut free = self.free(hypothesis, held);
        free.extend(opening);
        Tracked {
            grid: Grid::from_parts(measured.meter, beats, free),
            time_constant: (reach > 0.0).then_some(Span(reach)),
            ..Tracked::default()
        }
    }

    /// Takes away the beats of an opening without a pulse, which is given back, and counts bars
    /// from what follows; nothing where the player has said that there is a pulse.
    fn opening(
        &self,
        hypothesis: &Hypothesis,
        held: &[Edit],
        beats: &mut Vec<Beat>,
    ) -> Option<FreeTime> {
        let run = hypothesis.measured.runs.first()?.curve.beats.len();
        let events: Vec<f64> = self.events.iter().map(|e| e.time).collect();
        let beats_of_run = beats.get(..run)?;
        let free = free_opening::free(beats_of_run).max(free_opening::unfit(beats_of_run, &events));
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

    /// Stretches without a pulse: before, between and after the runs, where notes are played.
    fn free(&self, hypothesis: &Hypothesis, held: &[Edit]) -> Vec<FreeTime> {
        let mut free = Vec::new();
        let mut from = self.events.first().map_or(0.0, |e| e.time);
        let room = BRIEF * hypothesis.beat;
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
        for (i, run) in hypothesis.measured.runs.iter().enumerate() {
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
}

/// Numbers the beats of all runs, as the edits ask.
pub(super) fn number(measured: &Measured, held: &[Edit]) -> Vec<Beat> {
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
    let meter = constraints::set_meter(held).unwrap_or(Meter::COMMON);
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

/// Moves each dragged beat to where it belongs and its neighbours some of the way; no other beat.
fn nudge(beats: &mut [Beat], held: &[Edit], beat: f64) {
    for (from, to) in held.iter().filter_map(|e| constraints::nudge(e, beat)) {
        let times: Vec<f64> = beats.iter().map(|b| b.time.0).collect();
        let Some(k) = nearest(&times, from) else {
            continue;
        };
        let way = to - times[k];
        for (i, share) in [(k.wrapping_sub(1), ALONG), (k, 1.0), (k + 1, ALONG)] {
            if let Some(beat) = beats.get_mut(i) {
                beat.time = Seconds(times[i] + share * way);
            }
        }
    }
}
