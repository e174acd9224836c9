//! Pairs: two partials so close in frequency that one peak shows both.
//!
//! Under one turn a pair's beat would be copied at its own pace from every frame, each a little
//! late against the next, and blur. Frames that overlap much are snapshots of one sum of two
//! (damped) exponentials: the bins around the peak obey x(t) = a·x(t−D) + b·x(t−2D), and the roots
//! of z² = a·z + b are the two partials (linear prediction after Prony, solved for all bins and
//! channels by least squares). Each then goes on by its own frequency, with its own turn: both
//! pitches, and their beat, stay as recorded. Only full windows are looked at, and only what
//! several frames agree on is taken for a pair; a bend or a vibrato never is.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::peaks::{Peak, Peaks};
use super::phase::{narrow, turn, wide, wrap};
use super::spectra::Spectra;
use realfft::num_complex::{Complex32, Complex64};
use std::f64::consts::{PI, TAU};

/// Earlier frames that are kept, the newest first.
pub(super) const EARLIER: usize = 4;
/// Bins on either side of a pair's middle that are read, and that are put right.
const READ: usize = 3;
const REACH: usize = 6;
const TOUCHED: usize = 2 * REACH + 1;
/// Most pairs of one frame.
const MOST: usize = 24;
/// Distance in the recording, as a part of the longest window, between the frames compared.
const LAG: f64 = 0.085;
/// How far apart two partials are, bins: nearer ones beat so slowly that one turn serves both,
/// farther ones have peaks of their own.
const APART: std::ops::Range<f64> = 0.45..3.7;
/// Farthest from the middle, bins.
const MOST_OFF: f64 = 2.5;
/// Weaker peaks (power against the strongest, −50 dB) are not looked at.
const WEAKEST: f32 = 1e-5;
/// Share of the power that two partials leave unexplained: at most, to begin (−30 dB) and to go
/// on (−24 dB). One partial must leave ten times as much.
const LEAVES: (f64, f64) = (1e-3, 4e-3);
/// The same of a frame's bins, from its two partials' shapes (−20 dB).
const MISFIT: f64 = 1e-2;
/// A partial grows and decays at most this much over [`LAG`], natural logarithm.
const GROWTH: f64 = 0.1;
const DECAY: f64 = 0.3;
/// Frames agree on a pair when neither frequency moves more than this (bins), and so often.
const AGREE: f64 = 0.08;
const SURE: u32 = 2;
/// Share of the newest reading in a pair's smoothed frequencies and decays.
const SMOOTHING: f64 = 0.3;

/// One of two partials.
#[derive(Debug, Clone, Copy, Default)]
struct Partial {
    /// Radians a frame.
    omega: f64,
    /// Natural logarithm of its growth a frame.
    growth: f64,
    /// Its turn.
    theta: f64,
}

#[derive(Debug, Clone, Copy)]
struct Pair {
    /// The bin in its middle.
    bin: usize,
    /// Ascending in frequency.
    partials: [Partial; 2],
    /// Frames that agreed on it.
    agreed: u32,
    /// Bins that are put right: the peaks' own.
    from: usize,
    to: usize,
    /// What the weaker partial turns more than the peaks do, less 1, as the window shows it around
    /// the middle.
    shape: [Complex32; TOUCHED],
}

/// A frame and those before it, as a pair is sought in them.
struct Frames<'a> {
    new: &'a Spectra,
    /// The one right before.
    old: &'a Spectra,
    /// Two lags and one lag before, see [`LAG`].
    lagged: [&'a Spectra; 2],
    /// How far it moved in the output and in the recording.
    du: f64,
    dt: f64,
}

/// What two partials came to in the last three frames.
struct Reading {
    omega: [f64; 2],
    growth: [f64; 2],
    single: f64,
    double: f64,
}

/// The pairs of the frame at hand.
pub(super) struct Pairs {
    now: Vec<Pair>,
    before: Vec<Pair>,
    /// Amplitude of the weaker partial, a pair and channel.
    amplitudes: Vec<Complex32>,
    channels: usize,
    size: usize,
    /// Full frames in a row, this one included.
    run: usize,
}

