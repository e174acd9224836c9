//! From a recording to what is heard at each candidate: bounded memory, block by block.
//!
//! Owns the mono signal at the analysis rate, the blocks it is cut into, and the order of the
//! passes. Decisions (which candidates are notes, whose and where on the neck) come after.

use super::candidates::{self, Candidate, surprise};
use super::chord_candidates;
use super::concert_pitch::{Coarse, Fine};
use super::pitch::{Newness, Reader};
use super::pluck_net::{Listener, Reading};
use super::{AnalysisError, Observer, RATE, Stage};
use crate::dsp::predict::Predictor;
use crate::dsp::resample::Resampler;
use crate::parallel;
use crate::recording::Recording;
use crate::stop;
use crate::unit::{Cents, MidiNote, Seconds};
use std::borrow::Cow;

/// Length of a block, and how far it looks beyond either end, in samples at [`RATE`].
const BLOCK: usize = 40 * RATE as usize;
const MARGIN: usize = 2 * RATE as usize;
/// A recording up to this long, in samples at [`RATE`] (15 minutes, 80 MB), is converted once and
/// kept; a longer one is converted block by block in every pass.
const KEPT: usize = 15 * 60 * RATE as usize;

/// Where the network thinks less of an onset, the spectrum is not explained.
const UNLIKELY: f32 = 0.05;

/// A stretch of the recording: first sample with margin, first, last, last with margin.
pub(super) type Block = (usize, usize, usize, usize);

/// One candidate and what was heard at it. Times are from the start of the recording.
#[derive(Debug, Clone)]
pub struct Features {
    /// Where and how clearly something begins.
    pub candidate: Candidate,
    /// What begins.
    pub newness: Newness,
    /// What the network says about it.
    pub reading: Reading,
    /// How well each pitch fits this instant among its neighbours (see [`super::chord_candidates`]).
    pub fits: chord_candidates::Fits,
    /// Loudest sample within 60 ms after.
    pub peak: f32,
}

/// A mono view of a recording at the analysis rate, any part of it at a time.
pub struct Mono<'a> {
    recording: &'a Recording,
    resampler: Resampler,
    /// Channels that are mixed, each with its mean, which is no sound and is taken off.
    channels: Vec<(usize, f32)>,
    /// All of it, where that is not much.
    whole: Option<Vec<f32>>,
}

impl<'a> Mono<'a> {
    /// The mean of all channels, or the loudest channel where the mean cancels.
    pub fn new(recording: &'a Recording) -> Self {
        let width = recording.width();
        let channels: Vec<usize> = (0..width).collect();
        let each = parallel::map(&channels, |c| {
            let blocks = recording.blocks(*c).inspect(|_| stop::check());
            blocks.fold((0.0, 0.0), |sums, block| {
                let add = |(power, sum), s: &f32| (power + f64::from(s * s), sum + f64::from(*s));
                block.iter().fold(sums, add)
            })
        });
        let mean = |c: usize| {
            let mean = (each[c].1 / recording.frames() as f64) as f32;
            if mean.is_finite() { mean } else { 0.0 }
        };
        let loudest = each
            .iter()
            .enumerate()
            .fold(0, |best, (i, e)| if e.0 > each[best].0 { i } else { best });
        // −12 dB: channels in opposite phase would cancel.
        let cancels = width > 1 && mixed_energy(recording) < 0.06 * each[loudest].0;
        let mut mono = Self {
            recording,
            resampler: Resampler::new(recording.rate(), RATE),
            channels: (0..width)
                .filter(|c| !cancels || *c == loudest)
                .map(|c| (c, mean(c)))
                .collect(),
            whole: None,
        };
        if mono.len() <= KEPT {
            let second = RATE as usize;
            let starts: Vec<usize> = (0..mono.len()).step_by(second).collect();
            let parts = parallel::map(&starts, |&from| {
                stop::check();
                let to = (from + second).min(mono.len());
                mono.part(from, to).into_owned()
            });
            mono.whole = Some(parts.concat());
        }
        mono
    }

    /// Length in samples at [`RATE`].
    pub fn len(&self) -> usize {
        self.resampler.output_len(self.recording.frames())
    }

