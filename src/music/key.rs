//! Which key was it? From how often each pitch class is played.
//!
//! The profiles of Albrecht and Shanahan ("The use of large corpora to train a new type of
//! key-finding algorithm", Music Perception 31, 2013; figures from memory): the share of each degree
//! in many major and many minor pieces. The key is the one whose shares lie nearest (Euclidean
//! distance) to those that were heard. Owns the key of a whole piece, not its changes.

use super::note::{Attack, Note};
use super::pitch::Key;
use crate::unit::Cents;

/// Shares of the twelve degrees from the tonic up.
const MAJOR: [f64; 12] = [
    0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081,
];
const MINOR: [f64; 12] = [
    0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052,
];

/// Fewest notes that tell a key.
const ENOUGH: usize = 8;

/// A tonic and its mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tonality {
    /// Pitch class of the tonic, 0 = C.
    pub tonic: i32,
    /// Minor; otherwise major.
    pub minor: bool,
}

impl Tonality {
    /// Its key signature, −5 to 6 fifths.
    pub fn signature(self) -> Key {
        let major = self.tonic + if self.minor { 3 } else { 0 };
        Key::new(7 * major)
    }
}

/// The tonality of pitch classes that were heard so often each; none when fewer than eight notes
/// were.
pub fn of_counts(counts: &[usize; 12]) -> Option<Tonality> {
    let all: usize = counts.iter().sum();
    let distance = |tonality: &Tonality| -> f64 {
        let profile = if tonality.minor { MINOR } else { MAJOR };
        (0..12)
            .map(|degree| {
                let class = (tonality.tonic as usize + degree) % 12;
                (counts[class] as f64 / all as f64 - profile[degree]).powi(2)
            })
            .sum()
    };
    let each = |tonic| [false, true].map(|minor| Tonality { tonic, minor });
    (all >= ENOUGH)
        .then(|| {
            (0..12)
                .flat_map(each)
                .min_by(|a, b| distance(a).total_cmp(&distance(b)))
        })
        .flatten()
}

/// The tonality of the notes of a recording; `offset` is the guitar's distance from 440 Hz.
pub fn of_notes(notes: &[Note], offset: Cents) -> Option<Tonality> {
    let mut counts = [0; 12];
    let played = notes
        .iter()
        .filter(|n| !matches!(n.attack, Attack::Tap | Attack::Dead));
    for pitch in played.filter_map(|n| n.pitch) {
        let class = pitch.detuned(Cents(-offset.0)).nearest().rem_euclid(12);
        counts[class as usize] += 1;
    }
    of_counts(&counts)
}
