//! What a capo does: the shapes that sound a chord, and where to put it for open strings.

use super::chord::{Chord, keys_chords, shapes};
use super::hand::Hand;
use super::pitch::Key;
use super::scale::{Scale, ScaleKind};
use super::tuning::Tuning;

/// The chord whose shape a player holds behind a capo at `capo` so that `sounding` sounds: with the
/// capo at 2, D is a C shape.
pub fn shape_of(sounding: &Chord, capo: i32) -> Chord {
    let root = (sounding.root - capo).rem_euclid(12);
    // Spelled as players name shapes: few accidentals.
    let minor = if sounding.is_minor() { 3 } else { 0 };
    let place = (7 * root + 5).rem_euclid(12) - 5 - minor;
    let mut shape = Chord::of(root, &sounding.steps, Key::new(place));
    if let Some(bass) = sounding.bass {
        let bass = (bass - capo).rem_euclid(12);
        shape.name.push('/');
        shape.name.push_str(&shape.key.class_name(bass));
        shape.bass = Some(bass);
    }
    shape
}

/// `C shape, sounds D`; the name alone without a capo.
pub fn words(sounding: &Chord, capo: i32) -> String {
    if capo == 0 {
        sounding.name.clone()
    } else {
        format!(
            "{} shape, sounds {}",
            shape_of(sounding, capo).name,
            sounding.name
        )
    }
}

/// One place for the capo.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Fret of the capo, 0 for none.
    pub capo: i32,
    /// The key whose shapes are held.
    pub shapes_of: String,
    /// Open strings that ring in the easiest shapes of the key's main chords, on average.
    pub open: f64,
    /// Effort of those shapes, on average.
    pub effort: f64,
    /// The shapes: the chord that sounds, the chord held, its diagram from the lowest string.
    pub chords: Vec<(String, String, String)>,
}

/// Highest fret that a capo is put on for a key.
const HIGHEST: i32 = 7;

/// Where to put the capo for the main chords of `kind` on `tonic` in `tuning` (its own capo aside),
/// best first: easy shapes with many open strings, low on the neck. None when `tonic` is no note.
pub fn choices(tonic: &str, kind: &ScaleKind, tuning: &Tuning) -> Option<Vec<Choice>> {
    let sounding = Scale::on(tonic, kind)?;
    let wanted = keys_chords(&sounding);
    let mut found: Vec<(f64, Choice)> = Vec::new();
    for capo in 0..=HIGHEST {
        let strings = tuning.clone().with_capo(capo);
        let hand = Hand::with_capo(capo);
        let mut chords = Vec::new();
        let (mut open, mut effort, mut cost) = (0.0, 0.0, 0.0);
        for chord in &wanted {
            let Some(shape) = shapes(chord, &strings, &hand, 1).into_iter().next() else {
                break;
            };
            open += shape.open().len() as f64;
            effort += shape.grip.effort;
            cost += shape.cost;
            let held = if capo == 0 {
                chord.clone()
            } else {
                shape_of(chord, capo)
            };
            chords.push((chord.name.clone(), held.name, shape.diagram()));
        }
        if chords.is_empty() || chords.len() < wanted.len() {
            continue;
        }
        let many = chords.len() as f64;
        let tonic_shape = chords[0].1.trim_end_matches('m').to_owned();
        let choice = Choice {
            capo,
            shapes_of: format!("{tonic_shape} {}", kind.name),
            open: open / many,
            effort: effort / many,
            chords,
        };
        found.push((cost / many + 0.06 * f64::from(capo), choice));
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(found.into_iter().map(|(_, choice)| choice).collect())
}
