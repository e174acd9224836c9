//! Thumb against fingers: the same recording with one of the two held back, to hear the other.
//!
//! Every note that was heard says where its energy lies: near the partials of a stiff string, from
//! its attack on, decaying. Each short-time spectrum is shared between thumb and fingers in the
//! ratio of what their notes explain (a soft mask as in Wiener filtering; partials followed from
//! the spectrum itself, as in score-informed separation: Ewert, Pardo, Müller & Plumbley 2014,
//! IEEE Signal Process. Mag. 31(3), from memory), and the held-back share is turned down. What no
//! note explains (nails, wood, breath) goes with the note whose attack it surrounds. Both shares
//! add up to the recording, so a balance in the middle is the recording itself.
//!
//! It hears nothing: notes with their roles arrive. It does not reconstruct what two strings share.

use crate::dsp::window::hann;
use crate::music::note::{Note, Role};
use crate::recording::{Recording, RecordingError};
use crate::unit::Seconds;
use realfft::num_complex::Complex32;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Window in seconds: partials of a low E and its octave stand apart, an attack is not smeared
/// audibly at the levels left.
const WINDOW: f64 = 0.093;
/// Windows overlap four times: a mask that changes from one to the next makes no steps.
const OVERLAP: usize = 4;
/// Partials followed; higher ones of a plucked string lie under its attack.
const PARTIALS: usize = 40;
/// Inharmonicity B of a steel string, between the plain (4e-5) and the wound ones (2e-4) of
/// published tables; the peak is searched near where it predicts.
const STIFFNESS: f64 = 8e-5;
/// Half width of a partial's place in bins: the main lobe of the window.
const LOBE: usize = 2;
/// How long a note's attack owns the noise around it, seconds.
const ATTACK: f64 = 0.06;
/// Time in which a plucked string's fundamental falls to 1/e, seconds; partials fall faster. A
/// rough middle of steel and nylon: it only shares what two notes claim at once.
const DECAY: f64 = 1.2;
/// How long a damped string still sounds, seconds.
const RELEASE: f64 = 0.08;

/// Why a balance cannot be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SeparateError {
    /// The caller asked to stop.
    #[error("stopped before the end")]
    Cancelled,
    /// The result is no recording.
    #[error(transparent)]
    Recording(#[from] RecordingError),
}

/// How much of each is heard, as amplitudes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Thumb's, 0 to 1.
    pub thumb: f32,
    /// Fingers', 0 to 1.
    pub fingers: f32,
}

impl Balance {
    /// From one dial: −1 is the thumb alone, 0 both as recorded, 1 the fingers alone. A value
    /// that is not a number is 0.
    pub fn at(dial: f64) -> Self {
        let dial = if dial.is_finite() {
            dial.clamp(-1.0, 1.0) as f32
        } else {
            0.0
        };
        Self {
            thumb: (1.0 - dial).min(1.0),
            fingers: (1.0 + dial).min(1.0),
        }
    }

    /// The dial that gives it.
    pub fn dial(self) -> f64 {
        f64::from(self.fingers - self.thumb)
    }
}

/// The recording with its thumb and fingers at `balance`; as long as it was, at its rate, with its
/// channels. `notes` in order of time; `go_on` is asked now and then. Equal parts give the
/// recording bit for bit, times that part.
///
/// # Errors
/// [`SeparateError::Cancelled`] when `go_on` says no.
pub fn balanced(
    recording: &Recording,
    notes: &[Note],
    balance: Balance,
    mut go_on: impl FnMut() -> bool,
) -> Result<Recording, SeparateError> {
    let channels = if balance.thumb == balance.fingers {
        let by = balance.thumb;
        let scaled = |c: &Vec<f32>| c.iter().map(|s| s * by).collect();
        recording.channels().iter().map(scaled).collect()
    } else {
        Masker::new(recording, notes, balance).run(recording, &mut go_on)?
    };
    Ok(Recording::new(
        recording.name(),
        recording.rate(),
        channels,
    )?)
}

/// One partial of one note: where it is looked for, and how strong it was last.
struct Partial {
    bin: f64,
    /// Amplitude when it began.
    first: f32,
    /// Falls by this factor a frame.
    decay: f32,
}

struct Voice {
    role: Role,
    from: f64,
    to: f64,
    partials: Vec<Partial>,
    measured: bool,
}

