//! From a recording to what is heard at each candidate: bounded memory, block by block.
//!
//! Owns the order of the passes. Decisions (which candidates are notes, whose and where on the neck) come after.

use super::candidates::{self, Candidate, surprise};
use super::chord_candidates;
use super::concert_pitch::{Coarse, Fine};
use super::mono::{Block, Mono, RATE, samples};
use super::observer::{AnalysisError, Observer, Stage, go_on};
use super::pitch::{Newness, PitchReader};
use super::pluck_net::{PluckNet, Prediction};
use crate::dsp::predict::Predictor;
use crate::parallel;
use crate::unit::{Cents, MidiNote, Seconds};

/// Where the network thinks less of an onset, the spectrum is not explained.
const UNLIKELY: f32 = 0.05;

/// One candidate and what was heard at it. Times are from the start of the recording.
#[derive(Debug, Clone)]
pub struct Features {
    /// Where and how clearly something begins.
    pub candidate: Candidate,
    /// What begins.
    pub newness: Newness,
    /// What the network says about it.
    pub reading: Prediction,
    /// How well each pitch fits this instant among its neighbours (see [`super::chord_candidates`]).
    pub fits: chord_candidates::Fits,
    /// Loudest sample within 60 ms after.
    pub peak: f32,
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
    go_on(observer, Stage::Onsets, 0.0)?;
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
            go_on(observer, Stage::Onsets, done as f32 / blocks.len() as f32)
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
    let hear = |reader: &mut PitchReader, (start, from, to, end): &Block| {
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
    go_on(observer, Stage::Notes, 0.0)?;
    let mut done = 0;
    parallel::stream(
        &blocks,
        || PitchReader::new(offset),
        hear,
        |heard| {
            all.extend(heard);
            done += 1;
            go_on(observer, Stage::Notes, done as f32 / blocks.len() as f32)
        },
    )?;
    Ok(all)
}

/// What is heard at the candidates of one block; times from the start of `signal`.
fn block(
    signal: &[f32],
    candidates: Vec<Candidate>,
    offset: Cents,
    reader: &mut PitchReader,
) -> Vec<Features> {
    let mut listener = PluckNet::new(signal, offset);
    let mut read: Vec<(Candidate, Prediction)> = candidates
        .into_iter()
        .map(|c| (c, listener.read(c.time)))
        .collect();
    for found in overlooked(signal, &read) {
        let at = read.partition_point(|(c, _)| c.time < found.time);
        read.insert(at, (found, listener.read(found.time)));
    }
    let times: Vec<f64> = read.iter().map(|(c, _)| c.time).collect();
    let readings: Vec<Prediction> = read.iter().map(|(_, r)| r.clone()).collect();
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
fn overlooked(signal: &[f32], read: &[(Candidate, Prediction)]) -> Vec<Candidate> {
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
    go_on(observer, Stage::Notes, 1.0)?;
    parallel::stream(&mono.blocks(), Fine::new, measure, |measured| {
        for (i, pitch) in measured {
            all[i] = pitch;
        }
        go_on(observer, Stage::Notes, 1.0)
    })?;
    Ok(all)
}

fn peak(signal: &[f32], time: f64) -> f32 {
    let from = (samples(time).max(0) as usize).min(signal.len());
    let to = (from + samples(0.06) as usize).min(signal.len());
    signal[from..to].iter().fold(0.0f32, |m, v| m.max(v.abs()))
}
