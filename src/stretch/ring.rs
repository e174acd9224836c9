//! Overlap-add: a ring of sums and of the weights that went into them.
//!
//! Every contribution is added with its weight, and an output sample is the sum over the weight:
//! the windows actually summed, not a constant. A sample that only a copy at full weight went
//! into comes out as it went in, bit for bit.

/// Weight below which an output sample fades out rather than being scaled up.
const LEAST_WEIGHT: f32 = 0.02;

/// Sums by output frame, a power of two long.
pub(super) struct Ring {
    sums: Vec<Vec<f32>>,
    weights: Vec<f32>,
    mask: usize,
}

impl Ring {
    /// A ring of at least `frames` frames for `channels` channels.
    pub(super) fn new(channels: usize, frames: usize) -> Self {
        let len = frames.next_power_of_two();
        Self {
            sums: vec![vec![0.0; len]; channels],
            weights: vec![0.0; len],
            mask: len - 1,
        }
    }

    /// The one or two runs of the ring that output frames `at..at + len` lie in.
    fn runs(&self, at: i64, len: usize) -> [(usize, usize); 2] {
        let first = at.rem_euclid(self.mask as i64 + 1) as usize;
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
        for (start, n) in self.runs(at, len) {
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
        for (start, n) in self.runs(at, samples.len()) {
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
        for (start, n) in self.runs(at, len) {
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
        let first = at.rem_euclid(self.mask as i64 + 1) as usize;
        for i in 0..len {
            self.weights[(first + i) & self.mask] += weight(i);
        }
        for (channel, sums) in self.sums.iter_mut().enumerate() {
            for i in 0..len {
                sums[(first + i) & self.mask] += weight(i) * sample(channel, i);
            }
        }
    }

    /// Takes output frames `at..at + frames` out of the ring, into every channel of `out` from
    /// `offset` on.
    pub(super) fn take(&mut self, at: i64, frames: usize, out: &mut [Vec<f32>], offset: usize) {
        let mut to = offset;
        for (start, n) in self.runs(at, frames) {
            let weights = &mut self.weights[start..start + n];
            for (sums, out) in self.sums.iter_mut().zip(out.iter_mut()) {
                let sums = &mut sums[start..start + n];
                for ((o, sum), weight) in out[to..to + n].iter_mut().zip(sums.iter()).zip(&*weights)
                {
                    *o = sum / weight.max(LEAST_WEIGHT);
                }
                sums.fill(0.0);
            }
            weights.fill(0.0);
            to += n;
        }
    }

    /// Forgets everything.
    pub(super) fn clear(&mut self) {
        self.weights.fill(0.0);
        self.sums.iter_mut().for_each(|s| s.fill(0.0));
    }
}
