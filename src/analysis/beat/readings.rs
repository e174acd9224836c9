//! Which readings there are: decoded on every tempo level, measured, told apart, the most probable first.

use super::beat_net::Belief;
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
/// Readings whose beats differ by less than this share are the same.
const SAME: f64 = 0.04;
/// Readings of which the beats between theirs are a reading too, and what keeps those away (nats).
const SHIFTED: usize = 2;
const AVOID: f32 = 8.0;
/// Readings that are measured.
const MEASURED: usize = 6;

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
                let path = self.decode(level, feel, &steering)?;
                Some((Source { level, feel }, path))
            });
            paths.into_iter().flatten().collect()
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
        Some((*source, self.decode(source.level, source.feel, &steering)?))
    }

    /// The beats of one level and feel; none where no run is long enough for a pulse.
    fn decode(&self, level: usize, feel: usize, steering: &Steering) -> Option<Path> {
        let paths = self.decode_all(level, &[feel], steering);
        paths.into_iter().next().map(|(_, path)| path)
    }

    /// The beats of one level by feels, without those in which no run is long enough for a pulse.
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
        let long = |feel: &usize| {
            let bent = [steering, &rubato].map(|how| {
                let mut path = lattice.decode(*feel, how);
                path.runs.retain(|run| run.len() >= SHORTEST_RUN);
                path
            });
            let with_even = |path: Path| {
                let even = open.then(|| lattice.even(*feel, &path, beat_of(&path), steering));
                [Some(path), even.flatten()]
            };
            bent.into_iter()
                .filter(|path| !path.runs.is_empty())
                .flat_map(with_even)
                .flatten()
                .max_by(|a, b| a.score.total_cmp(&b.score))
                .map(|path| (*feel, path))
        };
        let mut paths: Vec<(usize, Path)> = feels.iter().filter_map(long).collect();
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
        let score = self.priors.path * path.score + measured.score + self.tempo_prior(beat);
        Hypothesis {
            source,
            path,
            beat,
            measured,
            score,
        }
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

    /// The best paths of different tempi, at most [`MEASURED`].
    fn distinct(&self, mut paths: Vec<(Source, Path)>) -> Vec<(Source, Path)> {
        let worth = |p: &Path| self.priors.path * p.score + self.tempo_prior(beat_of(p));
        paths.sort_by(|a, b| worth(&b.1).total_cmp(&worth(&a.1)));
        let mut kept: Vec<(Source, Path)> = Vec::new();
        for (source, path) in paths {
            let beat = beat_of(&path);
            let known = kept
                .iter()
                .any(|k| (beat_of(&k.1) / beat).ln().abs() < SAME);
            if !known && kept.len() < MEASURED {
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
