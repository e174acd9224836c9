//! The most probable beats of one unbending tempo, as of a player with a click.
//!
//! Owns the search for them on a lattice; whether the playing is so even is decided where readings
//! are compared, by evidence: an even reading saves what changes of tempo cost.

use super::lattice::{Lattice, Path, Steering};
use super::priors;

/// Tempi on either side of the one that is looked around, share of it.
const AROUND: f64 = 0.025;
/// Phases that are tried, shares of a beat.
const PHASES: usize = 40;
/// Shift of the last beat between one tempo and the next, share of a beat.
const FINE: f64 = 0.08;
/// A beat is where the player says within this share of it: a few taps tell the place, not the tempo.
const WITHIN: f64 = 0.1;
/// More beats than this are not played to one tempo, or not soon found.
const MOST: usize = 500;

impl Lattice {
    /// Even beats of about `beat` seconds from the first to the last of `path`, for a feel.
    pub fn even(&self, feel: usize, path: &Path, beat: f64, steering: &Steering) -> Option<Path> {
        let (first, last) = (*path.runs.first()?.first()?, *path.runs.last()?.last()?);
        let n = ((last - first) / beat).round() as usize + 1;
        if !(8..=MOST).contains(&n) {
            return None;
        }
        let step = FINE / n as f64;
        let tempi = (2.0 * AROUND / step).ceil() as usize;
        let mut best: Option<(f32, f64, f64)> = None;
        for tempo in 0..=tempi {
            let beat = beat * (1.0 - AROUND + step * tempo as f64);
            for phase in 0..PHASES {
                let from = first + beat * (phase as f64 / PHASES as f64 - 0.5);
                let score = self.along(feel, from, beat, n) + rewards(from, beat, n, steering);
                if best.is_none_or(|b| score > b.0) {
                    best = Some((score, from, beat));
                }
            }
        }
        let (score, from, beat) = best?;
        let each = if steering.told {
            priors::EVEN_TOLD
        } else {
            self.priors.even
        };
        // Free playing is not held together by its pulse.
        let held = self.spoken_for(feel, from, beat, n) as f64;
        let saved = each * held - self.priors.enter - self.priors.leave;
        Some(Path {
            score: f64::from(score) + saved,
            runs: vec![(0..n).map(|k| from + beat * k as f64).collect()],
        })
    }
}

/// What the beats earn by lying where the player says that they do.
fn rewards(from: f64, beat: f64, n: usize, steering: &Steering) -> f32 {
    let near = |&(at, width, reward): &(f64, f64, f32)| {
        let k = ((at - from) / beat).round().clamp(0.0, n as f64 - 1.0);
        let z = (from + beat * k - at) / width.max(WITHIN * beat);
        reward * (-0.5 * z * z).exp() as f32
    };
    steering.beats.iter().map(near).sum()
}