    /// Never: a recording has frames.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Samples `first` to `last` (exclusive).
    pub fn part(&self, first: usize, last: usize) -> Cow<'_, [f32]> {
        if let Some(whole) = &self.whole {
            return Cow::Borrowed(&whole[first..last]);
        }
        let (from, to) = self.resampler.input_range(first, last);
        let frames = self.recording.frames() as isize;
        let (from, to) = (from.clamp(0, frames), to.clamp(0, frames));
        let share = 1.0 / self.channels.len() as f32;
        let mut input = vec![0.0f32; (to - from) as usize];
        for (channel, mean) in &self.channels {
            let samples = self.recording.part(*channel, from as usize..to as usize);
            input
                .iter_mut()
                .zip(samples.iter())
                .for_each(|(m, s)| *m += share * (s - mean));
        }
        Cow::Owned(self.resampler.convert(&input, from, first, last))
    }

    /// The blocks, in order.
    pub(super) fn blocks(&self) -> Vec<Block> {
        let len = self.len();
        (0..len)
            .step_by(BLOCK)
            .map(|from| {
                let to = (from + BLOCK).min(len);
                (
                    from.saturating_sub(MARGIN),
                    from,
                    to,
                    (to + MARGIN).min(len),
                )
            })
            .collect()
    }
}

/// First pass: candidates of the whole recording, and the coarse offset of the tuning.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when the observer asks for it.
pub fn candidates(
    mono: &Mono,
    observer: &mut dyn Observer,
) -> Result<(Vec<Candidate>, Option<Cents>), AnalysisError> {
    let mut all: Vec<Candidate> = Vec::new();
    let mut whole = Coarse::default();
    let blocks = mono.blocks();
    let find = |(): &mut (), (start, from, to, end): &Block| {
        let signal = mono.part(*start, *end);
        let zero = *start as f64 / f64::from(RATE);
        let inside = *from as f64 / f64::from(RATE)..*to as f64 / f64::from(RATE);
        let found = candidates::candidates(&signal);
        let coarse = Coarse::of(&signal, &found);
        let found = found.into_iter().map(|c| c.moved(zero));
        let inside: Vec<Candidate> = found.filter(|c| inside.contains(&c.time)).collect();
        (inside, coarse)
    };
    super::go_on(observer, Stage::Onsets, 0.0)?;
    let mut done = 0;
    parallel::stream(
        &blocks,
        || (),
        find,
        |(found, coarse)| {
            whole.add(coarse);
            let clear: Vec<Seconds> = found
                .iter()
                .filter(|c| c.rise > 10.0 && c.strength > 0.3)
                .map(|c| Seconds(c.time))
                .collect();
            all.extend(found);
            observer.onsets(&clear);
            done += 1;
            super::go_on(observer, Stage::Onsets, done as f32 / blocks.len() as f32)
        },
    )?;
    all.dedup_by(|b, a| b.time - a.time < 0.005);
    Ok((all, whole.offset()))
}

/// Second pass: what begins at each candidate that is worth a look.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when the observer asks for it.
pub fn heard(
    mono: &Mono,
    candidates: &[Candidate],
    offset: Cents,
    observer: &mut dyn Observer,
) -> Result<Vec<Features>, AnalysisError> {
    let mut all = Vec::with_capacity(candidates.len());
    let blocks = mono.blocks();
    let rate = f64::from(RATE);
    let hear = |reader: &mut Reader, (start, from, to, end): &Block| {
        let signal = mono.part(*start, *end);
        let zero = *start as f64 / rate;
        let first = candidates.partition_point(|c| c.time < *from as f64 / rate);
        let last = if *to == mono.len() {
            candidates.len()
        } else {
            candidates.partition_point(|c| c.time < *to as f64 / rate)
        };
        let local: Vec<Candidate> = candidates[first..last]
            .iter()
            .map(|c| c.moved(-zero))
            .collect();
        block(&signal, local, offset, reader)
            .into_iter()
            .map(|h| Features {
                candidate: h.candidate.moved(zero),
                ..h
            })
            .collect::<Vec<Features>>()
    };
    super::go_on(observer, Stage::Notes, 0.0)?;
    let mut done = 0;
    parallel::stream(
        &blocks,
        || Reader::new(offset),
        hear,
        |heard| {
            all.extend(heard);
            done += 1;
            super::go_on(observer, Stage::Notes, done as f32 / blocks.len() as f32)
        },
    )?;
    Ok(all)
}

