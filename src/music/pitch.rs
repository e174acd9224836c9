//! Names of pitches: letters, accidentals and octaves (C4 = MIDI 60).
//!
//! Owns reading and spelling. A key is a place on the line of fifths; a pitch class is spelled by
//! the name that lies nearest to the key on that line, so D major has F# and F major has Bb.

use serde::{Deserialize, Serialize};

/// A spelled pitch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Name {
    /// C, D, E, F, G, A or B.
    pub letter: char,
    /// Semitones by accidentals: −1 flat, 1 sharp.
    pub alter: i32,
    /// Octave of the letter as written: B#3 sounds as C4.
    pub octave: i32,
}

/// A key by its place on the line of fifths: 0 is C major or A minor, 1 has one sharp, −1 one
/// flat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
pub struct Key {
    /// Sharps (above 0) or flats (below 0), −7 to 7.
    pub fifths: i32,
}

/// Letters along the line of fifths from F.
const FIFTHS: [char; 7] = ['F', 'C', 'G', 'D', 'A', 'E', 'B'];

impl Key {
    /// A key of `fifths` sharps or flats, brought into −6 to 6 by enharmonic change.
    pub fn new(fifths: i32) -> Self {
        Self {
            fifths: (fifths + 5).rem_euclid(12) - 5,
        }
    }

    /// Letter and accidental of a pitch class (0 = C) in this key.
    pub fn spell(self, class: i32) -> (char, i32) {
        // The key's own notes lie from one fifth below its major tonic to five above.
        let place = (7 * class - (self.fifths - 4)).rem_euclid(12) + self.fifths - 4;
        let from_f = place + 1;
        (FIFTHS[from_f.rem_euclid(7) as usize], from_f.div_euclid(7))
    }

    /// The spelled name of a MIDI pitch.
    pub fn name(self, midi: i32) -> Name {
        let (letter, alter) = self.spell(midi.rem_euclid(12));
        Name {
            letter,
            alter,
            octave: (midi - alter).div_euclid(12) - 1,
        }
    }

    /// The name of a pitch class, like `F#`.
    pub fn class_name(self, class: i32) -> String {
        let (letter, alter) = self.spell(class.rem_euclid(12));
        format!("{letter}{}", accidentals(alter))
    }

    /// The name of a pitch with its octave, like `F#3`.
    pub fn pitch_name(self, midi: i32) -> String {
        let name = self.name(midi);
        format!("{}{}{}", name.letter, accidentals(name.alter), name.octave)
    }
}

fn accidentals(alter: i32) -> String {
    let sign = if alter < 0 { "b" } else { "#" };
    sign.repeat(alter.unsigned_abs() as usize)
}

/// Semitones of a letter above C.
pub fn letter_semitones(letter: char) -> Option<i32> {
    Some(match letter.to_ascii_uppercase() {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    })
}

/// A note name at the start of `text`: its semitones above the C of its octave (−1 to 12), its
/// place on the line of fifths, and what follows. `#`/`♯` and `b`/`♭` are accidentals.
pub fn read_class(text: &str) -> Option<(i32, i32, &str)> {
    let letter = text.chars().next()?;
    let mut semitones = letter_semitones(letter)?;
    let mut fifths = FIFTHS
        .iter()
        .position(|l| *l == letter.to_ascii_uppercase())? as i32
        - 1;
    let mut rest = &text[1..];
    for _ in 0..2 {
        let Some(sign) = rest.chars().next() else {
            break;
        };
        let step = match sign {
            '#' | '♯' => 1,
            'b' | '♭' => -1,
            _ => break,
        };
        semitones += step;
        fifths += 7 * step;
        rest = &rest[sign.len_utf8()..];
    }
    Some((semitones, fifths, rest))
}

/// A pitch like `D3`, `F#4` or `Bb2` as a MIDI number, −12 to 127.
pub fn read_pitch(text: &str) -> Option<i32> {
    let (semitones, _, octave) = read_class(text.trim())?;
    let octave: i32 = octave.parse().ok().filter(|o| (-2..=9).contains(o))?;
    Some(12 * (octave + 1) + semitones)
}
