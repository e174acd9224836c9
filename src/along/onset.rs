//! Where something begins, told as it happens: spectral flux of short frames, its peaks refined on the
//! waveform (`analysis::candidates::surprise`).
//!
//! Owns the newest second of sound and everything read from it. Looks ahead 10 ms from a peak. Constants
//! are chosen on rendered takes (seeds 101 to 106, which the tests hear); not judged on others yet.

use super::answer::RATE;
use crate::analysis::candidates::surprise;
use crate::dsp::predict::Predictor;
use crate::dsp::spectrum::Spectrum;

/// Samples between frames: 5 ms.
const HOP: usize = 110;
/// Frames a peak is held against before and after it.
const BEFORE: usize = 5;
const AFTER: usize = 2;
/// Sound that is kept: 1.5 s.
const KEPT: usize = 33_075;
/// Two plucks closer than this are one, samples (12 ms).
const APART: f64 = 265.0;
/// How far around a pluck the input is looked at for the same rise, samples (.4 ms), and which share of the
/// rise, in dB, it has where the pluck is no trace of what was taken out: traces have up to .45 of it, plucks
/// .9 and more.
const BESIDE: f64 = 8.0;
const ITS_OWN: f32 = 0.6;

/// One way of looking: a window and the bands its spectrum is summed in.
struct View {
    spectrum: Spectrum,
    bins: Vec<f32>,
    bands: Vec<(usize, usize)>,
    /// Log bands of the newest frames, oldest first.
    past: Vec<Vec<f32>>,
    /// Flux of the newest frames, oldest first.
    flux: Vec<f32>,
    /// Frames between compared spectra.
    lag: usize,
    /// Least height of a peak above its surroundings.
    least: f32,
    /// From the newest sample of a peak's frame back to where the onset is looked for, and how far
    /// around, samples.
    aim: (f64, f64),
}

impl View {
    fn new(
        window: usize,
        lowest: f64,
        per_octave: f64,
        lag: usize,
        least: f32,
        aim: (f64, f64),
    ) -> Self {
        let spectrum = Spectrum::new(window, window);
        let hz = f64::from(RATE) / window as f64;
        let mut edges: Vec<usize> = (0..u16::MAX)
            .map(|i| lowest * (f64::from(i) / per_octave).exp2())
            .take_while(|f| *f < 9_500.0)
            .map(|f| (f / hz).round() as usize)
            .filter(|bin| *bin >= 1)
            .collect();
        edges.dedup();
        Self {
            bins: vec![0.0; spectrum.bins()],
            bands: edges.windows(2).map(|e| (e[0], e[1])).collect(),
            spectrum,
            past: Vec::new(),
            flux: Vec::new(),
            lag,
            least,
            aim,
        }
    }

    /// Reads the frame that ends with `sound` and keeps its flux.
    fn read(&mut self, sound: &[f32], scale: f32) {
        let start = sound.len() as isize - self.spectrum.len() as isize;
        self.spectrum.magnitudes(sound, start, &mut self.bins);
        let now: Vec<f32> = self
            .bands
            .iter()
            .map(|&(from, to)| {
                let mean = self.bins[from..to].iter().sum::<f32>() / (to - from) as f32;
                (1.0 + scale * mean).ln()
            })
            .collect();
        let rise = self
            .past
            .first()
            .filter(|_| self.past.len() == self.lag)
            .map_or(0.0, |before| {
                let strongest = |b: usize| {
                    before[b.saturating_sub(1)..(b + 2).min(before.len())]
                        .iter()
                        .fold(0.0f32, |m, x| m.max(*x))
                };
                now.iter()
                    .enumerate()
                    .map(|(b, v)| (v - strongest(b)).max(0.0))
                    .sum::<f32>()
                    / now.len() as f32
            });
        if self.past.len() == self.lag {
            self.past.remove(0);
        }
        self.past.push(now);
        self.flux.push(rise);
        if self.flux.len() > 40 {
            self.flux.remove(0);
        }
    }