/// What is heard at the candidates of one block; times from the start of `signal`.
fn block(
    signal: &[f32],
    candidates: Vec<Candidate>,
    offset: Cents,
    reader: &mut Reader,
) -> Vec<Features> {
    let mut listener = Listener::new(signal, offset);
    let mut read: Vec<(Candidate, Reading)> = candidates
        .into_iter()
        .map(|c| (c, listener.read(c.time)))
        .collect();
    for found in overlooked(signal, &read) {
        let at = read.partition_point(|(c, _)| c.time < found.time);
        read.insert(at, (found, listener.read(found.time)));
    }
    let times: Vec<f64> = read.iter().map(|(c, _)| c.time).collect();
    let readings: Vec<Reading> = read.iter().map(|(_, r)| r.clone()).collect();
    let fits = chord_candidates::fits(&times, &readings, |time| listener.read(time));
    read.into_iter()
        .zip(fits)
        .enumerate()
        .map(|(k, ((candidate, reading), fits))| {
            let gap = times[k + 1..]
                .iter()
                .zip(&readings[k + 1..])
                .find(|(_, r)| r.onset > 0.5)
                .map_or(1.0, |(t, _)| t - candidate.time);
            Features {
                candidate,
                newness: if reading.onset < UNLIKELY {
                    Newness::nothing()
                } else {
                    reader.read(signal, candidate.time, gap.min(1.0))
                },
                reading,
                fits,
                peak: peak(signal, candidate.time),
            }
        })
        .collect()
}

/// Instants that the network points at but the detector passed over: it says that the first of
/// the new notes lies earlier than the instant asked, and nothing lies there yet.
fn overlooked(signal: &[f32], read: &[(Candidate, Reading)]) -> Vec<Candidate> {
    let mut predictor = Predictor::new();
    let mut found: Vec<Candidate> = Vec::new();
    for (candidate, reading) in read {
        if reading.onset < 0.5 || reading.offset.abs() < 0.004 {
            continue;
        }
        let aim = candidate.time + reading.offset;
        let near = |c: &Candidate| (c.time - aim).abs() < 0.004;
        if read.iter().any(|(c, _)| near(c)) || found.iter().any(near) {
            continue;
        }
        let (time, rise) = surprise::refine_within(&mut predictor, signal, aim, 0.005);
        let near = |c: &Candidate| (c.time - time).abs() < 0.003;
        if rise > 1.0 && !read.iter().any(|(c, _)| near(c)) && !found.iter().any(near) {
            found.push(Candidate {
                time,
                coarse: aim,
                strength: 0.0,
                rise,
            });
        }
    }
    found
}

/// Measured pitches of (time, whole semitone) pairs, in the same order.
///
/// # Errors
/// [`AnalysisError::Cancelled`] when the observer asks for it.
pub fn measured(
    mono: &Mono,
    notes: &[(Seconds, f64)],
    observer: &mut dyn Observer,
) -> Result<Vec<Option<(MidiNote, f64)>>, AnalysisError> {
    let mut all = vec![None; notes.len()];
    let measure = |fine: &mut Fine, (start, from, to, end): &Block| {
        let inside = *from as f64 / f64::from(RATE)..*to as f64 / f64::from(RATE);
        let zero = *start as f64 / f64::from(RATE);
        let signal = mono.part(*start, *end);
        let here = notes.iter().enumerate();
        here.filter(|(_, (time, _))| inside.contains(&time.0))
            .map(|(i, (time, midi))| (i, fine.measure(&signal, Seconds(time.0 - zero), *midi)))
            .collect::<Vec<_>>()
    };
    super::go_on(observer, Stage::Notes, 1.0)?;
    parallel::stream(&mono.blocks(), Fine::new, measure, |measured| {
        for (i, pitch) in measured {
            all[i] = pitch;
        }
        super::go_on(observer, Stage::Notes, 1.0)
    })?;
    Ok(all)
}

/// Energy of the mean of all channels.
fn mixed_energy(recording: &Recording) -> f64 {
    let share = 1.0 / recording.width() as f32;
    let mut blocks: Vec<_> = (0..recording.width())
        .map(|c| recording.blocks(c))
        .collect();
    let mut sum = 0.0f64;
    loop {
        let now: Vec<_> = blocks.iter_mut().filter_map(Iterator::next).collect();
        let Some(first) = now.first() else { return sum };
        let mix = |f: usize| now.iter().map(|c| c[f]).sum::<f32>() * share;
        sum = (0..first.len()).fold(sum, |sum, f| sum + f64::from(mix(f) * mix(f)));
    }
}

fn peak(signal: &[f32], time: f64) -> f32 {
    let from = (candidates::samples(time).max(0) as usize).min(signal.len());
    let to = (from + candidates::samples(0.06) as usize).min(signal.len());
    signal[from..to].iter().fold(0.0f32, |m, v| m.max(v.abs()))
}
