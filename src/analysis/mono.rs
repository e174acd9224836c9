//! The signal that every stage reads: one channel at one rate, any part of it at a time, in blocks of bounded
//! memory.

use crate::dsp::resample::Resampler;
use crate::parallel;
use crate::recording::Recording;
use crate::stop;
use std::borrow::Cow;

/// Frames a second of the mono signal that every stage of the analysis reads.
pub const RATE: u32 = 22_050;

/// Length of a block, and how far it looks beyond either end, in samples at [`RATE`].
const BLOCK: usize = 40 * RATE as usize;

const MARGIN: usize = 2 * RATE as usize;

/// A recording up to this long, in samples at [`RATE`] (15 minutes, 80 MB), is converted once and
/// kept; a longer one is converted block by block in every pass.
const KEPT: usize = 15 * 60 * RATE as usize;

/// A stretch of the recording: first sample with margin, first, last, last with margin.
pub(super) type Block = (usize, usize, usize, usize);

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

/// Seconds to samples at [`RATE`], rounded.
pub(super) fn samples(seconds: f64) -> isize {
    (seconds * f64::from(RATE)).round() as isize
}
