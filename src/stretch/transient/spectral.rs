//! Soft plucks: new partials among ringing ones.
//!
//! A string plucked softly, or a bass under a ringing melody, hardly lifts the energy of a band;
//! but partials appear where there were none. The spectrum is read in bands a semitone wide, and
//! what each one gains over itself and its neighbours a moment earlier is summed: neighbours,
//! because a bent or trembling string wanders into the next band and is no pluck (the maximum
//! filter of Böck and Widmer, "Maximum filter vibrato suppression for onset detection", DAFx 2013,
//! from memory).

use crate::dsp::spectrum::Spectrum;
use crate::recording::Recording;

/// Length of the window, milliseconds, rounded to a power of two; four windows overlap. In a
/// shorter one the partials of a low string beat, and each beat would look like a pluck.
const WINDOW: f64 = 46.4;
const OVERLAP: usize = 4;
/// Hops between the two spectra that are compared.
const LAG: usize = 2;
/// Centres of the lowest and the highest band, Hz.
const LOWEST: f64 = 80.0;
const HIGHEST: f64 = 12_000.0;
/// Level under which a band is silent, dB against the loudest hundredth of moments.
const FLOOR: f32 = 1e-6;
/// Most that a band's gain counts, dB.
const MOST: f32 = 12.0;
/// Mean gain (dB) over its median nearby that makes a pluck, how many times the median it must be
/// over that (what gains by chance all the time is noise), and how far near is, milliseconds.
/// Tuned on synthesised and sampled phrases (seeds 401, 901, 77, 420 and 11 to 14).
const PLUCK: f32 = 0.8;
const TIMES: f32 = 1.5;
const NEARBY: f64 = 100.0;
/// Least distance of two plucks, milliseconds.
const APART: f64 = 25.0;

/// Frames at which partials appear, ascending, each within some milliseconds.
pub(super) fn plucks(recording: &Recording, go_on: &mut dyn FnMut() -> bool) -> Option<Vec<usize>> {
    let rate = f64::from(recording.rate());
    let len = (WINDOW * rate / 1000.0).max(16.0).log2().round().exp2() as usize;
    let hop = len / OVERLAP;
    let levels = Levels::of(recording, len, hop, go_on)?;
    let gains = levels.gains();
    let hops = |ms: f64| ((ms * rate / 1000.0 / hop as f64).round() as usize).max(1);
    let stands_out = over_median(&gains, hops(NEARBY));
    // A gain is greatest when the onset lies between the two spectra.
    let between = LAG * hop / 2;
    let found = peaks(&stands_out, PLUCK, hops(APART));
    let frame = |k: usize| (k * hop).saturating_sub(between);
    Some(found.into_iter().map(frame).collect())
}

/// Band levels in dB, moment by moment.
struct Levels {
    bands: usize,
    levels: Vec<f32>,
}

impl Levels {
    fn of(
        recording: &Recording,
        len: usize,
        hop: usize,
        go_on: &mut dyn FnMut() -> bool,
    ) -> Option<Self> {
        let edges = edges(f64::from(recording.rate()), len);
        let bands = edges.len().saturating_sub(2);
        // No window looks past the end: sound that is cut off there would look like a click.
        let moments = recording.frames().saturating_sub(len / 2) / hop + 1;
        let mut spectrum = Spectrum::new(len, len);
        let mut power = vec![0.0f32; spectrum.bins()];
        let mut sum = vec![0.0f32; spectrum.bins()];
        let mut levels = Vec::with_capacity(bands * moments);
        for moment in 0..moments {
            if moment.is_multiple_of(16) && !go_on() {
                return None;
            }
            let start = (moment * hop) as isize - (len / 2) as isize;
            sum.fill(0.0);
            for samples in recording.channels() {
                spectrum.powers(samples, start, &mut power);
                sum.iter_mut().zip(&power).for_each(|(s, p)| *s += p);
            }
            levels.extend(edges.windows(3).map(|e| triangle(&sum, e[0], e[1], e[2])));
        }
        let mut loudest: Vec<f32> = levels
            .chunks_exact(bands.max(1))
            .map(|row| row.iter().copied().fold(0.0, f32::max))
            .collect();
        let top = if loudest.is_empty() {
            0.0
        } else {
            let at = (loudest.len() - 1) * 99 / 100;
            *loudest.select_nth_unstable_by(at, f32::total_cmp).1
        };
        let floor = (top * FLOOR).max(1e-20);
        for level in &mut levels {
            *level = 10.0 * (*level + floor).log10();
        }
        Some(Self { bands, levels })
    }

    /// Mean gain of the bands at each moment, dB.
    fn gains(&self) -> Vec<f32> {
        let n = self.bands;
        if n == 0 {
            return Vec::new();
        }
        let rows: Vec<&[f32]> = self.levels.chunks_exact(n).collect();
        let gain = |k: usize| {
            let Some(before) = k.checked_sub(LAG).map(|j| rows[j]) else {
                return 0.0;
            };
            let sum: f32 = (0..n)
                .map(|b| {
                    let near = &before[b.saturating_sub(1)..(b + 2).min(n)];
                    let most = near.iter().copied().fold(f32::MIN, f32::max);
                    (rows[k][b] - most).clamp(0.0, MOST)
                })
                .sum();
            sum / n as f32
        };
        (0..rows.len()).map(gain).collect()
    }
}

/// Bins of the bands' centres: semitones, or every bin where they are wider than that.
fn edges(rate: f64, len: usize) -> Vec<usize> {
    let per_bin = rate / len as f64;
    let top = HIGHEST.min(0.45 * rate);
    let semitones = (12.0 * (top / LOWEST).log2()).max(0.0) as usize;
    let mut edges: Vec<usize> = (0..=semitones)
        .map(|i| (LOWEST * (i as f64 / 12.0).exp2() / per_bin).round() as usize)
        .filter(|&bin| bin > 0)
        .collect();
    edges.dedup();
    edges
}

/// Power in a triangle of bins from `low` over `centre` to `high`, as a mean.
fn triangle(power: &[f32], low: usize, centre: usize, high: usize) -> f32 {
    let mut sum = 0.0;
    let mut mass = 0.0;
    for (bin, p) in power.iter().enumerate().take(high).skip(low + 1) {
        let w = if bin <= centre {
            (bin - low) as f32 / (centre - low) as f32
        } else {
            (high - bin) as f32 / (high - centre) as f32
        };
        sum += w * p;
        mass += w;
    }
    sum / mass.max(1e-9)
}

/// Each value less [`TIMES`] the median of those within `reach`.
fn over_median(values: &[f32], reach: usize) -> Vec<f32> {
    let mut near = Vec::with_capacity(2 * reach + 1);
    (0..values.len())
        .map(|k| {
            near.clear();
            near.extend_from_slice(
                &values[k.saturating_sub(reach)..(k + reach + 1).min(values.len())],
            );
            let middle = near.len() / 2;
            values[k] - TIMES * *near.select_nth_unstable_by(middle, f32::total_cmp).1
        })
        .collect()
}

/// Greatest values above `least` within `apart` on either side.
pub(super) fn peaks(values: &[f32], least: f32, apart: usize) -> Vec<usize> {
    let mut found: Vec<usize> = Vec::new();
    for (k, &v) in values.iter().enumerate() {
        if v <= least {
            continue;
        }
        match found.last_mut() {
            Some(last) if k - *last <= apart => {
                if v > values[*last] {
                    *last = k;
                }
            }
            _ => found.push(k),
        }
    }
    found
}
