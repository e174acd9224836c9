//! What the network reads at an instant: spectra around it, an envelope, two levels.
//!
//! The same numbers as `xtask/train/features.py`, which trains on them; a test holds the two
//! together.

use crate::analysis::mono::RATE;
use crate::dsp::spectrum::Spectrum;
use crate::unit::Cents;

/// Bins a semitone of the pitch axis.
pub const PER_SEMITONE: usize = 3;
/// MIDI number a third of a semitone above the first bin.
pub const LOW_MIDI: usize = 34;
/// Bins of the pitch axis: 86 semitones, 57 Hz to 8 kHz.
pub const BINS: usize = PER_SEMITONE * 86;
/// Spectra of a patch: the windows and two rises.
pub const CHANNELS: usize = WINDOWS.len() + 2;
/// Frames of the envelope, 5 ms apart from −60 to +80 ms.
pub const FRAMES: usize = 29;
/// Bands of the envelope.
pub const BANDS: usize = 19;
/// Levels: after and before.
pub const LEVELS: usize = 2;

const LONG: usize = 4096;
const MEDIUM: usize = 2048;
const SHORT: usize = 1024;
const BRIEF: usize = 512;
const FRAME: usize = 256;
const HOP: isize = 110;
const FIRST: isize = -12;
const BLOCK: usize = 1102;
/// Power below the strongest bin of a patch that still counts: 60 dB.
const FLOOR: f32 = 1e-6;
const TINY: f32 = 1e-14;
/// The windows, length and first sample after the instant: before (6 ms clear of it), across, after
/// and later; the last six are short, and how much of a partial they hold tells when it began.
const WINDOWS: [(usize, isize); 12] = [
    (LONG, -132 - LONG as isize),
    (MEDIUM, -132 - MEDIUM as isize),
    (SHORT, -44),
    (MEDIUM, 0),
    (LONG, 0),
    (LONG, 1544),
    (SHORT, -512),
    (SHORT, 440),
    (BRIEF, -384),
    (BRIEF, -128),
    (BRIEF, 128),
    (BRIEF, 384),
];
/// Edges of the envelope's bands in bins of 86 Hz.
const EDGES: [usize; BANDS + 1] = [
    1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 18, 22, 27, 33, 40, 48, 58, 70, 85, 105,
];

/// Triangles on the bins of a spectrum, as wide as a third of a semitone or, where that is wider,
/// the spectrum's own spacing.
struct Bank {
    /// First bin and number of weights of each triangle.
    places: Vec<(usize, usize)>,
    weights: Vec<f32>,
}

impl Bank {
    fn new(size: usize, offset: Cents) -> Self {
        let spacing = f64::from(RATE) / size as f64;
        let (mut places, mut weights) = (Vec::with_capacity(BINS), Vec::new());
        for bin in 0..BINS {
            let midi =
                LOW_MIDI as f64 + (bin as f64 - 1.0) / PER_SEMITONE as f64 + offset.0 / 100.0;
            let centre = 440.0 * ((midi - 69.0) / 12.0).exp2();
            let half = (centre * ((1.0_f64 / 36.0).exp2() - 1.0)).max(spacing);
            let from = ((centre - half) / spacing).ceil().max(0.0) as usize;
            let to = (((centre + half) / spacing).floor() as usize).min(size / 2);
            let heights: Vec<f64> = (from..=to)
                .map(|i| (1.0 - (i as f64 * spacing - centre).abs() / half).max(0.0))
                .collect();
            let sum: f64 = heights.iter().sum();
            places.push((from, heights.len()));
            weights.extend(heights.iter().map(|h| (h / sum) as f32));
        }
        Self { places, weights }
    }

    /// Mean power under each triangle.
    fn read(&self, power: &[f32], out: &mut [f32]) {
        let mut rest = self.weights.as_slice();
        for ((from, len), out) in self.places.iter().zip(out) {
            let (weights, after) = rest.split_at(*len);
            rest = after;
            *out = weights
                .iter()
                .zip(&power[*from..])
                .map(|(w, p)| w * p)
                .sum();
        }
    }
}

struct Sized {
    size: usize,
    spectrum: Spectrum,
    bank: Bank,
    power: Vec<f32>,
}

impl Sized {
    fn new(size: usize, offset: Cents) -> Self {
        let spectrum = Spectrum::new(size, size);
        Self {
            size,
            power: vec![0.0; spectrum.bins()],
            spectrum,
            bank: Bank::new(size, offset),
        }
    }
}

