//! How far the guitar lies from A4 = 440 Hz.
//!
//! Two readings: a coarse one from spectral peaks before any pitch is known, and a fine one from
//! the partials of the notes that were found.

use super::candidates::Candidate;
use super::mono::{RATE, samples};
use super::note_event::NoteEvent;
use crate::dsp::spectrum::Spectrum;
use crate::unit::{Cents, MidiNote, Seconds};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

const WINDOW: usize = 4096;
const SIZE: usize = 8192;

/// Gathers where spectral peaks lie between equal-tempered pitches.
#[derive(Debug, Clone, Copy, Default)]
pub struct Coarse {
    sum: (f64, f64),
    weight: f64,
}

impl Coarse {
    /// What the peaks after each clear candidate of `mono` tell.
    pub fn of(mono: &[f32], candidates: &[Candidate]) -> Self {
        let mut spectrum = Spectrum::new(WINDOW, SIZE);
        let mut bins = vec![0.0; spectrum.bins()];
        let mut told = Self::default();
        for candidate in candidates.iter().filter(|c| c.rise > 8.0) {
            spectrum.magnitudes(mono, samples(candidate.time + 0.01), &mut bins);
            let top = bins.iter().fold(0.0f32, |m, v| m.max(*v));
            for (hz, magnitude) in peaks(&bins, 85.0, 1200.0, 0.1 * top.max(1e-5)) {
                let turn = MidiNote::of_hz(hz).0.rem_euclid(1.0) * TAU;
                let weight = f64::from(magnitude / top).sqrt();
                told.sum.0 += weight * turn.cos();
                told.sum.1 += weight * turn.sin();
                told.weight += weight;
            }
        }
        told
    }

    /// Adds what another stretch of the recording tells.
    pub fn add(&mut self, other: Self) {
        self.sum.0 += other.sum.0;
        self.sum.1 += other.sum.1;
        self.weight += other.weight;
    }

    /// The offset, −50 to 50 cents; none when peaks lie anywhere.
    pub fn offset(&self) -> Option<Cents> {
        let clear = self.sum.0.hypot(self.sum.1) / self.weight.max(1e-9);
        (self.weight > 3.0 && clear > 0.1)
            .then(|| Cents(self.sum.1.atan2(self.sum.0) / TAU * 100.0))
    }
}

/// Measures single notes.
pub struct Fine {
    spectrum: Spectrum,
    bins: Vec<f32>,
}

impl Default for Fine {
    fn default() -> Self {
        Self::new()
    }
}

impl Fine {
    /// Ready to measure.
    pub fn new() -> Self {
        let spectrum = Spectrum::new(WINDOW, SIZE);
        let bins = vec![0.0; spectrum.bins()];
        Self { spectrum, bins }
    }

    /// Pitch of the note near `midi` that starts at `time` (seconds into `mono`) and sounds
    /// alone for `free` seconds: the mean of its first four partials, each divided by its number,
    /// weighted by strength. With it a weight: the strength of those partials against all others
    /// nearby. None when no partial lies within 45 cents.
    pub fn measure(&mut self, mono: &[f32], time: Seconds, midi: f64) -> Option<(MidiNote, f64)> {
        self.spectrum
            .magnitudes(mono, samples(time.0 + 0.02), &mut self.bins);
        let f0 = MidiNote(midi).hz();
        let (mut sum, mut weight) = (0.0, 0.0);
        for h in 1..=4 {
            let n = f64::from(h);
            let width = 2f64.powf(45.0 / 1200.0);
            let (low, high) = (n * f0 / width, n * f0 * width);
            let best = peaks(&self.bins, low, high, 1e-5)
                .into_iter()
                .max_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((hz, magnitude)) = best {
                let w = f64::from(magnitude);
                sum += w * MidiNote::of_hz(hz / n).0;
                weight += w;
            }
        }
        (weight > 0.0).then(|| (MidiNote(sum / weight), weight))
    }
}

/// How far one note lies from its whole semitone.
#[derive(Debug, Clone, Copy)]
pub struct Deviation {
    /// When it begins.
    pub time: Seconds,
    /// By how much it is sharp.
    pub cents: f64,
    /// How much it counts, above 0.
    pub weight: f64,
}

/// The deviations of `events` from what was measured of them, in the same order.
pub fn deviations(events: &[NoteEvent], measured: &[Option<(MidiNote, f64)>]) -> Vec<Deviation> {
    let both = events.iter().zip(measured);
    both.filter_map(|(event, measured)| {
        measured.map(|(pitch, strength)| Deviation {
            time: event.time,
            cents: 100.0 * (pitch.0 - f64::from(event.midi)),
            weight: strength.sqrt(),
        })
    })
    .collect()
}

/// Offset of measured notes from their whole semitones: the weighted median of the deviations.
pub fn offset(notes: &[Deviation]) -> Option<Cents> {
    let mut sorted: Vec<Deviation> = notes.to_vec();
    sorted.sort_by(|a, b| a.cents.total_cmp(&b.cents));
    let half = sorted.iter().map(|n| n.weight).sum::<f64>() / 2.0;
    let mut run = 0.0;
    sorted
        .into_iter()
        .find(|note| {
            run += note.weight;
            run >= half
        })
        .map(|note| Cents(note.cents))
}

/// The offset of the tuning at one time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TuningAt {
    /// The middle of the stretch that was measured.
    pub time: Seconds,
    /// The offset from A4 = 440 Hz.
    pub offset: Cents,
}

/// Length of a stretch whose offset is told by itself, seconds, and the fewest notes it needs.
const STRETCH: f64 = 20.0;
const ENOUGH: usize = 12;

/// The offset through the recording, from notes in order of time: the weighted median of every
/// stretch that holds enough notes.
pub fn course(notes: &[Deviation]) -> Vec<TuningAt> {
    notes
        .chunk_by(|a, b| (a.time.0 / STRETCH).floor() == (b.time.0 / STRETCH).floor())
        .filter(|stretch| stretch.len() >= ENOUGH)
        .filter_map(|stretch| {
            let time = stretch.iter().map(|n| n.time.0).sum::<f64>() / stretch.len() as f64;
            offset(stretch).map(|offset| TuningAt {
                time: Seconds(time),
                offset,
            })
        })
        .collect()
}

/// Peaks above `least` between two frequencies as (Hz, magnitude), read by a parabola through the
/// logarithms of three bins.
fn peaks(bins: &[f32], low: f64, high: f64, least: f32) -> Vec<(f64, f32)> {
    let hz = f64::from(RATE) / SIZE as f64;
    let from = ((low / hz).floor() as usize).max(1);
    let to = ((high / hz).ceil() as usize + 1).min(bins.len().saturating_sub(1));
    (from..to)
        .filter(|i| bins[*i] > least && bins[*i] > bins[i - 1] && bins[*i] >= bins[i + 1])
        .map(|i| {
            let log = |k: usize| f64::from(bins[k].max(1e-12)).ln();
            let (a, b, c) = (log(i - 1), log(i), log(i + 1));
            let bend = a - 2.0 * b + c;
            let shift = if bend.abs() < 1e-12 {
                0.0
            } else {
                0.5 * (a - c) / bend
            };
            ((i as f64 + shift.clamp(-0.5, 0.5)) * hz, bins[i])
        })
        .filter(|(f, _)| (low..=high).contains(f))
        .collect()
}