/// The frame-by-frame work.
struct Masker {
    len: usize,
    hop: usize,
    rate: f64,
    balance: Balance,
    window: Vec<f32>,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    /// In order of their start; those before `begun` have begun, those of `sounding` not ended.
    voices: Vec<Voice>,
    begun: usize,
    sounding: Vec<usize>,
    /// What thumb and fingers explain of each bin, as power.
    thumb: Vec<f32>,
    fingers: Vec<f32>,
    /// Attacks in order of time, with their role.
    attacks: Vec<(f64, Role)>,
}

impl Masker {
    fn new(recording: &Recording, notes: &[Note], balance: Balance) -> Self {
        let rate = f64::from(recording.rate());
        let len = ((WINDOW * rate) as usize).next_power_of_two().max(64);
        let mut planner = RealFftPlanner::new();
        let hop = len / OVERLAP;
        let bin = rate / len as f64;
        let voices = notes
            .iter()
            .filter_map(|note| Some((note, note.pitch?)))
            .map(|(note, pitch)| {
                let f0 = pitch.hz();
                Voice {
                    role: note.role,
                    from: note.time.0,
                    to: note.end.0 + RELEASE,
                    measured: false,
                    partials: partials(f0, bin, len / 2, hop as f64 / rate),
                }
            })
            .collect();
        Self {
            len,
            hop,
            rate,
            balance,
            window: hann(len).into_iter().map(f32::sqrt).collect(),
            forward: planner.plan_fft_forward(len),
            inverse: planner.plan_fft_inverse(len),
            voices,
            begun: 0,
            sounding: Vec::new(),
            thumb: vec![0.0; len / 2 + 1],
            fingers: vec![0.0; len / 2 + 1],
            attacks: notes.iter().map(|n| (n.time.0, n.role)).collect(),
        }
    }

    fn run(
        mut self,
        recording: &Recording,
        go_on: &mut impl FnMut() -> bool,
    ) -> Result<Vec<Vec<f32>>, SeparateError> {
        let frames = recording.frames();
        let channels = recording.channels();
        let mut out = vec![vec![0.0_f32; frames]; channels.len()];
        let bins = self.len / 2 + 1;
        let mut spectra = vec![vec![Complex32::default(); bins]; channels.len()];
        let mut time = self.forward.make_input_vec();
        let mut level = vec![0.0_f32; bins];
        let mut before = vec![0.0_f32; bins];
        let mut gain = vec![0.0_f32; bins];
        // Squared windows, four times overlapped, sum to this.
        let norm = 1.0 / (self.len as f32 * 0.5 * OVERLAP as f32);
        let first = -(self.len as isize) + self.hop as isize;
        for start in (first..frames as isize).step_by(self.hop) {
            if !go_on() {
                return Err(SeparateError::Cancelled);
            }
            std::mem::swap(&mut level, &mut before);
            level.fill(0.0);
            for (channel, spectrum) in channels.iter().zip(&mut spectra) {
                self.cut(channel, start, &mut time);
                // Lengths are the plan's own.
                let _ = self.forward.process(&mut time, spectrum);
                for (l, s) in level.iter_mut().zip(spectrum.iter()) {
                    *l += s.norm();
                }
            }
            self.mask(start, &level, &before, &mut gain);
            for (spectrum, out) in spectra.iter_mut().zip(&mut out) {
                for (s, g) in spectrum.iter_mut().zip(&gain) {
                    *s *= *g * norm;
                }
                spectrum[0].im = 0.0;
                spectrum[bins - 1].im = 0.0;
                let _ = self.inverse.process(spectrum, &mut time);
                for (i, (t, w)) in time.iter().zip(&self.window).enumerate() {
                    let at = start + i as isize;
                    if let Some(o) = usize::try_from(at).ok().and_then(|at| out.get_mut(at)) {
                        *o += t * w;
                    }
                }
            }
        }
        Ok(out)
    }

    /// A window of a channel; silence outside it.
    fn cut(&self, channel: &[f32], start: isize, time: &mut [f32]) {
        for (i, (t, w)) in time.iter_mut().zip(&self.window).enumerate() {
            let at = usize::try_from(start + i as isize).ok();
            *t = w * at.and_then(|at| channel.get(at)).copied().unwrap_or(0.0);
        }
    }