/// Patches of one recording.
pub struct Patches<'a> {
    mono: &'a [f32],
    /// Mean square of the recording's loud part.
    loudness: f32,
    sizes: [Sized; 4],
    frame: Spectrum,
    frame_power: Vec<f32>,
    /// Spectra, bin by bin: `[bin][channel]`.
    spectra: Vec<[f32; CHANNELS]>,
    /// Envelope, frame by frame: `[frame][band]`.
    envelope: Vec<[f32; BANDS]>,
}

impl<'a> Patches<'a> {
    pub fn new(mono: &'a [f32], offset: Cents) -> Self {
        let frame = Spectrum::new(FRAME, FRAME);
        let cents = if offset.0.is_finite() {
            offset.0.clamp(-100.0, 100.0)
        } else {
            0.0
        };
        Self {
            mono,
            loudness: loudness(mono),
            sizes: [LONG, MEDIUM, SHORT, BRIEF].map(|size| Sized::new(size, Cents(cents))),
            frame_power: vec![0.0; frame.bins()],
            frame,
            spectra: vec![[0.0; CHANNELS]; BINS],
            envelope: vec![[0.0; BANDS]; FRAMES],
        }
    }

    /// The sample nearest to `time`, at most a second outside the recording.
    pub fn sample(&self, time: f64) -> isize {
        let rate = f64::from(RATE);
        (time * rate)
            .round()
            .clamp(-rate, self.mono.len() as f64 + rate) as isize
    }

    /// Spectra of the patch around sample `at`, 0 (60 dB under the strongest) to 1, `[bin][channel]`.
    pub fn spectra(&mut self, at: isize) -> &[[f32; CHANNELS]] {
        let mut row = [0.0; BINS];
        for (channel, (size, start)) in WINDOWS.iter().enumerate() {
            let Some(sized) = self.sizes.iter_mut().find(|s| s.size == *size) else {
                continue;
            };
            sized
                .spectrum
                .powers(self.mono, at + start, &mut sized.power);
            sized.bank.read(&sized.power, &mut row);
            for (bin, power) in self.spectra.iter_mut().zip(row) {
                bin[channel] = power;
            }
        }
        let top = self
            .spectra
            .iter()
            .flat_map(|bin| &bin[..WINDOWS.len()])
            .fold(0.0_f32, |a, b| a.max(*b))
            + TINY;
        for bin in &mut self.spectra {
            bin[WINDOWS.len()] = (bin[4] - bin[0]).max(0.0);
            bin[WINDOWS.len() + 1] = (bin[3] - bin[1]).max(0.0);
            for p in bin.iter_mut() {
                *p = squash(*p / top);
            }
        }
        &self.spectra
    }

    /// Power in bands through the patch, 0 to 1, `[frame][band]`.
    pub fn envelope(&mut self, at: isize) -> &[[f32; BANDS]] {
        let mut top = 0.0_f32;
        for (i, bands) in self.envelope.iter_mut().enumerate() {
            let start = at + (FIRST + i as isize) * HOP - FRAME as isize / 2;
            self.frame.powers(self.mono, start, &mut self.frame_power);
            for (band, edges) in bands.iter_mut().zip(EDGES.windows(2)) {
                *band = self.frame_power[edges[0]..edges[1]].iter().sum();
                top = top.max(*band);
            }
        }
        let top = top + TINY;
        self.envelope
            .iter_mut()
            .flatten()
            .for_each(|p| *p = squash(*p / top));
        &self.envelope
    }

    /// Level in the 93 ms after and before, against the loud part of the recording.
    pub fn levels(&self, at: isize) -> [f32; LEVELS] {
        [WINDOWS[3], WINDOWS[1]].map(|(size, start)| {
            let from = (at + start).clamp(0, self.mono.len() as isize) as usize;
            let to = (at + start + size as isize).clamp(0, self.mono.len() as isize) as usize;
            let power = self.mono[from..to].iter().map(|x| x * x).sum::<f32>() / size as f32;
            ((power / (self.loudness + TINY) + 1e-8).log10() / 4.0).clamp(-2.0, 1.0)
        })
    }
}

/// Decibels below the top, as a share of 60.
fn squash(share: f32) -> f32 {
    (share + FLOOR).log10() / 6.0 + 1.0
}

/// Mean square of the loud part: the 95th percentile of blocks of 50 ms.
fn loudness(mono: &[f32]) -> f32 {
    let power = |block: &[f32]| block.iter().map(|x| x * x).sum::<f32>() / block.len() as f32;
    let mut blocks: Vec<f32> = mono.chunks_exact(BLOCK).map(power).collect();
    if blocks.is_empty() {
        return if mono.is_empty() { 0.0 } else { power(mono) };
    }
    blocks.sort_by(f32::total_cmp);
    blocks[(blocks.len() - 1) * 95 / 100]
}
