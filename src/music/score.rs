//! A piece as written: notes at beats, on strings and frets, for thumb and fingers.
//!
//! Owns what is on the page. When a player really plays it is `performance`; where beats lie in a
//! recording is `grid`; how a page is written to a file is `report`.

use super::harmonics;
use super::meter::Meter;
use super::note::{Attack, Role};
use super::pitch::Key;
use super::tuning::Tuning;
use crate::unit::{Beats, Bpm, MidiNote};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A plucking finger, by its usual letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Finger {
    /// Thumb.
    P,
    /// Index finger.
    I,
    /// Middle finger.
    M,
    /// Ring finger.
    A,
}

impl Finger {
    /// The usual finger for a string: the thumb on 4 and lower, then i, m, a on 3, 2, 1.
    pub fn usual(string: u8) -> Self {
        match string {
            1 => Self::A,
            2 => Self::M,
            3 => Self::I,
            _ => Self::P,
        }
    }

    /// The part this finger plays.
    pub fn role(self) -> Role {
        match self {
            Self::P => Role::Bass,
            _ => Role::Melody,
        }
    }

    /// Its letter: p, i, m or a.
    pub fn letter(self) -> char {
        match self {
            Self::P => 'p',
            Self::I => 'i',
            Self::M => 'm',
            Self::A => 'a',
        }
    }

    /// The finger of a letter.
    pub fn of_letter(letter: char) -> Option<Self> {
        [Self::P, Self::I, Self::M, Self::A]
            .into_iter()
            .find(|finger| finger.letter() == letter)
    }
}

impl fmt::Display for Finger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.letter())
    }
}

/// One written note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Written {
    /// Position in beats after the first beat of bar 1.
    pub at: Beats,
    /// Written length in beats, above 0.
    pub length: Beats,
    /// String, 1 = highest.
    pub string: u8,
    /// Fret above the capo, 0 = open; of a harmonic, the fret nearest to the node.
    pub fret: u8,
    /// Thumb's part or fingers' part.
    pub role: Role,
    /// Which finger plucks, where it is said.
    pub finger: Option<Finger>,
    /// How it begins.
    pub attack: Attack,
}

impl Written {
    /// A plucked note with the usual finger for its string.
    pub fn pluck(at: Beats, length: Beats, string: u8, fret: u8) -> Self {
        let finger = Finger::usual(string);
        Self {
            at,
            length,
            string,
            fret,
            role: finger.role(),
            finger: Some(finger),
            attack: Attack::Pluck,
        }
    }
}

/// A piece as written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Score {
    /// What it is called.
    pub title: String,
    /// Strings and capo.
    pub tuning: Tuning,
    /// Time signature.
    pub meter: Meter,
    /// Beats a minute.
    pub tempo: Bpm,
    /// Key signature: how pitches are spelled.
    pub key: Key,
    /// Notes in order of position.
    pub notes: Vec<Written>,
}

/// What is wrong with a written tune.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ScoreError {
    /// A word that is not `beat:string.fret`.
    #[error("bar {bar}: `{word}` is not a note like `2&:1.3` (beat, string, fret)")]
    Word {
        /// Bar, from 1.
        bar: usize,
        /// The word.
        word: String,
    },
    /// A string that the tuning does not have.
    #[error("bar {bar}: there is no string {string} in this tuning")]
    String {
        /// Bar, from 1.
        bar: usize,
        /// The string.
        string: u8,
    },
}

