//! The network that hears beats in notes.
//!
//! Owns the way from notes to what is believed of every instant: is a beat here, a downbeat, how
//! long is the beat, which meter. It reads notes, never sound, and decides
//! nothing: which beats there are is decoded from this in `hsmm`.
//!
//! A stack of dilated convolutions over frames of 20 ms (the idea: Davies & Böck 2019, temporal
//! convolutional networks for beat tracking, from memory; there on sound). Trained by
//! `xtask/train/beats`, which says on what.

mod frames;

use super::priors;
use crate::music::note::Note;
use crate::parallel;
use crate::stop;
use std::sync::LazyLock;

pub(crate) use frames::RATE;
use frames::{FEATURES, Frames};

/// Channels of every layer but the first and last.
const WIDTH: usize = 64;
/// Frames that one convolution sees.
const TAPS: usize = 5;
/// Layers, each reaching twice as far as the one before: a minute and a half in all.
const BLOCKS: usize = 11;
/// Classes of the beat's length: 0.25 s to 1.83 s in steps of an eighth of an octave.
pub(crate) const TEMPI: usize = 24;
/// The shortest class (s), and classes an octave.
pub(crate) const SHORTEST: f64 = 0.25;
pub(crate) const AN_OCTAVE: f64 = 8.0;
/// Meters that are told apart: 2/4, 3/4, 4/4, 5/4, 7/4, 6/8, 9/8, 12/8.
pub(crate) const METERS: usize = 8;
const OUTPUTS: usize = 2 + TEMPI + METERS;

const BYTES: &[u8] = include_bytes!("beat_net/beats.f16");
const COUNT: usize = (FEATURES * TAPS + 1) * WIDTH
    + BLOCKS * ((WIDTH * TAPS + 1) * WIDTH + (WIDTH + 1) * WIDTH)
    + (WIDTH + 1) * OUTPUTS;
const _: () = assert!(
    BYTES.len() == 2 * COUNT,
    "beats.f16 does not fit this network"
);

/// The least that may be said of a length, nats.
const LEAST: f32 = -7.0;

/// What is believed of every frame of a recording.
#[derive(Debug, Clone, Default)]
pub(crate) struct Belief {
    /// Instant of the first frame, seconds; frames follow at [`RATE`].
    pub start: f64,
    /// Log-odds of a beat here.
    pub beat: Vec<f32>,
    /// Log-odds of a downbeat here.
    pub down: Vec<f32>,
    /// Sums, up to each frame, of the log-probability of each class of the beat's length.
    tempo: Vec<[f64; TEMPI]>,
    /// Log-probability of each meter.
    pub meter: Vec<[f32; METERS]>,
}

/// What is believed of a recording with these notes, in order of time; nothing where there are
/// none, or most are without a pitch.
pub(crate) fn believe(notes: &[Note]) -> Belief {
    let pitched = notes.iter().filter(|n| n.pitch.is_some()).count();
    if pitched * 2 < notes.len() {
        // It learned from notes whose pitch is known.
        return Belief::default();
    }
    let frames = Frames::read(notes);
    let n = frames.rows.len();
    let mut belief = Belief {
        start: frames.start,
        tempo: vec![[0.0; TEMPI]],
        ..Belief::default()
    };
    let net = &*NET;
    let mut x = net.first.over(&frames.rows, 1);
    for (wide, mix) in &net.blocks {
        let mut inner = wide.0.over(&x, wide.1);
        inner.iter_mut().flatten().for_each(elu);
        for (x, y) in x.iter_mut().zip(mix.over(&inner, 1)) {
            x.iter_mut().zip(y).for_each(|(x, y)| *x += y);
        }
    }
    x.iter_mut().flatten().for_each(elu);
    belief.beat.reserve(n);
    for out in net.last.over(&x, 1) {
        let (scalars, classes) = out.split_at(2);
        let (tempo, meter) = classes.split_at(TEMPI);
        belief.beat.push(scalars[0]);
        belief.down.push(scalars[1]);
        let before = belief.tempo[belief.tempo.len() - 1];
        let here = log_softmax::<TEMPI>(tempo);
        belief.tempo.push(std::array::from_fn(|c| {
            before[c] + f64::from(here[c].max(LEAST)) / RATE
        }));
        belief.meter.push(log_softmax(meter));
    }
    belief
}

impl Belief {
    fn frame(&self, time: f64) -> f64 {
        ((time - self.start) * RATE).clamp(0.0, self.beat.len().saturating_sub(1) as f64)
    }

    /// Log-odds of a beat at `time` against those of any instant, at most `most` either way.
    pub fn beat_at(&self, time: f64, most: f64) -> f64 {
        let at = self.frame(time);
        let (k, share) = (at as usize, at.fract());
        let Some(&here) = self.beat.get(k) else {
            return 0.0;
        };
        let next = self.beat.get(k + 1).unwrap_or(&here);
        let odds = f64::from(here) * (1.0 - share) + f64::from(*next) * share;
        (odds - priors::ANY).clamp(-most, most)
    }

    /// Probability of a beat within 20 ms of `time`; even where nothing is believed.
    pub fn beat_share(&self, time: f64) -> f64 {
        if self.beat.is_empty() {
            return 0.5;
        }
        let k = self.frame(time).round() as usize;
        let (from, to) = (k.saturating_sub(1), (k + 2).min(self.beat.len()));
        let near = self.beat.get(from..to).unwrap_or(&[]);
        let top = near.iter().copied().fold(f32::MIN, f32::max);
        1.0 / (1.0 + f64::from(-top).exp())
    }

