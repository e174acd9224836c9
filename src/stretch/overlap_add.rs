//! Overlap-add: a ring of sums and of the weights that went into them.
//!
//! Every contribution is added with its weight, and an output sample is the sum over the weight:
//! the windows actually summed, not a constant. A sample that only a copy at full weight went
//! into comes out as it went in, bit for bit.
//!
//! At a seam, what is there is set apart and sounds beside what is added from then on. Their gains
//! keep the power: unlike sounds cross without a dip, like ones without a bump. Midway, with a
//! correlation r of the two, that is 1/√(2 + 2r) for each.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::window::raised;

/// Weight below which an output sample fades out rather than being scaled up.
const LEAST_WEIGHT: f32 = 0.02;
/// Two sounds that undo each other are raised by no more than makes this good (3 dB).
const LEAST_POWER: f32 = 0.5;

/// Sums by output frame, a power of two long.
pub(super) struct OverlapAdd {
    sums: Vec<Vec<f32>>,
    weights: Vec<f32>,
    /// Factor of sum ÷ weight; 1 but at seams.
    gains: Vec<f32>,
    /// What was set apart, as it is to sound.
    apart: Vec<Vec<f32>>,
    mask: usize,
    /// Nothing was added from this output frame on.
    end: i64,
}

/// How like an old and a new sound are: the energy of each, and the product of both.
#[derive(Debug, Clone, Copy, Default)]
pub struct Likeness {
    /// Energy of the old sound.
    pub old: f32,
    /// Energy of the new sound.
    pub new: f32,
    /// Sum of the products of their samples.
    pub both: f32,
}

impl Likeness {
    /// Adds a sample of each.
    pub(super) fn add(&mut self, old: f32, new: f32) {
        self.old += old * old;
        self.new += new * new;
        self.both += old * new;
    }

    /// Gains of the old and the new sound where `part` (0 to 1) of the power is the new one's.
    pub fn gains(&self, part: f32) -> (f32, f32) {
        let (old, new) = ((1.0 - part).sqrt(), part.sqrt());
        let power = old * old * self.old + new * new * self.new;
        let shared = 2.0 * old * new * self.both / power.max(f32::MIN_POSITIVE);
        let keep = (1.0 + shared).max(LEAST_POWER).sqrt().recip();
        (old * keep, new * keep)
    }
}

impl OverlapAdd {
    /// A ring of at least `frames` frames for `channels` channels.
    #[allow(
        clippy::disallowed_macros,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(channels: usize, frames: usize) -> Self {
        let len = frames.next_power_of_two();
        Self {
            sums: vec![vec![0.0; len]; channels],
            weights: vec![0.0; len],
            gains: vec![1.0; len],
            apart: vec![vec![0.0; len]; channels],
            mask: len - 1,
            end: 0,
        }
    }

    /// Where output frame `at` lies in the ring.
    fn index(&self, at: i64) -> usize {
        at.rem_euclid(self.mask as i64 + 1) as usize
    }

    /// The one or two runs of the ring that output frames `at..at + len` lie in; something is
    /// added there.
    fn touch(&mut self, at: i64, len: usize) -> [(usize, usize); 2] {
        self.end = self.end.max(at + len as i64);
        self.runs(at, len)
    }

    /// The one or two runs of the ring that output frames `at..at + len` lie in.
    fn runs(&self, at: i64, len: usize) -> [(usize, usize); 2] {
        let first = self.index(at);
        let head = len.min(self.mask + 1 - first);
        [(first, head), (0, len - head)]
    }

    /// Adds `samples` × `window` × `gain` to one channel from output frame `at` on.
    pub(super) fn add(
        &mut self,
        channel: usize,
        at: i64,
        samples: &[f32],
        window: &[f32],
        gain: f32,
    ) {
        let len = samples.len().min(window.len());
        let mut done = 0;
        for (start, n) in self.touch(at, len) {
            let sums = &mut self.sums[channel][start..start + n];
            let samples = &samples[done..done + n];
            let window = &window[done..done + n];
            for ((sum, s), w) in sums.iter_mut().zip(samples).zip(window) {
                *sum += s * (w * gain);
            }
            done += n;
        }
    }

    /// Adds `samples` to one channel from output frame `at` on, with no weight of their own.
    pub(super) fn add_plain(&mut self, channel: usize, at: i64, samples: &[f32]) {
        let mut done = 0;
        for (start, n) in self.touch(at, samples.len()) {
            let sums = &mut self.sums[channel][start..start + n];
            for (sum, s) in sums.iter_mut().zip(&samples[done..done + n]) {
                *sum += s;
            }
            done += n;
        }
    }