impl Score {
    /// Reads a tune with one line a bar, each word one note `beat:string.fret`: the beat as in
    /// [`read_count`]; after the fret `h` for a
    /// hammer-on, `p` for a pull-off, `*` for a natural harmonic, `x` for a dead note.
    ///
    /// # Errors
    /// [`ScoreError`] names the bar and the word that cannot be read.
    pub fn parse(
        title: &str,
        tuning: Tuning,
        meter: Meter,
        tempo: Bpm,
        bars: &str,
    ) -> Result<Self, ScoreError> {
        let mut notes = Vec::new();
        let lines = bars.lines().map(str::trim).filter(|line| !line.is_empty());
        for (i, line) in lines.enumerate() {
            let start = i as f64 * f64::from(meter.beats());
            for word in line.split_whitespace() {
                let (beat, mut note) = read_word(word, meter).ok_or_else(|| ScoreError::Word {
                    bar: i + 1,
                    word: word.to_owned(),
                })?;
                if tuning.open(note.string).is_none() {
                    return Err(ScoreError::String {
                        bar: i + 1,
                        string: note.string,
                    });
                }
                note.at = Beats(start + beat);
                notes.push(note);
            }
        }
        let mut score = Self {
            title: title.to_owned(),
            tuning,
            meter,
            tempo,
            key: Key::default(),
            notes,
        };
        score.settle();
        Ok(score)
    }

    /// Puts notes in order and lets each last until the next of its part, at most to the bar's end.
    pub fn settle(&mut self) {
        self.notes
            .sort_by(|a, b| (a.at.total_cmp(&b.at)).then(b.string.cmp(&a.string)));
        let per_bar = f64::from(self.meter.beats().max(1));
        for i in 0..self.notes.len() {
            let note = &self.notes[i];
            let bar_end = ((note.at.0 / per_bar + 1e-9).floor() + 1.0) * per_bar;
            let next = self.notes[i..]
                .iter()
                .find(|n| n.role == note.role && n.at.0 > note.at.0 + 1e-9)
                .map_or(bar_end, |n| n.at.0.min(bar_end));
            self.notes[i].length = Beats(next - self.notes[i].at.0);
        }
    }

    /// Sounding pitch of a note of this score; none where its string is missing.
    pub fn pitch(&self, note: &Written) -> Option<MidiNote> {
        if note.attack == Attack::Harmonic {
            let number = harmonics::number_at(note.fret)?;
            let open = self.tuning.sounding(note.string, 0)?;
            return Some(MidiNote::of_hz(open.hz() * f64::from(number)));
        }
        self.tuning.sounding(note.string, i32::from(note.fret))
    }

    /// Length in whole bars, at least 1.
    pub fn bars(&self) -> usize {
        let per_bar = f64::from(self.meter.beats().max(1));
        let last = self.notes.iter().map(|n| n.at.0).fold(0.0, f64::max);
        (last / per_bar + 1e-9).floor() as usize + 1
    }
}

/// A place in the bar as counted, in beats after the bar's start: `1`, `2&` (half), `3e`, `3a`
/// (quarters). In compound meters the upper figure is counted: `4` of 6/8 is its second beat.
pub fn read_count(text: &str, meter: Meter) -> Option<Beats> {
    let digits = text.trim_end_matches(['&', 'e', 'a']);
    let part = match &text[digits.len()..] {
        "" => 0.0,
        "e" => 0.25,
        "&" => 0.5,
        "a" => 0.75,
        _ => return None,
    };
    let count: u8 = digits.parse().ok().filter(|c| (1..=99).contains(c))?;
    let counts_a_beat = if meter.is_compound() { 3.0 } else { 1.0 };
    Some(Beats((f64::from(count - 1) + part) / counts_a_beat))
}

/// One word as (beats after the bar's start, note at 0).
fn read_word(word: &str, meter: Meter) -> Option<(f64, Written)> {
    let (beat, place) = word.split_once(':')?;
    let beat = read_count(beat, meter)?;
    let (string, fret) = place.split_once('.')?;
    let digits = fret.trim_end_matches(['h', 'p', '*', 'x']);
    let attack = match &fret[digits.len()..] {
        "" => Attack::Pluck,
        "h" => Attack::HammerOn,
        "p" => Attack::PullOff,
        "*" => Attack::Harmonic,
        "x" => Attack::Dead,
        _ => return None,
    };
    let mut note = Written::pluck(
        Beats(0.0),
        Beats(1.0),
        string.parse().ok()?,
        digits.parse().ok().filter(|f| *f <= 24)?,
    );
    note.attack = attack;
    if matches!(attack, Attack::HammerOn | Attack::PullOff) {
        note.finger = None;
    }
    Some((beat.0, note))
}
