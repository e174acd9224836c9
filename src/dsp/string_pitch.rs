//! How high one ringing string sounds, held steady enough to tune by.
//!
//! The period is where the normalised square difference of the sound with itself peaks (McLeod & Wyvill,
//! "A smarter way to find pitch", 2005, from memory), measured over as many periods as fit so that it is
//! fine, and told as the median of the last readings. It hears one string at a time; of a chord it says
//! nothing or one of its notes.

use crate::dsp::middle::median;
use crate::unit::MidiNote;
use std::collections::VecDeque;

/// What is listened to, in Hz: from a low B down to a high E on its 12th fret.
const LOWEST: f64 = 28.0;
const HIGHEST: f64 = 700.0;
/// Samples a second that are enough for it.
const ENOUGH: f64 = 11_025.0;
/// Length of what is compared, in seconds: two periods of the lowest and room for many of the others.
const WINDOW: f64 = 0.19;
/// A reading every so many seconds.
const STEP: f64 = 0.08;
/// Readings that are held together.
const HELD: usize = 7;
/// Below this effective value it is silent (−60 dB), and a peak below this clarity is no string.
const SILENT: f64 = 1e-3;
const CLEAR: f64 = 0.9;
/// After so many readings without a string it is told no longer.
const FORGOTTEN: usize = 15;

/// Listens to one string.
pub struct StringPitch {
    rate: f64,
    together: usize,
    sum: f32,
    summed: usize,
    heard: VecDeque<f32>,
    since: usize,
    readings: VecDeque<f64>,
    without: usize,
}

impl StringPitch {
    /// For sound at `rate` frames a second.
    pub fn new(rate: u32) -> Self {
        let together = (f64::from(rate) / ENOUGH).round().max(1.0) as usize;
        Self {
            rate: f64::from(rate) / together as f64,
            together,
            sum: 0.0,
            summed: 0,
            heard: VecDeque::new(),
            since: 0,
            readings: VecDeque::new(),
            without: 0,
        }
    }

    /// Hears more of it (mono); whether there is something new to tell.
    pub fn hear(&mut self, samples: impl IntoIterator<Item = f32>) -> bool {
        let window = (WINDOW * self.rate) as usize;
        let longest = (self.rate / LOWEST) as usize;
        let step = (STEP * self.rate) as usize;
        let mut told = false;
        for sample in samples {
            self.sum += if sample.is_finite() { sample } else { 0.0 };
            self.summed += 1;
            if self.summed < self.together {
                continue;
            }
            self.heard.push_back(self.sum / self.together as f32);
            (self.sum, self.summed) = (0.0, 0);
            while self.heard.len() > window + longest {
                self.heard.pop_front();
            }
            self.since += 1;
            if self.since >= step && self.heard.len() == window + longest {
                self.since = 0;
                self.read(window, longest);
                told = true;
            }
        }
        told
    }

    /// The string's pitch; none while it is silent or nothing clear.
    pub fn pitch(&self) -> Option<MidiNote> {
        // Two readings that agree are the least.
        let mut readings: Vec<f64> = self.readings.iter().copied().collect();
        let middle = median(&mut readings).filter(|_| readings.len() > 1)?;
        Some(MidiNote::of_hz(middle))
    }

    fn read(&mut self, window: usize, longest: usize) {
        let found = self
            .period(window, longest)
            .map(|period| self.rate / period);
        if let Some(hz) = found {
            // Another string: what was held before is another's.
            let other = |held: &f64| (1200.0 * (held / hz).log2()).abs() > 80.0;
            if self.readings.iter().all(other) {
                self.readings.clear();
            }
            self.readings.push_back(hz);
            self.without = 0;
        } else {
            self.without += 1;
            if self.without >= FORGOTTEN {
                self.readings.clear();
            }
        }
        while self.readings.len() > HELD {
            self.readings.pop_front();
        }
    }

    /// The period in samples; none where nothing clear sounds.
    fn period(&self, window: usize, longest: usize) -> Option<f64> {
        let sound: Vec<f64> = self.heard.iter().map(|s| f64::from(*s)).collect();
        let power = sound.iter().map(|s| s * s).sum::<f64>() / sound.len() as f64;
        if power.sqrt() < SILENT {
            return None;
        }
        let likeness: Vec<f64> = (0..=longest)
            .map(|lag| alike(&sound, window, lag))
            .collect();
        let shortest = (self.rate / HIGHEST) as usize;
        // The first peak nearly as high as the highest: not two periods of it.
        let peaks: Vec<usize> = (shortest.max(1)..longest)
            .filter(|lag| likeness[*lag] > likeness[lag - 1] && likeness[*lag] >= likeness[lag + 1])
            .collect();
        let best = peaks.iter().map(|lag| likeness[*lag]).fold(0.0, f64::max);
        let first = *peaks.iter().find(|lag| likeness[**lag] > 0.93 * best)?;
        if likeness[first] < CLEAR {
            return None;
        }
        // Stiff strings' higher partials are sharp: the tone itself is measured without them, and over as
        // many periods as are compared, which is finer.
        let half = (0.5 * top(&likeness, first)).round().max(1.0) as usize;
        let dull = smoothed(&smoothed(&sound, half), half);
        let window = window.min(dull.len().saturating_sub(longest));
        let at = |lag: usize| alike(&dull, window, lag);
        let mut period = first as f64;
        for times in 1..=(longest as f64 / period) as usize {
            let near = (period * times as f64).round() as usize;
            if near + 3 > longest {
                break;
            }
            let around = near.saturating_sub(2).max(1)..=near + 2;
            let places = around.map(|lag| (lag, at(lag)));
            let (peak, height) = places.max_by(|a, b| a.1.total_cmp(&b.1))?;
            if height < CLEAR {
                break;
            }
            period = top(&[at(peak - 1), height, at(peak + 1)], 1) + peak as f64 - 1.0;
            period /= times as f64;
        }
        Some(period)
    }
}

/// The mean of every `length` samples that follow each other.
fn smoothed(sound: &[f64], length: usize) -> Vec<f64> {
    let means = sound.windows(length.clamp(1, sound.len().max(1)));
    means
        .map(|w| w.iter().sum::<f64>() / w.len() as f64)
        .collect()
}

/// How alike the sound is to itself `lag` samples later: 1 the same, −1 upside down.
fn alike(sound: &[f64], window: usize, lag: usize) -> f64 {
    let (mut product, mut power) = (0.0, 0.0);
    for (a, b) in sound[..window].iter().zip(&sound[lag..]) {
        product += a * b;
        power += a * a + b * b;
    }
    if power > 0.0 {
        2.0 * product / power
    } else {
        0.0
    }
}

/// Where the parabola through a peak and its neighbours has its top.
fn top(values: &[f64], peak: usize) -> f64 {
    let (before, at, after) = (values[peak - 1], values[peak], values[peak + 1]);
    let bend = before - 2.0 * at + after;
    if bend.abs() < 1e-12 {
        return peak as f64;
    }
    peak as f64 + 0.5 * (before - after) / bend
}
