//! What a chord's name means.

use crate::music::pitch::{Key, read_class};
use crate::music::tuning::Tuning;

/// A chord.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chord {
    /// Its name, like `Bm7` or `D/F#`.
    pub name: String,
    /// Roman numeral in its key, like `bVII`; empty when it stands alone.
    pub degree: String,
    /// Pitch class of the root, 0 = C.
    pub root: i32,
    /// Semitones above the root, rising from 0, each below 12.
    pub steps: Vec<i32>,
    /// Pitch class of the bass, where the name asks for one.
    pub bass: Option<i32>,
    /// How its notes are spelled.
    pub key: Key,
}

/// Names after the root, the first is ours, and what they mean in semitones above the root.
const KINDS: &[(&[&str], &[i32])] = &[
    (&["", "maj", "M", "major"], &[0, 4, 7]),
    (&["m", "min", "-", "minor"], &[0, 3, 7]),
    (&["5"], &[0, 7]),
    (&["sus2"], &[0, 2, 7]),
    (&["sus4", "sus"], &[0, 5, 7]),
    (&["add9", "add2"], &[0, 2, 4, 7]),
    (&["m(add9)", "madd9"], &[0, 2, 3, 7]),
    (&["add4", "add11"], &[0, 4, 5, 7]),
    (&["6"], &[0, 4, 7, 9]),
    (&["m6"], &[0, 3, 7, 9]),
    (&["7"], &[0, 4, 7, 10]),
    (&["maj7", "M7"], &[0, 4, 7, 11]),
    (&["m7", "min7", "-7"], &[0, 3, 7, 10]),
    (&["7sus4", "7sus"], &[0, 5, 7, 10]),
    (&["9"], &[0, 2, 4, 7, 10]),
    (&["m9"], &[0, 2, 3, 7, 10]),
    (&["dim"], &[0, 3, 6]),
    (&["aug", "+"], &[0, 4, 8]),
    (&["dim7"], &[0, 3, 6, 9]),
    (&["m7b5"], &[0, 3, 6, 10]),
];

/// Why a text is no chord.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not a chord: write a root and a kind, like `D`, `Bm7`, `Asus4`, `Cadd9`, `G5` or `D/F#`"
)]
pub struct ChordError(pub String);

impl Chord {
    /// Reads a name like `Bm`, `F#m7`, `Dsus4`, `Cadd9`, `G5`, `D/F#`.
    ///
    /// # Errors
    /// [`ChordError`] with the text.
    pub fn parse(text: &str) -> Result<Self, ChordError> {
        let text = text.trim();
        let wrong = || ChordError(text.to_owned());
        let (above, bass) = match text.split_once('/') {
            Some((above, bass)) => (above, Some(bass)),
            None => (text, None),
        };
        if !above.starts_with(|c: char| ('A'..='G').contains(&c)) {
            return Err(wrong());
        }
        let (semitones, fifths, kind) = read_class(above).ok_or_else(wrong)?;
        let (names, steps) = KINDS
            .iter()
            .find(|(names, _)| names.contains(&kind))
            .ok_or_else(wrong)?;
        let bass = match bass {
            None => None,
            Some(name) => {
                let (class, _, rest) = read_class(name).ok_or_else(wrong)?;
                if !rest.is_empty() {
                    return Err(wrong());
                }
                Some(class.rem_euclid(12))
            }
        };
        let minor = steps.contains(&3);
        let key = Key::new(fifths - if minor { 3 } else { 0 });
        let mut chord = Self::of(semitones.rem_euclid(12), steps, key);
        let root = &above[..above.len() - kind.len()];
        chord.name = format!("{root}{}", names[0]);
        if let Some(bass) = bass.filter(|b| *b != chord.root) {
            chord.name.push('/');
            chord.name.push_str(&key.class_name(bass));
            chord.bass = Some(bass);
        }
        Ok(chord)
    }

    /// The chord of `steps` on `root`, spelled in `key`.
    pub fn of(root: i32, steps: &[i32], key: Key) -> Self {
        let kind = KINDS.iter().find(|(_, known)| *known == steps);
        let kind = kind.map_or("?", |(names, _)| names[0]);
        Self {
            name: format!("{}{kind}", key.class_name(root)),
            degree: String::new(),
            root,
            steps: steps.to_vec(),
            bass: None,
            key,
        }
    }

    /// The chord that `frets` (string 1 first) sound: the simplest name that has all their notes and
    /// lacks at most the fifth, on the lowest note if it can be. None for fewer than two notes, and for
    /// notes that no name here has.
    pub fn sounding(tuning: &Tuning, frets: &[Option<i32>]) -> Option<Self> {
        let sounding: Vec<i32> = frets
            .iter()
            .enumerate()
            .filter_map(|(i, f)| Some(tuning.open(i as u8 + 1)? + (*f)?))
            .collect();
        let bass = sounding.iter().min()?.rem_euclid(12);
        let mut classes: Vec<i32> = sounding.iter().map(|m| m.rem_euclid(12)).collect();
        classes.sort_unstable();
        classes.dedup();
        if classes.len() < 2 {
            return None;
        }
        let mut best: Option<(usize, Self)> = None;
        for root in &classes {
            for (_, steps) in KINDS {
                let tones: Vec<i32> = steps.iter().map(|s| (root + s).rem_euclid(12)).collect();
                let lacking = tones.iter().filter(|t| !classes.contains(t)).count();
                let fifth = (root + 7).rem_euclid(12);
                let only_fifth = tones.iter().all(|t| classes.contains(t) || *t == fifth);
                if !only_fifth || classes.iter().any(|c| !tones.contains(c)) {
                    continue;
                }
                let rank = 2 * steps.len() + 3 * lacking + if *root == bass { 0 } else { 4 };
                if best.as_ref().is_none_or(|(known, _)| rank < *known) {
                    let minor = if steps.contains(&3) { 3 } else { 0 };
                    let place = (7 * root + 5).rem_euclid(12) - 5 - minor;
                    let mut chord = Self::of(*root, steps, Key::new(place));
                    if *root != bass {
                        chord.name.push('/');
                        chord.name.push_str(&chord.key.class_name(bass));
                        chord.bass = Some(bass);
                    }
                    best = Some((rank, chord));
                }
            }
        }
        best.map(|(_, chord)| chord)
    }

    /// Its pitch classes, the root first; a foreign bass last.
    pub fn classes(&self) -> Vec<i32> {
        let own = self.steps.iter().map(|s| (self.root + s).rem_euclid(12));
        let mut classes: Vec<i32> = own.collect();
        classes.extend(self.bass.filter(|b| !classes.contains(b)));
        classes
    }

    /// Is it minor by its third?
    pub fn is_minor(&self) -> bool {
        self.steps.contains(&3)
    }

    /// Semitones of its third and its fifth, where it has them.
    pub(super) fn third(&self) -> Option<i32> {
        self.steps.iter().copied().find(|s| matches!(s, 3 | 4))
    }

    pub(super) fn fifth(&self) -> Option<i32> {
        self.steps.iter().copied().find(|s| matches!(s, 6..=8))
    }
}
