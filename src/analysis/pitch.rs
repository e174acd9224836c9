//! Which strings' pitches begin at an onset.
//!
//! Owns the spectrum of what is new (after minus before) and its explanation by plucked-string
//! templates: stiff strings' partials with the window's own main lobe, combined without negative
//! weights (multiplicative updates for the Kullback–Leibler divergence, Lee & Seung 2001, from
//! memory). Whether an onset is a note at all is decided elsewhere.

use super::mono::{RATE, samples};
use crate::dsp::spectrum::Spectrum;
use crate::stop;
use crate::unit::{Cents, MidiNote};

/// Lowest and highest pitch that is looked for: two tones below a low D, and the 24th fret of E4.
pub const LOWEST: i32 = 36;
/// See [`LOWEST`].
pub const HIGHEST: i32 = 88;
/// How many pitches that is.
pub const PITCHES: usize = (HIGHEST - LOWEST + 1) as usize;

/// Window lengths, samples: 46, 93 and 186 ms.
const WINDOWS: [usize; 3] = [1024, 2048, 4096];
/// Points of every spectrum: 5.4 Hz a bin.
const SIZE: usize = 4096;
/// Bins used: 54 Hz to 3.5 kHz.
const FIRST_BIN: usize = 10;
const LAST_BIN: usize = 650;
/// Stiffness B of f_n = n f0 √(1 + B n²); guitar strings lie between 1e-6 and 1e-3
/// (Järveläinen & Karjalainen), most steel ones near this.
const STIFFNESS: f64 = 6e-5;
/// Slopes of the partials' amplitudes a_h = h^−slope: a bright, a plain and a dull pluck.
const SLOPES: [f64; 3] = [0.5, 1.2, 2.5];
/// Iterations of the multiplicative updates.
const ROUNDS: usize = 15;

/// What begins at one onset.
#[derive(Debug, Clone)]
pub struct Newness {
    /// Strength of each pitch from [`LOWEST`] on, in units of signal amplitude.
    pub pitches: Vec<f32>,
    /// Root-sum-square magnitude of what is new, and of all that sounds after.
    pub fresh: f32,
    /// See `fresh`.
    pub after: f32,
    /// Share of what is new that the templates explain, 0 to 1.
    pub explained: f32,
}

impl Newness {
    /// Nothing begins.
    pub fn nothing() -> Self {
        Self {
            pitches: vec![0.0; PITCHES],
            fresh: 0.0,
            after: 0.0,
            explained: 0.0,
        }
    }
}

/// Explains what is new at onsets; made for one offset of the tuning.
pub struct PitchReader {
    views: Vec<View>,
}

struct View {
    spectrum: Spectrum,
    /// `PITCHES * SLOPES` templates of `LAST_BIN − FIRST_BIN` bins, each of sum 1.
    templates: Vec<Vec<f32>>,
    /// Where each template is not zero.
    spans: Vec<Vec<(usize, usize)>>,
}

impl PitchReader {
    /// A reader for a guitar tuned `offset` from A4 = 440 Hz.
    pub fn new(offset: Cents) -> Self {
        let views = WINDOWS
            .iter()
            .map(|window| View::new(*window, offset))
            .collect();
        Self { views }
    }

    /// What is new at `time` (seconds into `mono`) when the sound after it stays free of other
    /// onsets for `gap` seconds.
    pub fn read(&mut self, mono: &[f32], time: f64, gap: f64) -> Newness {
        let room = samples(gap - 0.004).max(0) as usize;
        let best = WINDOWS.iter().rposition(|w| *w <= room).unwrap_or(0);
        stop::check();
        self.views[best].read(mono, time)
    }
}

impl View {
    fn new(window: usize, offset: Cents) -> Self {
        let templates: Vec<Vec<f32>> = (LOWEST..=HIGHEST)
            .flat_map(|midi| SLOPES.map(|slope| template(window, midi, offset, slope)))
            .collect();
        let spans = templates.iter().map(|t| spans(t)).collect();
        Self {
            spectrum: Spectrum::new(window, SIZE),
            templates,
            spans,
        }
    }

