//! A piece as written: notes at beats, on strings and frets, for thumb and fingers.
//!
//! Owns what is on the page. When a player really plays it is `performance`; where beats lie in a
//! recording is `grid`; how a page is written to a file is `report`.

use super::fingering::Path;
use super::grid::Grid;
use super::harmonics;
use super::meter::Meter;
use super::note::{Attack, Note, Role};
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
    /// Left-hand finger, where it is said: 0 the thumb over the neck, 1 index to 4 little finger.
    #[serde(default)]
    pub left: Option<u8>,
    /// How long it sounds in beats, where that is longer than written: it is let ring.
    #[serde(default)]
    pub rings: Option<Beats>,
    /// What else the right hand does.
    #[serde(default)]
    pub touch: Touch,
}

/// What a stroke has beside its beginning: nothing in most.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Touch {
    /// Played firmly.
    pub accent: bool,
    /// Short, under the palm or by the hand that comes back to the string.
    pub damped: bool,
    /// One stroke over several strings.
    pub brush: Option<Brush>,
}

/// Which way a brush goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Brush {
    /// Towards the floor, from the low strings to the high ones.
    Down,
    /// Back up, from the high strings.
    Up,
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
            left: None,
            rings: None,
            touch: Touch::default(),
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

/// Longest that a note is let ring, in beats.
const LET_RING: f64 = 4.0;