impl Pairs {
    #[allow(
        clippy::disallowed_methods,
        reason = "made before the audio thread runs"
    )]
    pub(super) fn new(size: usize, channels: usize) -> Self {
        Self {
            now: Vec::with_capacity(MOST),
            before: Vec::with_capacity(MOST),
            amplitudes: Vec::with_capacity(MOST * channels),
            channels,
            size,
            run: 0,
        }
    }

    /// No pairs in this frame. `full` when it continues a leg and its window is the longest.
    pub(super) fn begin(&mut self, full: bool) {
        std::mem::swap(&mut self.now, &mut self.before);
        self.now.clear();
        self.amplitudes.clear();
        self.run = if full { self.run + 1 } else { 0 };
    }

    /// Finds the pairs among the peaks of `new`, whose turns are set and whose bins have `power`;
    /// `earlier` are the frames before, the newest first.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    pub(super) fn find(&mut self, new: &mut Spectra, earlier: [&Spectra; EARLIER], power: &[f32]) {
        let dt = (new.t - earlier[0].t) as f64;
        if self.run < 3 || dt < 1.0 {
            return;
        }
        let lag = ((LAG * self.size as f64 / dt).round() as usize).clamp(1, EARLIER / 2);
        if self.run <= 2 * lag {
            return;
        }
        let mut peaks = std::mem::take(&mut new.peaks);
        let before = std::mem::take(&mut self.before);
        let frames = Frames {
            new: &*new,
            old: earlier[0],
            lagged: [earlier[2 * lag - 1], earlier[lag - 1]],
            du: (new.u - earlier[0].u) as f64,
            dt,
        };
        for pair in &before {
            self.try_at(pair.bin, Some(pair), &frames, &mut peaks);
        }
        let least = WEAKEST * power.iter().fold(0.0f32, |a, &b| a.max(b));
        for i in 0..peaks.all().len() {
            let bin = peaks.all()[i].bin;
            // Two peaks may be one pair's.
            let next = peaks
                .all()
                .get(i + 1)
                .map(|p| p.bin)
                .filter(|b| b - bin <= 4);
            let tries = [Some(bin), next.map(|b| u32::midpoint(bin, b))];
            for at in tries.into_iter().flatten().map(|b| b as usize) {
                let free = !self.now.iter().any(|p| p.bin.abs_diff(at) <= READ);
                if power[bin as usize] >= least && free {
                    self.try_at(at, None, &frames, &mut peaks);
                }
            }
        }
        new.peaks = peaks;
        self.before = before;
    }

    /// Takes what lies around `bin` for a pair where it is one, the `known` one of the frame before or
    /// a new one, and gives its stronger partial's turn to `peaks`, those of the new frame.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    fn try_at(&mut self, bin: usize, known: Option<&Pair>, frames: &Frames, peaks: &mut Peaks) {
        if self.now.len() == MOST || bin < 2 * REACH || bin + 2 * REACH > self.size / 2 {
            return;
        }
        let per_bin = TAU / self.size as f64;
        let Some(found) = self.read(bin, frames) else {
            return;
        };
        let apart = (found.omega[1] - found.omega[0]) / per_bin;
        let fits = match known {
            Some(_) => found.double < LEAVES.1,
            None => found.double < LEAVES.0 && found.single > 10.0 * found.double,
        };
        let far = |o: &f64| (o / per_bin - bin as f64).abs() > MOST_OFF;
        if !fits || !APART.contains(&apart) || found.omega.iter().any(far) {
            return;
        }
        // Where no pair was, both begin with the turn of what was there.
        let was = frames.old.peaks.all();
        let i = was.partition_point(|p| p.end as usize <= bin);
        let theta = was.get(i).map_or(0.0, |p| p.theta);
        let mut partials = [0, 1].map(|i| Partial {
            omega: found.omega[i],
            growth: found.growth[i],
            theta,
        });
        let mut agreed = 0;
        if let Some(known) = known {
            for (p, k) in partials.iter_mut().zip(&known.partials) {
                if (p.omega - k.omega).abs() > AGREE * per_bin {
                    return;
                }
                p.omega = k.omega + SMOOTHING * (p.omega - k.omega);
                p.growth = k.growth + SMOOTHING * (p.growth - k.growth);
                if known.agreed >= SURE {
                    p.theta = k.theta;
                }
            }
            agreed = known.agreed + 1;
        }
        for p in &mut partials {
            p.theta = wrap(p.theta + p.omega * (frames.du - frames.dt));
        }
        let shapes = partials.map(|p| shape(&p, bin, self.size));
        let first = self.amplitudes.len();
        let Some(strength) = self.measure(bin, frames.new, &shapes) else {
            return;
        };
        let strong = usize::from(strength[1] > strength[0]);
        self.keep_weaker(first, 1 - strong);
        let mut pair = Pair {
            bin: ((partials[0].omega + partials[1].omega) / (2.0 * per_bin)).round() as usize,
            partials,
            agreed,
            from: self.size,
            to: 0,
            shape: [Complex32::default(); TOUCHED],
        };
        if agreed >= SURE {
            claim(peaks, bin, &partials[strong], &mut pair);
            let weak = &partials[1 - strong];
            let more = turn(weak.theta as f32) - turn(partials[strong].theta as f32);
            for (out, w) in pair.shape.iter_mut().zip(&shapes[1 - strong]) {
                *out = narrow(*w) * more;
            }
        }
        // Corrections lie around the bin they were worked out for.
        pair.from = pair.from.max(bin - REACH);
        pair.to = pair.to.min(bin + REACH + 1);
        let shift = bin as isize - pair.bin as isize;
        if shift != 0 {
            shifted(&mut pair.shape, shift);
        }
        self.now.push(pair);
    }

    /// The two partials that three frames show around `bin`.
    fn read(&self, bin: usize, frames: &Frames) -> Option<Reading> {
        let per_bin = TAU / self.size as f64;
        let ([x0, x1], new) = (frames.lagged, frames.new);
        let (first, second) = ((x1.t - x0.t) as f64, (new.t - x1.t) as f64);
        if (first - second).abs() > 2.0 {
            return None;
        }
        let dot = |x: &Spectra, y: &Spectra| -> Complex64 {
            let channels = x.bins.iter().zip(&y.bins);
            let bins = channels.flat_map(|(x, y)| {
                let read = bin - READ..=bin + READ;
                x[read.clone()].iter().zip(&y[read])
            });
            bins.map(|(x, y)| wide(*x).conj() * wide(*y)).sum()
        };
        // Products of the frames, each set back by what its bin's frequency would have turned.
        let back = |frames: f64| Complex64::cis(-wrap(per_bin * bin as f64 * frames));
        let (p0, p1, p2) = (dot(x0, x0).re, dot(x1, x1).re, dot(new, new).re);
        let p10 = dot(x1, x0) * back(first).conj();
        let p12 = dot(x1, new) * back(second);
        let p02 = dot(x0, new) * back(first + second);
        if p0 <= 0.0 || p1 <= 0.0 || p2 <= 0.0 {
            return None;
        }
        let det = p1 * p0 - p10.norm_sqr();
        if det <= 1e-9 * p1 * p0 {
            return None;
        }
        let a = (p12 * p0 - p10 * p02) / det;
        let b = (p02 * p1 - p10.conj() * p12) / det;
        let single = 1.0 - p12.norm_sqr() / (p1 * p2);
        let double = 1.0 - (a.conj() * p12 + b.conj() * p02).re / p2;
        let root = (a * a * 0.25 + b).sqrt();
        let z = [a * 0.5 + root, a * 0.5 - root];
        let span = LAG * self.size as f64;
        let growth = z.map(|z| z.norm().max(1e-9).ln() / second);
        if growth
            .iter()
            .any(|g| !(-DECAY..=GROWTH).contains(&(g * span)))
        {
            return None;
        }
        let omega = z.map(|z| per_bin * bin as f64 + z.arg() / second);
        let swap = omega[0] > omega[1];
        let order = |v: [f64; 2]| if swap { [v[1], v[0]] } else { v };
        Some(Reading {
            omega: order(omega),
            growth: order(growth),
            single,
            double,
        })
    }

    /// Amplitudes of two partials in each channel, by least squares over the bins around `bin`:
    /// adds both of each channel, and tells the power of each. None where they do not fit.
    #[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
    fn measure(
        &mut self,
        bin: usize,
        new: &Spectra,
        shapes: &[[Complex64; TOUCHED]; 2],
    ) -> Option<[f64; 2]> {
        let near = [0, 1].map(|i| &shapes[i][REACH - READ..=REACH + READ]);
        let dot = |x: &[Complex64], y: &[Complex64]| -> Complex64 {
            x.iter().zip(y).map(|(x, y)| x.conj() * y).sum()
        };
        let (g0, g1) = (dot(near[0], near[0]).re, dot(near[1], near[1]).re);
        let g = dot(near[0], near[1]);
        let det = g0 * g1 - g.norm_sqr();
        if det <= 1e-9 * g0 * g1 {
            return None;
        }
        let first = self.amplitudes.len();
        let (mut power, mut left, mut strength) = (0.0, 0.0, [0.0; 2]);
        for bins in &new.bins {
            let mut x = [Complex64::default(); 2 * READ + 1];
            for (x, b) in x.iter_mut().zip(&bins[bin - READ..=bin + READ]) {
                *x = wide(*b);
            }
            let (h0, h1) = (dot(near[0], &x), dot(near[1], &x));
            let c = [(h0 * g1 - g * h1) / det, (h1 * g0 - g.conj() * h0) / det];
            for (i, x) in x.iter().enumerate() {
                power += x.norm_sqr();
                left += (x - c[0] * near[0][i] - c[1] * near[1][i]).norm_sqr();
            }
            for (s, c) in strength.iter_mut().zip(&c) {
                *s += c.norm_sqr();
                self.amplitudes.push(narrow(*c));
            }
        }
        if left > MISFIT * power {
            self.amplitudes.truncate(first);
            return None;
        }
        Some(strength)
    }

    /// Of the amplitudes from `first` on, two a channel, keeps those of partial `which`.
    fn keep_weaker(&mut self, first: usize, which: usize) {
        for channel in 0..self.channels {
            self.amplitudes[first + channel] = self.amplitudes[first + 2 * channel + which];
        }
        self.amplitudes.truncate(first + self.channels);
    }

    /// Gives the weaker partials of `channel` their own turn in `out`, whose peaks are turned.
    pub(super) fn put_right(&self, channel: usize, out: &mut [Complex32]) {
        for (i, pair) in self
            .now
            .iter()
            .enumerate()
            .filter(|(_, p)| p.agreed >= SURE)
        {
            let amplitude = self.amplitudes[i * self.channels + channel];
            let first = pair.bin - REACH;
            let from = pair.from.max(first);
            let to = pair.to.min(first + TOUCHED);
            if from < to {
                let shape = &pair.shape[from - first..to - first];
                for (o, s) in out[from..to].iter_mut().zip(shape) {
                    *o += amplitude * s;
                }
            }
        }
    }
}

