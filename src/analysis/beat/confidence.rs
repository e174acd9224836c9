//! How sure a grid is, and what else the notes may be.
//!
//! Owns each beat's confidence, the other readings with their odds, and what is said of doubt.

use super::constraints;
use super::edits::Edit;
use super::hypothesis::Hypothesis;
use super::{Alternative, Part, Tracked, priors};
use crate::music::grid::{Beat, Grid};
use crate::music::note::Role;
use crate::unit::{Bpm, Seconds};

/// Beats on either side that tell how sure a beat is.
const NEAR: usize = 4;
/// A thumb note within this of a beat (s) is on it.
const ON: f64 = 0.06;
/// How much more bar lines look like downbeats than other beats where there is but one kind.
const UNTOLD: f64 = 0.3;
/// Other readings that are told.
const TOLD: usize = 6;

impl Part {
    /// Says of every beat how probable it is that its bar is right, beats and bar lines.
    pub(super) fn trust(&self, hypothesis: &Hypothesis, held: &[Edit], beats: &mut [Beat]) {
        // Whoever says where a beat is has settled where all are; which starts a bar is heard still.
        let settled = !constraints::told(held, hypothesis.beat).is_empty();
        let least = if settled { priors::SETTLED } else { 0.0 };
        let signs = self.signs(hypothesis, beats);
        for (beat, signs) in beats.iter_mut().zip(signs) {
            beat.confidence = (priors::sure(signs) as f32).max(least);
        }
    }

    /// What tells of each beat how sure it is (see [`priors::sure`]).
    pub(super) fn signs(&self, hypothesis: &Hypothesis, beats: &[Beat]) -> Vec<[f64; 5]> {
        let others = &hypothesis.measured.others;
        let lead = match (others.first(), others.get(1)) {
            (Some(first), Some(next)) => (first.score - next.score).min(20.0),
            _ => 20.0,
        };
        let rival = self.rival(hypothesis);
        let mut signs = Vec::with_capacity(beats.len());
        for run in &hypothesis.measured.runs {
            let (times, at) = (&run.curve.beats, signs.len());
            for k in 0..times.len() {
                let around = k.saturating_sub(NEAR)..(k + NEAR + 1).min(times.len());
                let believed = mean(around.clone().map(|j| self.belief.beat_share(times[j])));
                let down = |first: bool| {
                    let is = |j: &usize| beats.get(at + j).is_some_and(|b| (b.place == 1) == first);
                    mean(
                        around
                            .clone()
                            .filter(is)
                            .map(|j| self.belief.downbeat(times[j])),
                    )
                };
                let apart = down(true).zip(down(false)).map_or(UNTOLD, |(d, u)| d - u);
                let played = |j: &usize| self.thumb_near(times[*j]);
                let thumbs = around.clone().filter(played).count() as f64 / around.len() as f64;
                signs.push([
                    believed.unwrap_or(0.5),
                    thumbs,
                    apart,
                    lead / 10.0,
                    rival / 10.0,
                ]);
            }
        }
        signs
    }

    /// Does the thumb play within this of an instant?
    fn thumb_near(&self, at: f64) -> bool {
        let from = self.events.partition_point(|e| e.time < at - ON);
        let near = self.events[from..].iter().take_while(|e| e.time < at + ON);
        near.into_iter().any(|e| e.role == Role::Bass)
    }

    /// How far (nats, at most 20) a reading is ahead of the best one with other beats.
    fn rival(&self, hypothesis: &Hypothesis) -> f64 {
        let others = self.hypotheses.iter().filter(|r| !hypothesis.same_beats(r));
        let best = others.map(|r| r.score).fold(f64::MIN, f64::max);
        (hypothesis.score - best).clamp(-20.0, 20.0)
    }

    /// What else the notes may be, most probable first, with odds over all readings, meters and
    /// phases together.
    pub(super) fn alternatives(&self, hypothesis: &Hypothesis, grid: &Grid) -> Vec<Alternative> {
        let mut scores = Vec::new();
        let mut others: Vec<(f64, String, Edit)> = Vec::new();
        let mut readings = vec![hypothesis];
        for other in &self.hypotheses {
            if !readings.iter().any(|r| r.same_beats(other)) {
                readings.push(other);
            }
        }
        for r in readings {
            let longest = r.measured.runs.iter().max_by_key(|r| r.curve.beats.len());
            for (i, choice) in r.measured.others.iter().enumerate() {
                let score = r.score - r.measured.score + choice.score;
                scores.push(score);
                let Some(&at) = longest.and_then(|l| l.curve.beats.get(choice.phase)) else {
                    continue;
                };
                let (at, meter, tempo) = (Seconds(at), choice.meter, 60.0 / r.beat);
                let times = hypothesis.beat / r.beat;
                let is = |factor: f64| (times / factor).ln().abs() < 0.06;
                // Of another tempo the best meter and place alone; the chosen reading itself not.
                let itself = std::ptr::eq(r, hypothesis);
                let edit = match (itself, is(1.0)) {
                    (true, _) if meter != grid.meter => Edit::Meter { meter },
                    (true, _) if i > 0 => Edit::BarOne { at },
                    (true, _) => continue,
                    (false, _) if i > 0 => continue,
                    (false, true) => Edit::BarOne { at },
                    (false, false) if is(2.0) => Edit::Double,
                    (false, false) if is(0.5) => Edit::Halve,
                    (false, false) => Edit::Tempo { bpm: Bpm(tempo) },
                };
                let label = match edit {
                    Edit::BarOne { .. } => {
                        format!("{meter} at {tempo:.0}, bar one at {:.1} s", at.0)
                    }
                    _ => format!("{meter} at {tempo:.0}"),
                };
                others.push((score, label, edit));
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

    pub(super) fn warnings(&self, tracked: &Tracked) -> Vec<String> {
        let mut warnings = Vec::new();
        let beats = tracked.grid.beats();
        let unsure = tracked.grid.unsure();
        if beats.is_empty() {
            warnings.push("No pulse was heard.".to_owned());
        } else if let [(from, to)] = unsure[..]
            && from <= beats[0].time
            && to >= beats[beats.len() - 1].time
        {
            warnings.push(
                "The beat is unsure: tap along, or choose another reading. Until then nothing is called early or late."
                    .to_owned(),
            );
        } else {
            warnings.extend(unsure.iter().map(|(from, to)| {
                format!(
                    "The beat is unsure from {:.1} to {:.1} s: nothing there is called early or late.",
                    from.0, to.0
                )
            }));
        }
        for free in tracked.grid.free_time() {
            warnings.push(format!(
                "No steady beat from {:.1} to {:.1} s: nothing there is called early or late.",
                free.from.0, free.to.0
            ));
        }
        let thumb = self.events.iter().filter(|e| e.role == Role::Bass).count();
        if !beats.is_empty() && thumb * 6 < self.events.len() {
            warnings.push("Few thumb notes: the beat rests on the fingers.".to_owned());
        }
        warnings
    }
}

/// The mean; none of nothing.
fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    (n > 0.0).then(|| sum / n)
}
