//! The strings of a tuning and its capo: how they are written, read and played.

use crate::music::pitch::{Key, read_class};
use crate::unit::{Cents, MidiNote};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Open strings of a guitar and its capo.
///
/// Strings are numbered as players number them: 1 is the highest in place, the last the lowest.
/// A string may be missing: it then has no pitch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tuning {
    /// Open pitch (MIDI number, without capo) by string, string 1 first; 6 to 8 strings.
    open: Vec<Option<i32>>,
    /// Fret the capo sits on, 0 for none.
    capo: i32,
    /// Whole cents each string is tuned off that pitch, string 1 first; empty when none is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    cents: Vec<i32>,
}

/// What is wrong with a tuning as somebody spelled it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TuningError {
    /// Something that is no note name.
    #[error(
        "`{0}` is not a string: write each string from the lowest as a note, like `D A D G A D`, \
         `D2 A2 D3 F#3 A3 D4` or `D-15` for 15 cents flat, and `x` for a missing string"
    )]
    Word(String),
    /// Too few or too many strings.
    #[error("a guitar here has 6 to 8 strings; {0} are given")]
    Count(usize),
    /// Only missing strings.
    #[error("every string is missing")]
    Empty,
    /// Further from the note than from its neighbour.
    #[error(
        "`{0}` is more than 50 cents off its note and nearer to another: name the note that is \
         nearest"
    )]
    Cents(String),
    /// A pitch that no guitar string holds.
    #[error("`{0}` is not a pitch for a guitar string: B0 to E6 can be given")]
    Pitch(String),
}

/// Standard pitches of up to eight strings, string 1 first, from which octaves are filled in.
const STANDARD: [i32; 8] = [64, 59, 55, 50, 45, 40, 35, 30];

/// Highest fret a capo can sit on here.
pub const HIGHEST_CAPO: i32 = 12;

impl Tuning {
    /// A tuning from the open pitches of its strings, **lowest string first** as players spell
    /// it (`E A D G B E`), without capo.
    pub fn low_to_high(open: &[i32]) -> Self {
        Self {
            open: open.iter().rev().copied().map(Some).collect(),
            capo: 0,
            cents: Vec::new(),
        }
    }

    /// Standard tuning, E2 A2 D3 G3 B3 E4.
    pub fn standard() -> Self {
        Self::low_to_high(&[40, 45, 50, 55, 59, 64])
    }

    /// D2 A2 D3 G3 A3 D4.
    pub fn dadgad() -> Self {
        Self::low_to_high(&[38, 45, 50, 55, 57, 62])
    }

    /// Reads strings from the lowest: `D A D G A D`, `DADGAD`, `D2 A2 D3 F#3 A3 D4`; `x` is a
    /// missing string, `D-15` is 15 cents flat. Without octave each string lies where it is
    /// nearest to standard tuning.
    ///
    /// # Errors
    /// [`TuningError`] says which word cannot be read.
    pub fn parse(text: &str) -> Result<Self, TuningError> {
        let words = split(text);
        if !(6..=8).contains(&words.len()) {
            let known = words.iter().find(|w| read_string(w, 1).is_err());
            return Err(match known {
                Some(word) => TuningError::Word(word.clone()),
                None => TuningError::Count(words.len()),
            });
        }
        let mut open = Vec::new();
        let mut cents = Vec::new();
        for (i, word) in words.iter().rev().enumerate() {
            let (midi, off) = read_string(word, i)?;
            open.push(midi);
            cents.push(off);
        }
        if open.iter().all(Option::is_none) {
            return Err(TuningError::Empty);
        }
        if cents.iter().all(|c| *c == 0) {
            cents.clear();
        }
        Ok(Self {
            open,
            capo: 0,
            cents,
        })
    }

    /// The same strings with the capo at `fret`, kept between 0 and [`HIGHEST_CAPO`].
    pub fn with_capo(mut self, fret: i32) -> Self {
        self.capo = fret.clamp(0, HIGHEST_CAPO);
        self
    }

    /// Fret of the capo, 0 for none.
    pub fn capo(&self) -> i32 {
        self.capo
    }

    /// Number of strings, missing ones included.
    pub fn strings(&self) -> u8 {
        self.open.len() as u8
    }

    /// Sounding pitch (MIDI number) of `string` (1 = highest) when played open, capo included;
    /// none for a missing string.
    pub fn open(&self, string: u8) -> Option<i32> {
        let index = usize::from(string).checked_sub(1)?;
        let open = self.open.get(index).copied().flatten()?;
        Some(open + self.capo)
    }

    /// Cents that `string` is tuned off its equal-tempered pitch.
    pub fn off(&self, string: u8) -> Cents {
        let index = usize::from(string).wrapping_sub(1);
        Cents(f64::from(self.cents.get(index).copied().unwrap_or(0)))
    }

