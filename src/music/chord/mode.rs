//! The chords that players of a mode use.

use super::symbol::Chord;
use crate::music::scale::Scale;

const MAJOR: &[i32] = &[0, 4, 7];
const MINOR: &[i32] = &[0, 3, 7];
const SEVENTH: &[i32] = &[0, 4, 7, 10];

/// Chords of a mode: semitones above its tonic and the kind of chord, the main ones first. Common
/// practice, no source: a mixolydian tune goes to bVII, a dorian one to IV, a minor one to v or V.
type Mode = (&'static [i32], &'static [(i32, &'static [i32])]);

const MODES: &[Mode] = &[
    // major
    (
        &[0, 2, 4, 5, 7, 9, 11],
        &[
            (0, MAJOR),
            (5, MAJOR),
            (7, MAJOR),
            (9, MINOR),
            (2, MINOR),
            (4, MINOR),
        ],
    ),
    // mixolydian
    (
        &[0, 2, 4, 5, 7, 9, 10],
        &[
            (0, MAJOR),
            (10, MAJOR),
            (5, MAJOR),
            (7, MINOR),
            (2, MINOR),
            (9, MINOR),
        ],
    ),
    // lydian
    (
        &[0, 2, 4, 6, 7, 9, 11],
        &[
            (0, MAJOR),
            (2, MAJOR),
            (7, MAJOR),
            (11, MINOR),
            (9, MINOR),
            (4, MINOR),
        ],
    ),
    // dorian
    (
        &[0, 2, 3, 5, 7, 9, 10],
        &[
            (0, MINOR),
            (5, MAJOR),
            (10, MAJOR),
            (3, MAJOR),
            (7, MINOR),
            (2, MINOR),
        ],
    ),
    // minor
    (
        &[0, 2, 3, 5, 7, 8, 10],
        &[
            (0, MINOR),
            (5, MINOR),
            (7, MINOR),
            (7, MAJOR),
            (3, MAJOR),
            (8, MAJOR),
            (10, MAJOR),
        ],
    ),
    // phrygian
    (
        &[0, 1, 3, 5, 7, 8, 10],
        &[
            (0, MINOR),
            (1, MAJOR),
            (3, MAJOR),
            (5, MINOR),
            (8, MAJOR),
            (10, MINOR),
        ],
    ),
    // harmonic minor
    (
        &[0, 2, 3, 5, 7, 8, 11],
        &[(0, MINOR), (5, MINOR), (7, MAJOR), (7, SEVENTH), (8, MAJOR)],
    ),
    // melodic minor
    (
        &[0, 2, 3, 5, 7, 9, 11],
        &[(0, MINOR), (5, MAJOR), (7, MAJOR), (2, MINOR)],
    ),
    // major pentatonic, major blues
    (
        &[0, 2, 4, 7, 9],
        &[(0, MAJOR), (5, MAJOR), (7, MAJOR), (9, MINOR), (2, MINOR)],
    ),
    (
        &[0, 2, 3, 4, 7, 9],
        &[(0, SEVENTH), (5, SEVENTH), (7, SEVENTH)],
    ),
    // minor pentatonic
    (
        &[0, 3, 5, 7, 10],
        &[(0, MINOR), (3, MAJOR), (5, MINOR), (7, MINOR), (10, MAJOR)],
    ),
    // blues
    (
        &[0, 3, 5, 6, 7, 10],
        &[(0, SEVENTH), (5, SEVENTH), (7, SEVENTH)],
    ),
];

const NUMERALS: [&str; 12] = [
    "I", "bII", "II", "bIII", "III", "IV", "bV", "V", "bVI", "VI", "bVII", "VII",
];

/// The chords that players of the scale's mode use, the main ones first; of a scale without a mode of
/// its own, those of the major or minor key on its tonic.
pub fn main_chords(scale: &Scale) -> Vec<Chord> {
    let minor = scale.steps.contains(&3) && !scale.steps.contains(&4);
    let usual = if minor { &MODES[4] } else { &MODES[0] };
    let mode = MODES.iter().find(|m| m.0 == scale.steps).unwrap_or(usual);
    mode.1
        .iter()
        .map(|(above, steps)| {
            let root = (scale.tonic + above).rem_euclid(12);
            let mut chord = Chord::of(root, steps, scale.key);
            let spelled = scale.class_name(root);
            let kind = &chord.name[scale.key.class_name(root).len()..];
            chord.name = format!("{spelled}{kind}");
            let numeral = NUMERALS[above.rem_euclid(12) as usize];
            let small = if steps.contains(&3) {
                numeral
                    .replace("VII", "vii")
                    .replace('V', "v")
                    .replace('I', "i")
            } else {
                numeral.to_owned()
            };
            chord.degree = if steps.len() > 3 {
                format!("{small}7")
            } else {
                small
            };
            chord
        })
        .collect()
}

/// I, IV, V and vi of a major key (i, iv, V and bVI of a minor one): what most songs in it need.
pub fn keys_chords(scale: &Scale) -> Vec<Chord> {
    let wanted: &[&str] = if scale.steps.contains(&4) {
        &["I", "IV", "V", "vi"]
    } else {
        &["i", "iv", "V", "bVI"]
    };
    main_chords(scale)
        .into_iter()
        .filter(|c| wanted.contains(&c.degree.as_str()))
        .collect()
}