    fn read(&mut self, mono: &[f32], time: f64) -> Newness {
        let at = samples(time);
        let len = self.spectrum.len() as isize;
        let mut before = vec![0.0; self.spectrum.bins()];
        let mut after = before.clone();
        self.spectrum
            .magnitudes(mono, at - samples(0.002) - len, &mut before);
        self.spectrum
            .magnitudes(mono, at + samples(0.001), &mut after);
        let fresh: Vec<f32> = (FIRST_BIN..LAST_BIN)
            .map(|bin| (after[bin] - before[bin]).max(0.0))
            .collect();
        let norm = |v: &[f32]| v.iter().map(|x| x * x).sum::<f32>().sqrt();
        let (weights, explained) = self.explain(&fresh);
        Newness {
            pitches: weights
                .chunks(SLOPES.len())
                .map(|variants| variants.iter().sum())
                .collect(),
            fresh: norm(&fresh),
            after: norm(&after[FIRST_BIN..LAST_BIN]),
            explained,
        }
    }

    /// Non-negative weights of the templates whose sum comes nearest to `fresh`, and the share
    /// of `fresh` it covers.
    fn explain(&self, fresh: &[f32]) -> (Vec<f32>, f32) {
        let total: f32 = fresh.iter().sum::<f32>();
        if total < 1e-7 {
            return (vec![0.0; self.templates.len()], 0.0);
        }
        let tiny = 1e-4 * total / fresh.len() as f32;
        let mut weights = vec![total / self.templates.len() as f32; self.templates.len()];
        let mut model = vec![0.0f32; fresh.len()];
        for _ in 0..ROUNDS {
            self.combine(&weights, tiny, &mut model);
            let ratio: Vec<f32> = fresh.iter().zip(&model).map(|(f, m)| f / m).collect();
            for ((weight, template), spans) in
                weights.iter_mut().zip(&self.templates).zip(&self.spans)
            {
                let gain: f32 = spans
                    .iter()
                    .map(|(a, b)| {
                        template[*a..*b]
                            .iter()
                            .zip(&ratio[*a..*b])
                            .map(|(t, r)| t * r)
                            .sum::<f32>()
                    })
                    .sum();
                *weight *= gain;
            }
        }
        self.combine(&weights, tiny, &mut model);
        let covered: f32 = fresh.iter().zip(&model).map(|(f, m)| f.min(*m)).sum();
        (weights, covered / total)
    }

    fn combine(&self, weights: &[f32], tiny: f32, model: &mut [f32]) {
        model.fill(tiny);
        for ((weight, template), spans) in weights.iter().zip(&self.templates).zip(&self.spans) {
            for (a, b) in spans {
                model[*a..*b]
                    .iter_mut()
                    .zip(&template[*a..*b])
                    .for_each(|(m, t)| *m += weight * t);
            }
        }
    }
}

/// Magnitude spectrum of a stiff string's partials through a Hann window, of sum 1.
fn template(window: usize, midi: i32, offset: Cents, slope: f64) -> Vec<f32> {
    let f0 = MidiNote(f64::from(midi)).detuned(offset).hz();
    let hz = f64::from(RATE) / SIZE as f64;
    let lobe = SIZE as f64 / window as f64;
    let mut bins = vec![0.0f32; LAST_BIN - FIRST_BIN];
    for h in 1..=40 {
        let n = f64::from(h);
        let centre = n * f0 * (1.0 + STIFFNESS * n * n).sqrt() / hz;
        if centre > LAST_BIN as f64 + 2.0 * lobe {
            break;
        }
        let from = ((centre - 2.0 * lobe).ceil() as usize).max(FIRST_BIN);
        let to = ((centre + 2.0 * lobe).floor() as usize + 1).min(LAST_BIN);
        for bin in from..to {
            let x = (bin as f64 - centre) / lobe;
            bins[bin - FIRST_BIN] += (n.powf(-slope) * hann_lobe(x)) as f32;
        }
    }
    let sum: f32 = bins.iter().sum::<f32>().max(1e-9);
    for bin in &mut bins {
        *bin /= sum;
    }
    bins
}

/// Main lobe of the Hann window's spectrum, 1 at 0 and 0 at ±2 (in bins of the window's length).
fn hann_lobe(x: f64) -> f64 {
    if x.abs() >= 2.0 {
        return 0.0;
    }
    if (x.abs() - 1.0).abs() < 1e-6 {
        return 0.5;
    }
    let sinc = if x.abs() < 1e-9 {
        1.0
    } else {
        (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x)
    };
    sinc / (1.0 - x * x)
}

fn spans(template: &[f32]) -> Vec<(usize, usize)> {
    let mut spans: Vec<(usize, usize)> = Vec::new();
    for (i, _) in template.iter().enumerate().filter(|(_, v)| **v > 0.0) {
        match spans.last_mut() {
            Some(last) if last.1 == i => last.1 = i + 1,
            _ => spans.push((i, i + 1)),
        }
    }
    spans
}