    /// Gain of each bin of the window that starts at `start`.
    fn mask(&mut self, start: isize, level: &[f32], before: &[f32], gain: &mut [f32]) {
        let middle = (start as f64 + self.len as f64 / 2.0) / self.rate;
        let reach = self.len as f64 / 2.0 / self.rate;
        self.thumb.fill(0.0);
        self.fingers.fill(0.0);
        let step = self.hop as f64 / self.rate;
        while self
            .voices
            .get(self.begun)
            .is_some_and(|v| v.from <= middle + reach)
        {
            self.sounding.push(self.begun);
            self.begun += 1;
        }
        self.sounding
            .retain(|&i| self.voices[i].to >= middle - reach);
        for &i in &self.sounding {
            let voice = &mut self.voices[i];
            // A window that only touches a note has little of it.
            let inside = ((middle + reach - voice.from) / reach).clamp(0.0, 1.0)
                * ((voice.to - middle + reach) / reach).clamp(0.0, 1.0);
            // Once most of the window lies after the attack, what rose is the note's.
            if !voice.measured && middle - voice.from >= reach * 0.5 {
                voice.measure(level, before);
            }
            let age = ((middle - voice.from) / step).max(0.0) as f32;
            let share = match voice.role {
                Role::Bass => &mut self.thumb,
                Role::Melody => &mut self.fingers,
            };
            voice.claim(level, age, inside as f32, share);
        }
        let tick = self.owner(Seconds(middle));
        let (all_thumb, all_fingers) = (sum(&self.thumb), sum(&self.fingers));
        let even = if all_thumb + all_fingers > 0.0 {
            all_thumb / (all_thumb + all_fingers)
        } else {
            0.5
        };
        let rest = tick.unwrap_or(even);
        for (k, g) in gain.iter_mut().enumerate() {
            let (t, f) = (self.thumb[k], self.fingers[k]);
            let unexplained = (level[k] * level[k] * 1e-2).max(1e-12);
            let share = (t + rest * unexplained) / (t + f + unexplained);
            *g = self.balance.thumb * share + self.balance.fingers * (1.0 - share);
        }
    }

    /// Thumb's share of the noise at an instant: of the attacks around it.
    fn owner(&self, at: Seconds) -> Option<f32> {
        let from = self.attacks.partition_point(|(t, _)| *t < at.0 - ATTACK);
        let near: Vec<Role> = self.attacks[from..]
            .iter()
            .take_while(|(t, _)| *t <= at.0 + ATTACK / 2.0)
            .map(|(_, role)| *role)
            .collect();
        let thumb = near.iter().filter(|r| **r == Role::Bass).count();
        (!near.is_empty()).then(|| thumb as f32 / near.len() as f32)
    }
}

fn sum(of: &[f32]) -> f32 {
    of.iter().sum()
}

/// Where the partials of a stiff string lie (f_n = n f0 sqrt(1 + B n²); Fletcher 1964, J. Acoust.
/// Soc. Am. 36:203), in bins, and how fast they fall.
fn partials(f0: f64, bin: f64, top: usize, step: f64) -> Vec<Partial> {
    (1..=PARTIALS)
        .map(|n| {
            let n = n as f64;
            let at = n * f0 * (1.0 + STIFFNESS * n * n).sqrt() / bin;
            let tau = DECAY / (1.0 + n / 8.0);
            Partial {
                bin: at,
                first: 0.0,
                decay: (-step / tau).exp() as f32,
            }
        })
        .take_while(|p| p.bin + 2.0 < top as f64)
        .collect()
}

impl Voice {
    /// Finds each partial's peak near its place, and how much of it is new.
    fn measure(&mut self, level: &[f32], before: &[f32]) {
        self.measured = true;
        for partial in &mut self.partials {
            // Two per cent either way: the string's own stiffness and its tuning.
            let room = (partial.bin * 0.02).clamp(1.0, 4.0);
            let from = (partial.bin - room).round().max(1.0) as usize;
            let to = ((partial.bin + room).round() as usize).min(level.len() - 1);
            let peak = (from..=to).max_by(|a, b| level[*a].total_cmp(&level[*b]));
            if let Some(peak) = peak {
                partial.bin = peak as f64;
                partial.first = (level[peak] - before[peak] * 0.9).max(level[peak] * 0.05);
            }
        }
    }

    /// Adds what the note explains of a spectrum, as power.
    fn claim(&self, level: &[f32], age: f32, inside: f32, share: &mut [f32]) {
        for partial in &self.partials {
            let centre = partial.bin.round() as usize;
            let low = centre.saturating_sub(LOBE);
            let high = (centre + LOBE).min(level.len() - 1);
            for k in low..=high {
                let expected = if self.measured {
                    partial.first * partial.decay.powf(age)
                } else {
                    level[k]
                };
                // The main lobe, coarsely; never more than there is.
                let lobe = 1.0 - 0.28 * k.abs_diff(centre) as f32;
                let amplitude = (expected * lobe).min(level[k]) * inside;
                share[k] += amplitude * amplitude;
            }
        }
    }
}