    /// Height of the frame [`AFTER`] frames ago above its surroundings, where it is a peak.
    fn peak(&self) -> Option<f32> {
        let at = self.flux.len().checked_sub(AFTER + 1)?;
        let top = self.flux[at];
        let before = &self.flux[at.saturating_sub(BEFORE)..at];
        let surroundings = &self.flux[at.saturating_sub(30)..at];
        let mean = surroundings.iter().sum::<f32>() / surroundings.len().max(1) as f32;
        let height = top - mean;
        let is_top =
            before.iter().all(|v| *v < top) && self.flux[at + 1..].iter().all(|v| *v <= top);
        (is_top && height > self.least).then_some(height)
    }
}

/// Something that begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pluck {
    /// When, in samples at [`RATE`] since the stream began.
    pub time: f64,
    /// Height of its flux peak, about 0.1 to 2.
    pub strength: f32,
    /// How far energy after it exceeds energy before it in what the sound before does not foretell, dB.
    pub rise: f32,
    /// Level of the 20 ms after it against the loudest lately, dB.
    pub level: f32,
}

/// Finds plucks in a stream at [`RATE`].
pub struct Detector {
    predictor: Predictor,
    views: [View; 2],
    /// The newest sound, and the input that it was cleaned from.
    sound: Vec<f32>,
    input: Vec<f32>,
    /// Samples before `sound`.
    gone: usize,
    /// Samples of `sound` that have been read in frames.
    read: usize,
    /// Loudest root mean square of 50 ms, fading.
    loudest: f32,
    last: f64,
    before: Spectrum,
}

impl Default for Detector {
    fn default() -> Self {
        Self::new()
    }
}

impl Detector {
    /// Nothing has been heard.
    pub fn new() -> Self {
        Self {
            predictor: Predictor::new(),
            views: [
                View::new(256, 180.0, 6.0, 2, 0.22, (150.0, 220.0)),
                View::new(1024, 60.0, 12.0, 3, 0.13, (430.0, 330.0)),
            ],
            sound: Vec::new(),
            input: Vec::new(),
            gone: 0,
            read: 0,
            loudest: 1e-4,
            last: f64::MIN,
            before: Spectrum::new(1024, 4096),
        }
    }

    /// The newest sample's number.
    pub fn now(&self) -> f64 {
        (self.gone + self.sound.len()) as f64
    }

    /// Hears the next samples and tells what began, in order of time, each at least 12 ms after the last.
    pub fn push(&mut self, samples: &[f32]) -> Vec<Pluck> {
        self.push_cleaned(samples, samples)
    }

    /// The same of samples that were `cleaned` of something, and the `input` they were before, equally many.
    /// What begins in one of them alone is no pluck: in the input the bleed, in the cleaned sound what was
    /// taken out too much.
    pub fn push_cleaned(&mut self, cleaned: &[f32], input: &[f32]) -> Vec<Pluck> {
        self.sound.extend_from_slice(cleaned);
        self.input.extend_from_slice(input);
        self.input.resize(self.sound.len(), 0.0);
        let mut found = Vec::new();
        while self.read + HOP <= self.sound.len() {
            self.read += HOP;
            let recent = &self.sound[self.read.saturating_sub(1102)..self.read];
            let power = recent.iter().map(|x| x * x).sum::<f32>() / recent.len() as f32;
            self.loudest = (self.loudest * 0.9997).max(power.sqrt()).max(1e-4);
            let scale = 700.0 / self.loudest;
            for view in 0..self.views.len() {
                self.views[view].read(&self.sound[..self.read], scale);
                let Some(strength) = self.views[view].peak() else {
                    continue;
                };
                let end = (self.read - AFTER * HOP) as f64;
                let (back, reach) = self.views[view].aim;
                found.extend(self.pluck(end - back, reach, strength));
            }
        }
        let spare = self.sound.len().saturating_sub(KEPT);
        self.sound.drain(..spare);
        self.input.drain(..spare);
        self.gone += spare;
        self.read -= spare;
        found.sort_by(|a, b| a.time.total_cmp(&b.time));
        found
    }