    /// Log-probability of a beat's length `to - from` between these instants, times seconds.
    pub fn length(&self, from: f64, to: f64) -> f64 {
        let class = ((to - from) / SHORTEST).log2() * AN_OCTAVE;
        let class = class.clamp(0.0, TEMPI as f64 - 1.001);
        let (k, share) = (class as usize, class.fract());
        let (a, b) = (self.frame(from) as usize, self.frame(to) as usize);
        let (Some(a), Some(b)) = (self.tempo.get(a), self.tempo.get(b)) else {
            return 0.0;
        };
        (b[k] - a[k]) * (1.0 - share) + (b[k + 1] - a[k + 1]) * share
    }

    /// Probability that a beat at `time` is a downbeat.
    pub fn downbeat(&self, time: f64) -> f64 {
        if self.beat.is_empty() {
            return 0.5;
        }
        let k = self.frame(time).round() as usize;
        let near = |odds: &[f32]| {
            let (from, to) = (k.saturating_sub(1), (k + 2).min(odds.len()));
            let top = odds
                .get(from..to)
                .unwrap_or(&[])
                .iter()
                .copied()
                .fold(f32::MIN, f32::max);
            1.0 / (1.0 + f64::from(-top).exp())
        };
        let (beat, down) = (near(&self.beat).max(0.02), near(&self.down));
        (down / beat).clamp(0.02, 0.98)
    }

    /// Mean log-probability of each meter between two instants.
    pub fn meters(&self, from: f64, to: f64) -> [f64; METERS] {
        let (a, b) = (self.frame(from) as usize, self.frame(to) as usize + 1);
        let rows = self.meter.get(a..b.min(self.meter.len())).unwrap_or(&[]);
        if rows.is_empty() {
            return [0.0; METERS];
        }
        std::array::from_fn(|m| {
            rows.iter().map(|r| f64::from(r[m])).sum::<f64>() / rows.len() as f64
        })
    }
}

fn elu(x: &mut f32) {
    if *x < 0.0 {
        *x = x.exp_m1();
    }
}

fn log_softmax<const N: usize>(values: &[f32]) -> [f32; N] {
    let top = values.iter().copied().fold(f32::MIN, f32::max);
    let sum: f32 = values.iter().map(|v| (v - top).exp()).sum();
    std::array::from_fn(|i| values[i] - top - sum.ln())
}

/// One convolution: `weights[(tap * IN + input) * OUT + output]`.
struct Layer<const IN: usize, const OUT: usize> {
    taps: usize,
    weights: Vec<[f32; OUT]>,
    bias: [f32; OUT],
}

/// Frames that one thread works on at a time.
const CHUNK: usize = 1024;

impl<const IN: usize, const OUT: usize> Layer<IN, OUT> {
    /// Reads (output, input, tap) and biases.
    fn read(values: &mut impl Iterator<Item = f32>, taps: usize) -> Self {
        let mut weights = vec![[0.0; OUT]; taps * IN];
        let places =
            (0..OUT).flat_map(|o| (0..IN).flat_map(move |i| (0..taps).map(move |t| (o, i, t))));
        for (output, input, tap) in places {
            weights[tap * IN + input][output] = values.next().unwrap_or(0.0);
        }
        let bias = std::array::from_fn(|_| values.next().unwrap_or(0.0));
        Self {
            taps,
            weights,
            bias,
        }
    }

    /// The layer over all rows, its taps `apart` frames from each other; nothing outside.
    fn over(&self, rows: &[[f32; IN]], apart: usize) -> Vec<[f32; OUT]> {
        let starts: Vec<usize> = (0..rows.len()).step_by(CHUNK).collect();
        let reach = (self.taps / 2) * apart;
        parallel::map(&starts, |&from| {
            let to = (from + CHUNK).min(rows.len());
            let mut out = vec![self.bias; to - from];
            for (tap, weights) in self.weights.chunks_exact(IN).enumerate() {
                stop::check();
                for (k, out) in (from..to).zip(&mut out) {
                    let Some(row) = (k + tap * apart)
                        .checked_sub(reach)
                        .and_then(|i| rows.get(i))
                    else {
                        continue;
                    };
                    for (x, weights) in row.iter().zip(weights) {
                        if *x != 0.0 {
                            out.iter_mut().zip(weights).for_each(|(o, w)| *o += x * w);
                        }
                    }
                }
            }
            out
        })
        .concat()
    }
}

struct Net {
    first: Layer<FEATURES, WIDTH>,
    /// A wide layer with the distance of its taps, and one that mixes its channels.
    blocks: Vec<((Layer<WIDTH, WIDTH>, usize), Layer<WIDTH, WIDTH>)>,
    last: Layer<WIDTH, OUTPUTS>,
}

static NET: LazyLock<Net> = LazyLock::new(|| {
    let mut values = BYTES
        .chunks_exact(2)
        .map(|b| half(u16::from_le_bytes([b[0], b[1]])));
    Net {
        first: Layer::read(&mut values, TAPS),
        blocks: (0..BLOCKS)
            .map(|k| {
                let wide = Layer::read(&mut values, TAPS);
                ((wide, 1 << k), Layer::read(&mut values, 1))
            })
            .collect(),
        last: Layer::read(&mut values, 1),
    }
});

/// A half-precision number (IEEE 754 binary16).
fn half(bits: u16) -> f32 {
    let sign = if bits & 0x8000 == 0 { 1.0 } else { -1.0 };
    let (exponent, fraction) = (i32::from(bits >> 10 & 0x1f), f32::from(bits & 0x3ff));
    sign * if exponent == 0 {
        fraction * 2f32.powi(-24)
    } else {
        (1024.0 + fraction) * 2f32.powi(exponent - 25)
    }
}