    /// Adds `window` × `shape` × `gain` to the weights from output frame `at` on.
    pub(super) fn weigh(&mut self, at: i64, window: &[f32], shape: &[f32], gain: f32) {
        let len = window.len().min(shape.len());
        let mut done = 0;
        for (start, n) in self.touch(at, len) {
            let weights = &mut self.weights[start..start + n];
            let window = &window[done..done + n];
            let shape = &shape[done..done + n];
            for ((weight, w), s) in weights.iter_mut().zip(window).zip(shape) {
                *weight += (w * gain) * s;
            }
            done += n;
        }
    }

    /// Adds what `sample` gives for each of `len` frames from output frame `at` on, with weight:
    /// (samples by channel are asked one channel after the other).
    pub(super) fn add_weighted(
        &mut self,
        at: i64,
        len: usize,
        weight: impl Fn(usize) -> f32,
        sample: impl Fn(usize, usize) -> f32,
    ) {
        self.end = self.end.max(at + len as i64);
        let first = self.index(at);
        for i in 0..len {
            self.weights[(first + i) & self.mask] += weight(i);
        }
        for (channel, sums) in self.sums.iter_mut().enumerate() {
            for i in 0..len {
                sums[(first + i) & self.mask] += weight(i) * sample(channel, i);
            }
        }
    }

    /// Sets apart what is there at output frames `at..at + len`, as it would have sounded.
    pub(super) fn set_apart(&mut self, at: i64, len: usize) {
        self.end = self.end.max(at + len as i64);
        let first = self.index(at);
        for i in (first..first + len).map(|i| i & self.mask) {
            let gain = self.gains[i] / self.weights[i].max(LEAST_WEIGHT);
            for (sums, apart) in self.sums.iter_mut().zip(&mut self.apart) {
                apart[i] += sums[i] * gain;
                sums[i] = 0.0;
            }
            self.weights[i] = 0.0;
            self.gains[i] = 1.0;
        }
    }

    /// What was set apart at output frame `at`.
    pub(super) fn apart(&self, channel: usize, at: i64) -> f32 {
        self.apart[channel][self.index(at)]
    }

    /// From what was set apart at output frames `at..at + len` to what is added there, which takes
    /// over within the frames `over` of them.
    pub(super) fn cross(
        &mut self,
        at: i64,
        len: usize,
        over: std::ops::Range<usize>,
        like: &Likeness,
    ) {
        let first = self.index(at);
        for i in 0..len {
            let part = (i as f32 + 0.5 - over.start as f32) / over.len() as f32;
            let (old, new) = like.gains(raised(part.clamp(0.0, 1.0)));
            let i = (first + i) & self.mask;
            self.gains[i] = new;
            self.apart.iter_mut().for_each(|a| a[i] *= old);
        }
    }

    /// Takes output frames `at..at + frames` out of the ring, into every channel of `out` from
    /// `offset` on.
    pub(super) fn take(&mut self, at: i64, frames: usize, out: &mut [Vec<f32>], offset: usize) {
        let mut to = offset;
        for (start, n) in self.runs(at, frames) {
            let weights = &mut self.weights[start..start + n];
            let gains = &mut self.gains[start..start + n];
            let lanes = self.sums.iter_mut().zip(&mut self.apart);
            for ((sums, apart), out) in lanes.zip(out.iter_mut()) {
                let (sums, apart) = (&mut sums[start..start + n], &mut apart[start..start + n]);
                let added = sums.iter().zip(weights.iter()).zip(gains.iter());
                let sounds = added.zip(apart.iter());
                for (o, (((sum, weight), gain), apart)) in out[to..to + n].iter_mut().zip(sounds) {
                    *o = sum / weight.max(LEAST_WEIGHT) * gain + apart;
                }
                sums.fill(0.0);
                apart.fill(0.0);
            }
            weights.fill(0.0);
            gains.fill(1.0);
            to += n;
        }
    }

    /// Forgets all that was added and not taken: from output frame `at` on.
    pub(super) fn clear(&mut self, at: i64) {
        let len = (self.end - at).clamp(0, self.mask as i64 + 1) as usize;
        for (start, n) in self.runs(at, len) {
            self.weights[start..start + n].fill(0.0);
            self.gains[start..start + n].fill(1.0);
            for lane in self.sums.iter_mut().chain(&mut self.apart) {
                lane[start..start + n].fill(0.0);
            }
        }
        self.end = at;
    }
}
