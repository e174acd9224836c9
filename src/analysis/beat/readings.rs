//! Which readings there are: decoded on every tempo level, measured, told apart, the most probable first.

use super::beat_net::Belief;
use super::constraints::{AGREES, nearest};
use super::events::Event;
use super::hsmm::{Lattice, Path, Steering};
use super::hypothesis::{Hypothesis, Measured, Source};
use super::measuring_grid::Run;
use super::meter::{self, Choice, Pulse};
use super::part::Part;
use super::priors::{FEELS, LEVELS};
use super::tempo_curve::{self, Pin};
use crate::music::meter::Meter;
use crate::parallel;
use crate::stop;

/// A run shorter than this is no pulse.
const SHORTEST_RUN: usize = 5;
/// What is played this near a beat, share of it, is on it.
const ON: f64 = 0.1;
/// Readings are the same whose beats differ in length by less than this share, and this share of which are
/// at the same instants.
const SAME: f64 = 0.04;
const ALIKE: f64 = 0.8;
/// Readings of which the beats between theirs are a reading too, and what keeps those away (nats).
const SHIFTED: usize = 2;
const AVOID: f32 = 8.0;
/// Readings that are measured.
const MEASURED: usize = 12;

impl Part {
    /// Readings without edits, best first.
    pub(super) fn read(&self) -> Vec<Hypothesis> {
        let ways: Vec<(usize, usize)> = (0..LEVELS.len())
            .flat_map(|level| (0..FEELS.len()).map(move |feel| (level, feel)))
            .collect();
        let decoded = |eager: bool| -> Vec<(Source, Path)> {
            let steering = Steering {
                eager,
                ..Steering::default()
            };
            let paths = parallel::map(&ways, |&(level, feel)| {
                let paths = self.decode_all(level, &[feel], &steering);
                let from = |(feel, path)| (Source { level, feel }, path);
                paths.into_iter().map(from).collect::<Vec<_>>()
            });
            paths.concat()
        };
        let mut paths = decoded(false);
        if paths.is_empty() {
            paths = decoded(true);
        }
        let mut paths = self.distinct(paths);
        let others: Vec<_> = paths
            .iter()
            .take(SHIFTED)
            .filter_map(|p| self.shifted(p))
            .collect();
        paths.extend(others);
        let mut hypotheses = parallel::map(&paths, |(source, path)| {
            self.hypothesis(*source, path.clone(), &[], None)
        });
        hypotheses.sort_by(|a, b| b.score.total_cmp(&a.score));
        hypotheses
    }

    /// The best beats of the same tempo that keep away from those of a path.
    fn shifted(&self, (source, path): &(Source, Path)) -> Option<(Source, Path)> {
        let beat = beat_of(path);
        let steering = Steering {
            beats: (path.runs.iter().flatten())
                .map(|&at| (at, 0.12 * beat, -AVOID))
                .collect(),
            length: Some((beat / 1.1, beat * 1.1)),
            ..Steering::default()
        };
        let paths = self.decode_all(source.level, &[source.feel], &steering);
        let best = paths
            .into_iter()
            .max_by(|a, b| a.1.score.total_cmp(&b.1.score))?;
        Some((*source, best.1))
    }

    /// The beats of one level by feels: with some freedom, in rubato, and even; without those in which no run is long enough for a pulse.
    pub(super) fn decode_all(
        &self,
        level: usize,
        feels: &[usize],
        steering: &Steering,
    ) -> Vec<(usize, Path)> {
        // What a player says of tempo and beat counts for more than what the network believes.
        let none = Belief::default();
        let own = self.lattices.get(level).filter(|_| !steering.told);
        let made = own.is_none().then(|| {
            let belief = if steering.told { &none } else { &self.belief };
            Lattice::new(&self.events, belief, LEVELS[level], self.priors)
        });
        let Some(lattice) = own.or(made.as_ref()) else {
            return Vec::new();
        };
        let rubato = Steering {
            freely: true,
            ..steering.clone()
        };
        let open = steering.free.is_empty();
        let mut paths = Vec::new();
        for &feel in feels {
            for how in [steering, &rubato] {
                let mut path = lattice.decode(feel, how);
                path.runs.retain(|run| run.len() >= SHORTEST_RUN);
                if path.runs.is_empty() {
                    continue;
                }
                if open {
                    let even = lattice.even(feel, &path, beat_of(&path), steering);
                    paths.extend(even.into_iter().map(|even| (feel, even)));
                }
                paths.push((feel, path));
            }
        }
        if open {
            for (_, path) in &mut paths {
                self.carry_on(path);
            }
        }
        paths
    }

    /// Carries the last run on while something is played on its next beat, and more after that:
    /// where the music ends nothing tells the network of beats to come.
    fn carry_on(&self, path: &mut Path) {
        let Some(run) = path.runs.last_mut() else {
            return;
        };
        let gap = tempo_curve::median_gap(&run[run.len().saturating_sub(SHORTEST_RUN)..]);
        while let Some(next) = run.last().map(|last| last + gap) {
            let from = self.events.partition_point(|e| e.time < next - ON * gap);
            let played = self
                .events
                .get(from)
                .is_some_and(|e| e.time < next + ON * gap);
            let over = self.events.last().is_none_or(|e| e.time < next + gap / 2.0);
            if !played || over {
                break;
            }
            run.push(next);
        }
    }