    /// The fret above the capo (0 = open) at which `string` sounds `midi`, where it can be
    /// played at all: 0 to `highest`.
    pub fn fret(&self, string: u8, midi: i32, highest: i32) -> Option<i32> {
        let fret = midi - self.open(string)?;
        (0..=highest).contains(&fret).then_some(fret)
    }

    /// Every place where `midi` sounds, highest string first: (string, fret above the capo).
    pub fn places(&self, midi: i32, highest: i32) -> Vec<(u8, i32)> {
        (1..=self.strings())
            .filter_map(|string| self.fret(string, midi, highest).map(|fret| (string, fret)))
            .collect()
    }

    /// Sounding pitch of `string` at `fret` above the capo, with the cents it is tuned off.
    pub fn sounding(&self, string: u8, fret: i32) -> Option<MidiNote> {
        self.open(string)
            .map(|open| MidiNote(f64::from(open + fret)).detuned(self.off(string)))
    }

    /// The string whose open pitch, capo included, lies nearest to `pitch`, and how far `pitch` is above it.
    pub fn nearest_string(&self, pitch: MidiNote) -> Option<(u8, Cents)> {
        let off = |string: u8| {
            let open = self.sounding(string, 0)?;
            Some((string, Cents(100.0 * (pitch.0 - open.0))))
        };
        let strings = (1..=self.strings()).filter_map(off);
        strings.min_by(|a, b| a.1.0.abs().total_cmp(&b.1.0.abs()))
    }

    /// Lowest and highest sounding open pitch.
    pub fn range(&self) -> Option<(i32, i32)> {
        let open = (1..=self.strings()).filter_map(|s| self.open(s));
        Some((open.clone().min()?, open.max()?))
    }
}

impl fmt::Display for Tuning {
    /// Strings from the lowest, without octaves where [`Tuning::parse`] would fill in the same.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, open) in self.open.iter().enumerate().rev() {
            let Some(open) = open else {
                write!(f, "x")?;
                if i > 0 {
                    write!(f, " ")?;
                }
                continue;
            };
            let name = Key { fifths: 1 }.class_name(*open);
            let implied = read_string(&name, i).ok().and_then(|(midi, _)| midi);
            if implied == Some(*open) {
                write!(f, "{name}")?;
            } else {
                write!(f, "{}", Key { fifths: 1 }.pitch_name(*open))?;
            }
            let off = self.off(i as u8 + 1).0;
            if off != 0.0 {
                write!(f, "{off:+}")?;
            }
            if i > 0 {
                write!(f, " ")?;
            }
        }
        if self.capo > 0 {
            write!(f, ", capo {}", self.capo)?;
        }
        Ok(())
    }
}

/// Words of a spelled tuning; `DADGAD` and `DADF#AD` are split at their letters.
fn split(text: &str) -> Vec<String> {
    let text = text.trim();
    if text.contains([' ', ',']) {
        return text
            .split([' ', ','])
            .filter(|word| !word.is_empty())
            .map(str::to_owned)
            .collect();
    }
    let upper = if text.chars().any(|c| c.is_ascii_uppercase()) {
        text.to_owned()
    } else {
        text.to_uppercase()
    };
    let mut words: Vec<String> = Vec::new();
    for c in upper.chars() {
        match words.last_mut() {
            Some(word) if !(c.is_ascii_uppercase() || c == 'x') => word.push(c),
            _ => words.push(c.to_string()),
        }
    }
    words
}

/// One string's word: pitch (none when missing) and cents. `index` counts strings from the
/// highest, 0 first.
fn read_string(word: &str, index: usize) -> Result<(Option<i32>, i32), TuningError> {
    let wrong = || TuningError::Word(word.to_owned());
    if word.eq_ignore_ascii_case("x") {
        return Ok((None, 0));
    }
    let mut letters = word.chars();
    let capital = letters.next().ok_or_else(wrong)?.to_ascii_uppercase();
    let spelled = format!("{capital}{}", letters.as_str());
    let (semitones, _, rest) = read_class(&spelled).ok_or_else(wrong)?;
    let sign = rest.find(['+', '-']).unwrap_or(rest.len());
    let (octave, cents) = rest.split_at(sign);
    let cents: i32 = match cents {
        "" => 0,
        given => given.parse().map_err(|_| wrong())?,
    };
    if !(-50..=50).contains(&cents) {
        return Err(TuningError::Cents(word.to_owned()));
    }
    let midi = if octave.is_empty() {
        let near = STANDARD.get(index).copied().unwrap_or(STANDARD[5]);
        // From six semitones below standard pitch to five above.
        near - 6 + (semitones - near + 6).rem_euclid(12)
    } else {
        let octave: i32 = octave.parse().map_err(|_| wrong())?;
        if !(0..=6).contains(&octave) {
            return Err(TuningError::Pitch(word.to_owned()));
        }
        12 * (octave + 1) + semitones
    };
    if (23..=88).contains(&midi) {
        Ok((Some(midi), cents))
    } else {
        Err(TuningError::Pitch(word.to_owned()))
    }
}
