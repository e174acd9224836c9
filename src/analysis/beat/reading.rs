//! Readings of the notes: tempo levels and feels, compared.
//!
//! Owns the choice among them and how sure it is.

use super::bars::{self, Choice, Pulse};
use super::cut;
use super::events::Event;
use super::lattice::{FEELS, Lattice, Path, Steering};
use super::measure::Run;
use super::smooth::{self, Pin};
use super::{LEVELS, Part};
use crate::music::meter::Meter;
use crate::parallel;

/// A run shorter than this is no pulse.
const SHORTEST_RUN: usize = 5;
/// Weight of the beats' likelihood beside that of the bars: notes of a pattern are not
/// independent. Tuned on rendered pieces.
const PATH: f64 = 0.7;
/// Readings whose beats differ by less than this share are the same.
const SAME: f64 = 0.04;
/// Readings that are measured.
const MEASURED: usize = 6;
/// Events of a pattern that the prior of tempi is set against.
const OVERSTATED: f64 = 80.0;
/// Cuts to a click that are compared.
const CUTS: usize = 4;

/// Where a reading's beats come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Source {
    /// Decoded on a lattice with a feel.
    Decoded { level: usize, feel: usize },
    /// The even beats of a recording cut to a click.
    Cut,
}

/// One reading of the notes.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    pub source: Source,
    pub path: Path,
    /// Median beat, seconds.
    pub beat: f64,
    pub measured: Measured,
    /// Log-probability against chance, nats.
    pub score: f64,
}

/// Runs of beats with their slots, meter and first downbeats.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub runs: Vec<Run>,
    pub meter: Meter,
    /// Index of the first downbeat of each run.
    pub phases: Vec<usize>,
    /// Best choice of each meter and phase of the longest run, best first.
    pub others: Vec<Choice>,
    pub score: f64,
}

impl Part {
    /// Readings without edits, best first; only the `whole` of a recording can be cut to a click.
    pub(super) fn read(&self, whole: bool) -> Vec<Reading> {
        let ways: Vec<(usize, usize)> = (0..LEVELS.len())
            .flat_map(|level| (0..FEELS.len()).map(move |feel| (level, feel)))
            .collect();
        let decoded = parallel::map(&ways, |&(level, feel)| {
            let path = self.decode(level, feel, &Steering::default())?;
            Some((Source::Decoded { level, feel }, path))
        });
        let mut paths: Vec<(Source, Path)> = decoded.into_iter().flatten().collect();
        let best = paths.iter().map(|p| p.1.score).fold(0.0, f64::max);
        let cuts = if whole {
            cut::cuts(&self.events, self.end)
        } else {
            Vec::new()
        };
        if cut::believable(&cuts, best, self.end) {
            paths = cuts
                .iter()
                .take(CUTS)
                .map(|cut| {
                    let run = (0..=cut.beats).map(|k| k as f64 * cut.beat).collect();
                    let path = Path {
                        score: cut.score,
                        runs: vec![run],
                    };
                    (Source::Cut, path)
                })
                .collect();
        }
        let mut readings = parallel::map(&self.distinct(paths), |(source, path)| {
            self.reading(*source, path.clone(), &[], None)
        });
        readings.sort_by(|a, b| b.score.total_cmp(&a.score));
        readings
    }

    /// The beats of one level and feel; none where no run is long enough for a pulse.
    pub(super) fn decode(&self, level: usize, feel: usize, steering: &Steering) -> Option<Path> {
        let mut path = match self.lattices.get(level) {
            Some(lattice) => lattice.decode(feel, steering),
            None => Lattice::new(&self.events, LEVELS[level]).decode(feel, steering),
        };
        path.runs.retain(|run| run.len() >= SHORTEST_RUN);
        (!path.runs.is_empty()).then_some(path)
    }

    /// A path with its bars, in `meter` where one is given.
    pub(super) fn reading(
        &self,
        source: Source,
        path: Path,
        pins: &[Pin],
        meter: Option<Meter>,
    ) -> Reading {
        let cut = source == Source::Cut;
        let runs: Vec<Run> = path
            .runs
            .iter()
            .map(|run| {
                let inside = inside(&self.events, run);
                if cut {
                    Run::fixed(run, inside)
                } else {
                    Run::fit(run, inside, pins)
                }
            })
            .collect();
        let beat = beat_of(&path);
        let measured = self.measure(runs, cut, meter);
        let score = PATH * path.score + measured.score + self.tempo_prior(beat);
        Reading {
            source,
            path,
            beat,
            measured,
            score,
        }
    }

    /// Meter and phases of measured runs.
    fn measure(&self, runs: Vec<Run>, cut: bool, meter: Option<Meter>) -> Measured {
        let pulses: Vec<Vec<Pulse>> = runs
            .iter()
            .map(|run| {
                let inside = inside(&self.events, &run.curve.beats);
                bars::pulses(&run.curve.beats, &run.slots, inside, &self.notes)
            })
            .collect();
        // What is cut to whole bars of a click holds no part of a bar.
        let whole_bars = |m: &Meter| {
            let bar = usize::from(m.beats().max(1));
            !cut || runs
                .iter()
                .all(|run| (run.curve.beats.len() - 1).is_multiple_of(bar))
        };
        let mut meters = meter.map_or_else(|| Meter::HEARD.to_vec(), |m| vec![m]);
        if meters.iter().any(whole_bars) {
            meters.retain(whole_bars);
        }
        let mut measured = Measured {
            meter: meters[0],
            phases: vec![0; runs.len()],
            others: Vec::new(),
            score: f64::MIN,
            runs,
        };
        let longest = (0..pulses.len()).max_by_key(|&i| pulses[i].len());
        for meter in meters {
            let choices: Vec<Vec<Choice>> = pulses
                .iter()
                .zip(&measured.runs)
                .map(|(pulses, run)| bars::choices(pulses, meter, run.slots.triple, cut))
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
        let worth = |p: &Path| PATH * p.score + self.tempo_prior(beat_of(p));
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

    /// Prior log-probability of a tempo: centred on 88 beats a minute, 0.22 octaves wide (SD),
    /// narrow because the notes of a pattern overstate their case, and the more of them there are
    /// the more they do; tuned on rendered pieces, near the tempi that listeners tap (Parncutt
    /// 1994, Music Perception 11, from memory).
    fn tempo_prior(&self, beat: f64) -> f64 {
        let octaves = (60.0 / beat / 88.0).log2();
        let times = (self.events.len() as f64 / OVERSTATED).max(1.0);
        -0.5 * times * (octaves / 0.22).powi(2)
    }
}

/// Median beat of the longest run.
pub(super) fn beat_of(path: &Path) -> f64 {
    let longest = path.runs.iter().max_by_key(|run| run.len());
    longest.map_or(0.5, |run| smooth::median_gap(run))
}

/// Events within a run of beats and a beat around it.
pub(super) fn inside<'a>(events: &'a [Event], beats: &[f64]) -> &'a [Event] {
    let (Some(&first), Some(&last)) = (beats.first(), beats.last()) else {
        return &[];
    };
    let around = smooth::median_gap(beats);
    let from = events.partition_point(|e| e.time < first - around);
    let to = events.partition_point(|e| e.time <= last + around);
    &events[from..to]
}