/// Gives the peaks around `bin` the turn of the pair's `stronger` partial, and the pair their bins.
fn claim(peaks: &mut Peaks, bin: usize, stronger: &Partial, pair: &mut Pair) {
    let mut start = 0;
    let own = |p: &Peak| (p.bin as usize).abs_diff(bin) <= 2;
    for peak in peaks.all_mut() {
        if own(peak) {
            peak.theta = stronger.theta;
            peak.omega = stronger.omega;
            peak.steady = stronger.omega;
            pair.from = pair.from.min(start);
            pair.to = pair.to.max(peak.end as usize);
        }
        start = peak.end as usize;
    }
}

/// What the longest window shows of a partial of amplitude 1 in the bins around `bin`: the Hann
/// window's transform ½N·sinc(z)/(1 − z²) at z bins, complex where the partial decays.
fn shape(partial: &Partial, bin: usize, size: usize) -> [Complex64; TOUCHED] {
    let bins = size as f64 / TAU;
    let middle = Complex64::new(partial.omega * bins - bin as f64, -partial.growth * bins);
    let sine = (middle * PI).sin();
    let half = 0.5 * size as f64;
    let mut out = [Complex64::default(); TOUCHED];
    for (i, out) in out.iter_mut().enumerate() {
        let off = i as f64 - REACH as f64;
        let z = middle - off;
        let sine = if i % 2 == REACH % 2 { sine } else { -sine };
        *out = if z.norm() < 1e-4 {
            Complex64::new(half, 0.0)
        } else if (z * z - 1.0).norm() < 1e-4 {
            Complex64::new(0.5 * half, 0.0)
        } else {
            sine / (z * PI * (Complex64::new(1.0, 0.0) - z * z)) * half
        };
    }
    out
}

/// Moves `shape` so that its entry `i` is what was entry `i − shift`, nothing beyond its ends.
fn shifted(shape: &mut [Complex32; TOUCHED], shift: isize) {
    let was = *shape;
    for (i, s) in shape.iter_mut().enumerate() {
        let from = i as isize - shift;
        *s = usize::try_from(from)
            .ok()
            .and_then(|j| was.get(j).copied())
            .unwrap_or_default();
    }
}