    /// The pluck within `reach` samples of `aim` (both counted in `sound`), unless it is the last one again.
    fn pluck(&mut self, aim: f64, reach: f64, strength: f32) -> Option<Pluck> {
        let rate = f64::from(RATE);
        let (time, rise) = surprise::refine_within(
            &mut self.predictor,
            &self.sound[..self.read],
            aim / rate,
            reach / rate,
        );
        let at = time * rate;
        let time = at + self.gone as f64;
        if (time - self.last).abs() < APART || time < self.last {
            return None;
        }
        let from = (at as usize).min(self.read);
        let after = &self.sound[from..(from + 441).min(self.read)];
        let power = after.iter().map(|x| x * x).sum::<f32>() / after.len().max(1) as f32;
        let level = 20.0 * (power.sqrt() / self.loudest).max(1e-6).log10();
        if rise < 2.0 || level < -32.0 || !self.in_the_input(at, rise) {
            return None;
        }
        self.last = time;
        Some(Pluck {
            time,
            strength,
            rise,
            level,
        })
    }

    /// Does the input, too, rise at `at` (counted in `sound`), where the cleaned sound rises by `rise` dB?
    fn in_the_input(&mut self, at: f64, rise: f32) -> bool {
        let rate = f64::from(RATE);
        let input = &self.input[..self.read];
        let (_, own) =
            surprise::refine_within(&mut self.predictor, input, at / rate, BESIDE / rate);
        own >= ITS_OWN * rise
    }

    /// Where within `reach` samples of `time` the sound changes most from what it foretells; none where it
    /// hardly does.
    pub fn onset_near(&mut self, time: f64, reach: f64) -> Option<f64> {
        let rate = f64::from(RATE);
        let aim = (time - self.gone as f64) / rate;
        let (at, rise) =
            surprise::refine_within(&mut self.predictor, &self.sound, aim, reach / rate);
        let found = aim > 0.0 && rise > 1.0 && self.in_the_input(at * rate, rise);
        found.then_some(at * rate + self.gone as f64)
    }

    /// How much of each semitone begins at sample `time`, read from the `window` samples (at most 4,096)
    /// after it and before it. None while that sound has not been heard or is no longer kept.
    pub fn rising(&mut self, time: f64, window: usize) -> Option<Rising> {
        let at = time.round() as isize - self.gone as isize;
        if at < 0 || (at as usize) + 22 + window > self.sound.len() {
            return None;
        }
        if self.before.len() != window {
            self.before = Spectrum::new(window, 4096);
        }
        let (mut before, mut after) = (vec![0.0; 2049], vec![0.0; 2049]);
        self.before
            .magnitudes(&self.sound, at - 66 - window as isize, &mut before);
        self.before.magnitudes(&self.sound, at + 22, &mut after);
        let hz = f64::from(RATE) / 4096.0;
        let rise: Vec<f32> = before
            .iter()
            .zip(&after)
            .map(|(b, a)| (a - 1.1 * b).max(0.0))
            .collect();
        let mut out = [0.0f32; SEMITONES];
        for (i, out) in out.iter_mut().enumerate() {
            let f0 = 440.0 * ((LOWEST as f64 + i as f64 - 69.0) / 12.0).exp2();
            for k in 1..=8 {
                // Stiff strings: an inharmonicity of 5e-5, the middle of a guitar's range (Järveläinen &
                // Karjalainen).
                let f = f0 * f64::from(k) * (1.0 + 5e-5 * f64::from(k * k)).sqrt();
                if f > 5_000.0 {
                    break;
                }
                let half = (f * 0.012).max(hz);
                let (from, to) = (
                    ((f - half) / hz).round() as usize,
                    ((f + half) / hz).round() as usize,
                );
                let top = rise[from..=to.min(rise.len() - 1)]
                    .iter()
                    .fold(0.0f32, |m, v| m.max(*v));
                *out += top.sqrt() / (f64::from(k).powf(0.3) as f32);
            }
        }
        let most = out.iter().fold(1e-9f32, |m, v| m.max(*v));
        for value in &mut out {
            *value /= most;
        }
        Some(Rising { shares: out, most })
    }
}

/// What begins at a pluck, by semitone from MIDI 36 to 95.
#[derive(Debug, Clone, Copy)]
pub struct Rising {
    /// 1 for the strongest, 0 where nothing rises.
    pub shares: [f32; SEMITONES],
    /// How much the strongest rises, in a measure of its own that plucks of one stream share.
    pub most: f32,
}

/// Lowest MIDI number of [`Detector::rising`].
pub const LOWEST: usize = 36;
/// How many semitones it tells of.
pub const SEMITONES: usize = 60;