/// What is wrong with a written tune.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
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
    /// A piece of `notes` in any order: sorted, every note as long as its part allows (see
    /// [`settle`](Self::settle)).
    pub fn settled(
        title: &str,
        tuning: &Tuning,
        meter: Meter,
        tempo: Bpm,
        key: Key,
        notes: Vec<Written>,
    ) -> Self {
        let mut score = Self {
            title: title.to_owned(),
            tuning: tuning.clone(),
            meter,
            tempo,
            key,
            notes,
        };
        score.settle();
        score
    }

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

    /// A path over the neck in even beats of 4/4, with left-hand fingers, every note sounding as long
    /// as the hand lets it, four beats at most.
    pub fn of_path(title: &str, tuning: &Tuning, key: Key, path: &Path) -> Self {
        let beats: Vec<Beats> = (0..path.places.len()).map(|i| Beats(i as f64)).collect();
        Self::of_line(title, tuning, key, path, &beats)
    }

    /// The same with each note where `at` says, in beats, rising; as long as the shorter of the two.
    pub fn of_line(title: &str, tuning: &Tuning, key: Key, path: &Path, at: &[Beats]) -> Self {
        let until = path.until();
        let places = path.places.iter().zip(at).enumerate();
        let notes = places
            .filter_map(|(i, (place, at_beat))| {
                let fret = u8::try_from(place.fret).ok()?;
                let mut note = Written::pluck(*at_beat, Beats(1.0), place.string, fret);
                note.finger = None;
                note.left = path.fingers.get(i).copied().flatten();
                let end = until[i].and_then(|later| at.get(i + later));
                let longest = at_beat.0 + LET_RING;
                let end = end.map_or(longest, |end| end.0.min(longest));
                note.rings = Some(Beats((end - at_beat.0).max(0.0)));
                Some(note)
            })
            .collect();
        let mut score = Self {
            title: title.to_owned(),
            tuning: tuning.clone(),
            meter: Meter::COMMON,
            tempo: Bpm(72.0),
            key,
            notes,
        };
        score.settle();
        for note in &mut score.notes {
            // What sounds no longer than it is written needs no sign.
            note.rings = note.rings.filter(|r| r.0 > note.length.0 + 1e-9);
        }
        score
    }

    /// What was heard, on the page: every note at the nearest of `division` parts of a beat, bar 1
    /// at the first downbeat (or its pick-up's bar). Notes without a place are put where the
    /// tuning has them lowest on the neck; what cannot be placed is left out. None without a
    /// grid.
    pub fn of_notes(
        title: &str,
        notes: &[Note],
        grid: &Grid,
        tuning: &Tuning,
        division: u8,
    ) -> Option<Self> {
        Self::with_pickup(title, notes, grid, tuning, division).map(|(score, _)| score)
    }

    /// The same, and how many bars it has before bar 1.
    pub fn with_pickup(
        title: &str,
        notes: &[Note],
        grid: &Grid,
        tuning: &Tuning,
        division: u8,
    ) -> Option<(Self, usize)> {
        let tempo = grid.tempo()?;
        let per_bar = f64::from(grid.meter.beats().max(1));
        let downbeat = grid.beats().iter().position(|b| b.place == 1)? as f64;
        let parts = f64::from(division.max(1));
        let mut written: Vec<Written> = notes
            .iter()
            .filter_map(|note| {
                let at = grid.beat_at(note.time)?.0 - downbeat;
                let mut on_page = on_page(note, tuning)?;
                on_page.at = Beats((at * parts).round() / parts);
                (on_page.at.0 >= -4.0 * per_bar).then_some(on_page)
            })
            .collect();
        let first = written.iter().map(|n| n.at.0).fold(0.0, f64::min);
        let before = (-first / per_bar).ceil();
        for note in &mut written {
            note.at.0 += before * per_bar;
        }
        written.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.string.cmp(&b.string)));
        written.dedup_by(|a, b| a.at == b.at && a.string == b.string);
        let mut score = Self {
            title: title.to_owned(),
            tuning: tuning.clone(),
            meter: grid.meter,
            tempo,
            key: Key::default(),
            notes: written,
        };
        score.settle();
        Some((score, before as usize))
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

    /// Lets every note ring until its string is played again, four beats at most: how a shape that is
    /// held sounds. Damped and dead notes stay short.
    pub fn let_ring(&mut self) {
        for i in 0..self.notes.len() {
            let note = &self.notes[i];
            if note.touch.damped || matches!(note.attack, Attack::Dead | Attack::Tap) {
                continue;
            }
            let again = self.notes[i + 1..]
                .iter()
                .find(|n| n.string == note.string && n.at.0 > note.at.0 + 1e-9);
            let rings = again.map_or(LET_RING, |n| (n.at.0 - note.at.0).min(LET_RING));
            self.notes[i].rings = (rings > note.length.0 + 1e-9).then_some(Beats(rings));
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

/// A heard note as it is written, at beat 0.
fn on_page(note: &Note, tuning: &Tuning) -> Option<Written> {
    const HIGHEST: i32 = 19;
    let pitch = note.pitch?.nearest();
    let mut attack = note.attack;
    let given = note.string.zip(note.fret).filter(|(string, fret)| {
        tuning
            .open(*string)
            .is_some_and(|open| open + i32::from(*fret) == pitch)
    });
    let node = note
        .string
        .filter(|_| attack == Attack::Harmonic)
        .and_then(|string| {
            let above = pitch - tuning.open(string)?;
            let fret = match above {
                12 => 12,
                19 => 7,
                24 => 5,
                28 => 4,
                31 => 3,
                _ => return None,
            };
            Some((string, fret))
        });
    if attack == Attack::Harmonic && node.is_none() {
        attack = Attack::Pluck;
    }
    let (string, fret) = node.or(given).or_else(|| {
        let places = tuning.places(pitch, HIGHEST);
        let place = places.into_iter().min_by_key(|(_, fret)| *fret)?;
        Some((place.0, u8::try_from(place.1).ok()?))
    })?;
    let mut written = Written::pluck(Beats(0.0), Beats(1.0), string, fret);
    written.role = note.role;
    written.finger = match (note.role, Finger::usual(string)) {
        _ if matches!(attack, Attack::HammerOn | Attack::PullOff | Attack::Slide) => None,
        (Role::Bass, _) => Some(Finger::P),
        (Role::Melody, Finger::P) => Some(Finger::I),
        (Role::Melody, finger) => Some(finger),
    };
    written.attack = attack;
    Some(written)
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
