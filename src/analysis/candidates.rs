//! Where something new begins to sound: candidates with refined times.
//!
//! Owns detection (spectral flux, and what linear prediction does not foretell) and timing. Whether
//! a candidate is a note, and which one, is decided later; what this owes is recall.

pub(crate) mod flux;
pub(crate) mod surprise;

use crate::dsp::predict::Predictor;
use flux::Fluxes;

/// A place where something may begin to sound.
///
/// The list of candidates is what every later stage reads: a network or a template matcher looks
/// at `time` and answers whether a note begins there and which.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Refined time in seconds from the first sample of the mono signal given to [`candidates`]:
    /// the first significant rise of what the sound before does not foretell, about the point
    /// where a pluck passes 10 % of its attack's peak.
    pub time: f64,
    /// Time of the flux peak before refinement, seconds, same zero; equal to `time` where only
    /// the waveform showed it.
    pub coarse: f64,
    /// Height of the combined flux above its surroundings; about 0.05 (barely there) to 3; 0
    /// where only the waveform showed it.
    pub strength: f32,
    /// How far energy after the instant exceeds energy before it in what the sound before does
    /// not foretell (3 ms each), dB, about 0 to 30.
    pub rise: f32,
}

impl Candidate {
    /// The same candidate `by` seconds later.
    pub(super) fn moved(self, by: f64) -> Self {
        Self {
            time: self.time + by,
            coarse: self.coarse + by,
            ..self
        }
    }
}

/// Two candidates closer than this are one, seconds.
const APART: f64 = 0.012;

/// Candidate onsets of `mono`, sampled at [`RATE`](crate::analysis::mono::RATE) (22,050 Hz) and used as it is, in order of
/// time and at least 12 ms apart.
///
/// High recall is the aim: about 99 % of plucks, soft ones included, have a candidate within
/// 25 ms, most of them within 1 ms; four in five candidates are no onset. Deterministic; linear
/// in length.
pub fn candidates(mono: &[f32]) -> Vec<Candidate> {
    let mut predictor = Predictor::new();
    let mut found: Vec<Candidate> = Fluxes::of(mono)
        .peaks()
        .iter()
        .map(|peak| {
            let (time, rise) = surprise::refine(&mut predictor, mono, peak.time);
            Candidate {
                time,
                coarse: peak.time,
                strength: peak.height,
                rise,
            }
        })
        .collect();
    found.extend(
        surprise::surprises(&mut predictor, mono)
            .into_iter()
            .map(|(time, rise)| Candidate {
                time,
                coarse: time,
                strength: 0.0,
                rise,
            }),
    );
    found.sort_by(|a, b| a.time.total_cmp(&b.time));
    thin(&found)
}

/// One of candidates closer than [`APART`]: the one seen in the flux, of two such the higher.
fn thin(sorted: &[Candidate]) -> Vec<Candidate> {
    let mut kept: Vec<Candidate> = Vec::with_capacity(sorted.len());
    for candidate in sorted {
        match kept.last_mut() {
            Some(last) if candidate.time - last.time < APART => {
                if (candidate.strength, candidate.rise) > (last.strength, last.rise) {
                    *last = *candidate;
                }
            }
            _ => kept.push(*candidate),
        }
    }
    kept
}