    /// A path with its bars, in `meter` where one is given.
    pub(super) fn hypothesis(
        &self,
        source: Source,
        path: Path,
        pins: &[Pin],
        meter: Option<Meter>,
    ) -> Hypothesis {
        let runs: Vec<Run> = path
            .runs
            .iter()
            .map(|run| Run::fit(run, inside(&self.events, run), pins))
            .collect();
        let beat = beat_of(&path);
        let measured = self.measure(runs, meter);
        let score = self.priors.path * path.score
            + measured.score
            + self.priors.tempi * self.tempo_prior(beat)
            + self.whole(&measured.runs);
        Hypothesis {
            source,
            path,
            beat,
            measured,
            score,
        }
    }

    /// What a reading gains as a whole, nats: by covering all that is played, and by beats as long as the
    /// network believes them to be. Each counts by the square root of how much there is, because neighbours
    /// are not independent.
    fn whole(&self, runs: &[Run]) -> f64 {
        let (Some(first), Some(last)) = (self.events.first(), self.events.last()) else {
            return 0.0;
        };
        let played = (last.time - first.time).max(0.1);
        let beats = || runs.iter().flat_map(|run| run.curve.beats.windows(2));
        let covered: f64 = beats().map(|pair| pair[1] - pair[0]).sum();
        let lengths: f64 = beats()
            .map(|pair| self.belief.length(pair[0], pair[1]))
            .sum();
        self.priors.covered * (self.events.len() as f64).sqrt() * covered / played
            + self.priors.lengths * played.sqrt() * lengths / covered.max(0.1)
    }

    /// Meter and phases of measured runs.
    fn measure(&self, runs: Vec<Run>, meter: Option<Meter>) -> Measured {
        let pulses: Vec<Vec<Pulse>> = runs
            .iter()
            .map(|run| {
                let inside = inside(&self.events, &run.curve.beats);
                meter::pulses(&run.curve.beats, &run.slots, inside, &self.notes)
            })
            .collect();
        let meters = meter.map_or_else(|| Meter::HEARD.to_vec(), |m| vec![m]);
        let mut measured = Measured {
            meter: meters[0],
            phases: vec![0; runs.len()],
            others: Vec::new(),
            score: f64::MIN,
            runs,
        };
        let longest = (0..pulses.len()).max_by_key(|&i| pulses[i].len());
        for meter in meters {
            stop::check();
            let choices: Vec<Vec<Choice>> = pulses
                .iter()
                .zip(&measured.runs)
                .map(|(pulses, run)| {
                    meter::choices(
                        pulses,
                        &self.belief,
                        &run.curve.beats,
                        meter,
                        run.slots.triple,
                        &self.priors,
                    )
                })
                .collect();
            let score: f64 = choices.iter().map(|c| c[0].score).sum();
            measured
                .others
                .extend(longest.into_iter().flat_map(|i| choices[i].iter().copied()));
            if score > measured.score {
                measured.score = score;
                measured.meter = meter;
                measured.phases = choices.iter().map(|c| c[0].phase).collect();
            }
        }
        measured.others.sort_by(|a, b| b.score.total_cmp(&a.score));
        measured
    }

    /// The best paths of different beats, at most [`MEASURED`].
    fn distinct(&self, mut paths: Vec<(Source, Path)>) -> Vec<(Source, Path)> {
        let worth = |p: &Path| self.priors.path * p.score + self.tempo_prior(beat_of(p));
        paths.sort_by(|a, b| worth(&b.1).total_cmp(&worth(&a.1)));
        let mut kept: Vec<(Source, Path)> = Vec::new();
        for (source, path) in paths {
            if kept.len() < MEASURED && !kept.iter().any(|k| alike(&k.1, &path)) {
                kept.push((source, path));
            }
        }
        kept
    }

    /// Prior log-probability of a tempo: narrow because the notes of a pattern overstate their
    /// case, and the more of them there are the more they do.
    fn tempo_prior(&self, beat: f64) -> f64 {
        let octaves = (60.0 / beat / self.priors.tempo).log2();
        let times = (self.events.len() as f64 / self.priors.events).max(1.0);
        -0.5 * times * (octaves / self.priors.octaves).powi(2)
    }
}

/// Have two paths the same beats, for most of them?
fn alike(one: &Path, other: &Path) -> bool {
    let (beats, others) = (one.runs.concat(), other.runs.concat());
    let beat = beat_of(one);
    let near =
        |at: &&f64| nearest(&beats, **at).is_some_and(|k| (beats[k] - **at).abs() < AGREES * beat);
    let same = others.iter().filter(near).count() as f64;
    (beat_of(other) / beat).ln().abs() < SAME
        && same >= ALIKE * beats.len().max(others.len()) as f64
}

/// Median beat of the longest run.
pub(super) fn beat_of(path: &Path) -> f64 {
    let longest = path.runs.iter().max_by_key(|run| run.len());
    longest.map_or(0.5, |run| tempo_curve::median_gap(run))
}

/// Events within a run of beats and a beat around it.
pub(super) fn inside<'a>(events: &'a [Event], beats: &[f64]) -> &'a [Event] {
    let (Some(&first), Some(&last)) = (beats.first(), beats.last()) else {
        return &[];
    };
    let around = tempo_curve::median_gap(beats);
    let from = events.partition_point(|e| e.time < first - around);
    let to = events.partition_point(|e| e.time <= last + around);
    &events[from..to]
}
