//! The engine's own reading of plucks.
//!
//! Finds where strings are plucked from the samples alone, to a fraction of a millisecond, so that
//! the engine has its onset table before any analysis has run. It names no notes.

use super::OnsetTable;
use crate::recording::Recording;
use realfft::RealFftPlanner;

/// Bands an octave apart or less, as edges in Hz (log-spaced from 250 Hz to 15 kHz).
const BANDS: usize = 14;
const LOWEST: f64 = 250.0;
const HIGHEST: f64 = 15_000.0;

/// Reads the plucks of `recording`.
pub fn onsets(recording: &Recording) -> OnsetTable {
    let strength = Strength::of(recording);
    let mut found = Vec::new();
    for k in strength.peaks() {
        let coarse = k * strength.hop;
        found.push(refine(recording, coarse));
    }
    OnsetTable::cleaned(found, recording.frames())
}

struct Strength {
    hop: usize,
    values: Vec<f32>,
}

impl Strength {
    fn of(recording: &Recording) -> Self {
        let rate = f64::from(recording.rate());
        let size = ((rate * 0.005) as usize).next_power_of_two();
        let hop = size / 4;
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let mut time = fft.make_input_vec();
        let mut bins = fft.make_output_vec();
        let mut scratch = fft.make_scratch_vec();
        let window: Vec<f32> = (0..size)
            .map(|i| {
                (std::f32::consts::PI * i as f32 / size as f32)
                    .sin()
                    .powi(2)
            })
            .collect();
        let edges: Vec<usize> = (0..=BANDS)
            .map(|i| {
                let f = LOWEST * (HIGHEST / LOWEST).powf(i as f64 / BANDS as f64);
                ((f * size as f64 / rate).round() as usize).min(size / 2 + 1)
            })
            .collect();
        let frames = recording.frames().div_ceil(hop) + 1;
        let mut bands = vec![0.0f32; frames * BANDS];
        for samples in recording.channels() {
            for (k, out) in bands.chunks_exact_mut(BANDS).enumerate() {
                let from = (k * hop) as i64 - (size / 2) as i64;
                for (i, (t, w)) in time.iter_mut().zip(&window).enumerate() {
                    let at = usize::try_from(from + i as i64).ok();
                    *t = at.and_then(|a| samples.get(a)).map_or(0.0, |s| s * w);
                }
                if fft
                    .process_with_scratch(&mut time, &mut bins, &mut scratch)
                    .is_err()
                {
                    continue;
                }
                for (b, o) in out.iter_mut().enumerate() {
                    let (lo, hi) = (edges[b], edges[b + 1].max(edges[b] + 1).min(bins.len()));
                    *o += bins[lo.min(hi)..hi]
                        .iter()
                        .map(|x| x.norm_sqr())
                        .sum::<f32>();
                }
            }
        }
        Self {
            hop,
            values: rise(&mut bands),
        }
    }

    /// Local maxima that stand out.
    fn peaks(&self) -> Vec<usize> {
        let v = &self.values;
        let reach = 4;
        (0..v.len())
            .filter(|&k| {
                let lo = k.saturating_sub(reach);
                let hi = (k + reach + 1).min(v.len());
                let around = k.saturating_sub(60)..(k + 61).min(v.len());
                let mut sorted: Vec<f32> = v[around].to_vec();
                let middle = sorted.len() / 2;
                let median = *sorted.select_nth_unstable_by(middle, f32::total_cmp).1;
                v[k] > 0.04
                    && v[k] > 4.0 * median
                    && v[lo..k].iter().all(|&x| x < v[k])
                    && v[k + 1..hi].iter().all(|&x| x <= v[k])
            })
            .collect()
    }
}

/// Compressed rise of the bands: mean over bands of max(0, L(k+1) − L(k−1)), L = (E/scale)^0.3.
fn rise(bands: &mut [f32]) -> Vec<f32> {
    let mut scale = [1e-12f32; BANDS];
    for row in bands.chunks_exact(BANDS) {
        for (s, e) in scale.iter_mut().zip(row) {
            *s = s.max(*e);
        }
    }
    let top = scale.iter().copied().fold(0.0, f32::max);
    for row in bands.chunks_exact_mut(BANDS) {
        for (e, s) in row.iter_mut().zip(&scale) {
            *e = (*e / s.max(top * 1e-5)).powf(0.3);
        }
    }
    let frames = bands.len() / BANDS;
    let row = |k: usize| &bands[k * BANDS..(k + 1) * BANDS];
    (0..frames)
        .map(|k| {
            if k == 0 || k + 1 >= frames {
                return 0.0;
            }
            let pairs = row(k + 1).iter().zip(row(k - 1));
            pairs.map(|(a, b)| (a - b).max(0.0)).sum::<f32>() / BANDS as f32
        })
        .collect()
}

/// The frame near `coarse` where the energy of the differenced samples (a high-pass) jumps most:
/// the greatest ratio of the energy in the 1.5 ms after to that in the 1.5 ms before.
fn refine(recording: &Recording, coarse: usize) -> usize {
    let rate = f64::from(recording.rate());
    let reach = (rate * 0.005) as usize;
    let span = (rate * 0.0015) as usize;
    let from = coarse.saturating_sub(reach + span + 2);
    let to = (coarse + reach + span + 2).min(recording.frames());
    let mut energy = vec![0.0f64; to.saturating_sub(from)];
    for samples in recording.channels() {
        let part = &samples[from..to];
        for (e, w) in energy[2..].iter_mut().zip(part.windows(3)) {
            let d = f64::from(w[2] - 2.0 * w[1] + w[0]);
            *e += d * d;
        }
    }
    let mut sums = Vec::with_capacity(energy.len() + 1);
    sums.push(0.0);
    for e in &energy {
        sums.push(sums[sums.len() - 1] + e);
    }
    let total = sums[sums.len() - 1];
    let floor = total / sums.len() as f64 * span as f64 * 0.02 + 1e-18;
    let mut best = (0.0, coarse);
    for i in span..energy.len().saturating_sub(span) {
        let before = sums[i] - sums[i - span] + floor;
        let after = sums[i + span] - sums[i] + floor;
        let ratio = after / before;
        if ratio > best.0 {
            best = (ratio, from + i);
        }
    }
    best.1
}
