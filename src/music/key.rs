//! Which key was it? From how often each pitch class is played.
//!
//! The profiles of Albrecht and Shanahan ("The use of large corpora to train a new type of
//! key-finding algorithm", Music Perception 31, 2013; figures from memory): the share of each degree
//! in many major and many minor pieces. The key is the one whose shares lie nearest (Euclidean
//! distance) to those that were heard. Owns the key of a whole piece, not its changes.

use super::note::{Attack, Note};
use super::pitch::Key;
use super::scale::{Scale, ScaleKind};
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
    of_counts(&counted(notes, offset))
}

/// How often each pitch class was played.
fn counted(notes: &[Note], offset: Cents) -> [usize; 12] {
    let mut counts = [0; 12];
    let played = notes
        .iter()
        .filter(|n| !matches!(n.attack, Attack::Tap | Attack::Dead));
    for pitch in played.filter_map(|n| n.pitch) {
        let class = pitch.detuned(Cents(-offset.0)).nearest().rem_euclid(12);
        counts[class as usize] += 1;
    }
    counts
}

/// Which two shares of a profile change places.
type Swapped = Option<(usize, usize)>;

/// Modes that are suggested: by name, which shares of the major or minor profile change places, and
/// how often a fingerstyle piece is taken to be in it before a note is heard (set by hand).
const MODES: [(&str, bool, Swapped, f64); 6] = [
    ("major", false, None, 0.45),
    ("minor", true, None, 0.27),
    ("mixolydian", false, Some((10, 11)), 0.12),
    ("dorian", true, Some((8, 9)), 0.1),
    ("lydian", false, Some((5, 6)), 0.03),
    ("phrygian", true, Some((1, 2)), 0.03),
];

/// So many notes tell a key at most: a pattern that goes round says the same again (set by hand).
const TELLING: f64 = 24.0;

/// Scales that the notes of a recording may be in, the likeliest first, with odds that sum to 1 over
/// all of them: the same profiles, those of other modes with the shares of two degrees exchanged, and
/// Bayes' rule. The odds are not fitted on anything. Of `kinds` those count that are modes; empty when
/// fewer than eight notes were heard.
pub fn suggestions(notes: &[Note], offset: Cents, kinds: &[ScaleKind]) -> Vec<(Scale, f64)> {
    let counts = counted(notes, offset);
    let all: usize = counts.iter().sum();
    if all < ENOUGH {
        return Vec::new();
    }
    let weight = TELLING.min(all as f64) / all as f64;
    let mut found = Vec::new();
    for (name, minor, exchanged, prior) in MODES {
        let Some(kind) = kinds.iter().find(|k| k.name == name) else {
            continue;
        };
        let mut profile = if minor { MINOR } else { MAJOR };
        if let Some((a, b)) = exchanged {
            profile.swap(a, b);
        }
        for tonic in 0..12 {
            // Spelled as in the major key of the same signature, which has few accidentals.
            let spelled = Key::new(7 * (tonic + 7 * kind.fifths)).class_name(tonic);
            let Some(scale) = Scale::on(&spelled, kind) else {
                continue;
            };
            let likely: f64 = (0..12)
                .map(|degree| {
                    let class = (tonic as usize + degree) % 12;
                    counts[class] as f64 * profile[degree].ln()
                })
                .sum();
            found.push((scale, prior.ln() + weight * likely));
        }
    }
    let most = found.iter().map(|f| f.1).fold(f64::MIN, f64::max);
    let sum: f64 = found.iter().map(|f| (f.1 - most).exp()).sum();
    for (_, odds) in &mut found {
        *odds = (*odds - most).exp() / sum;
    }
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found
}
