//! A repeating cell: its strokes, how it is written and read, how far two of them lie apart.

use crate::music::meter::Meter;
use crate::music::note::{Attack, Role};
use crate::music::score::{Brush, Finger, Touch, read_count};
use crate::music::syncopation::{Sense, senses};
use crate::unit::Beats;

/// One stroke of a cell.
#[derive(Debug, Clone, PartialEq)]
pub struct CellNote {
    /// Beats after the cell's start.
    pub at: Beats,
    /// Thumb's part or fingers' part.
    pub role: Role,
    /// Strings it may fall on, the usual one first; never empty in a written cell.
    pub strings: Vec<u8>,
    /// The likely finger.
    pub finger: Finger,
    /// Share of the cell's repetitions that have it, above 0 to 1.
    pub share: f64,
    /// A pluck, a slap on the strings ([`Attack::Dead`]) or a tap on the top.
    pub attack: Attack,
    /// Accent, damping, brush; a brush sounds all of `strings`.
    pub touch: Touch,
    /// Tied over: it sounds on through the beat, or the bar line, that follows.
    pub tied: bool,
}

/// A repeating cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Time signature.
    pub meter: Meter,
    /// Length in bars, at least 1.
    pub bars: u8,
    /// Slots a beat is divided into.
    pub division: u8,
    /// Strokes in order of position, thumb first.
    pub notes: Vec<CellNote>,
    /// Where all strings are silenced, in beats.
    pub rests: Vec<Beats>,
    /// Share of a beat that its first half takes: 0.5 is straight, 2/3 a full shuffle.
    pub swing: f64,
}

impl Cell {
    /// Reads one bar a line, each word `beat:strings` with a finger's letter: `1:6p`, `2&:2m`,
    /// `1:65p` where either string will do; beats as in [`read_count`]. After the letter `>` is an
    /// accent, `.` a damped stroke, `~` a tie over what follows, `v` a brush towards the floor over
    /// all the strings named, `^` one back up. `2:x` slaps the strings, `2:t` taps the top, `4:-` is a
    /// rest: all strings are silenced. Gives the unreadable word back as the error.
    ///
    /// # Errors
    /// The word that cannot be read.
    pub fn parse(meter: Meter, bars: &[impl AsRef<str>]) -> Result<Self, String> {
        let (mut notes, mut rests) = (Vec::new(), Vec::new());
        for (i, bar) in bars.iter().enumerate() {
            let start = i as f64 * f64::from(meter.beats());
            for word in bar.as_ref().split_whitespace() {
                if let Some(beat) = word.strip_suffix(":-") {
                    let at = read_count(beat, meter).ok_or_else(|| word.to_owned())?;
                    rests.push(Beats(start + at.0));
                    continue;
                }
                let mut note = read_stroke(word, meter).ok_or_else(|| word.to_owned())?;
                note.at.0 += start;
                notes.push(note);
            }
        }
        let division = [1u8, 2, 3, 4, 6, 8, 12]
            .into_iter()
            .find(|d| {
                notes.iter().all(|n| {
                    let slot = n.at.0 * f64::from(*d);
                    (slot - slot.round()).abs() < 1e-6
                })
            })
            .unwrap_or(12);
        let mut cell = Self {
            meter,
            bars: bars.len().clamp(1, 255) as u8,
            division,
            notes,
            rests,
            swing: 0.5,
        };
        cell.sort();
        Ok(cell)
    }

    /// It in the words that [`Cell::parse`] reads, a bar a line.
    pub fn written(&self) -> Vec<String> {
        let per_bar = f64::from(self.meter.beats().max(1));
        let mut bars = vec![Vec::new(); usize::from(self.bars.max(1))];
        let mut put = |at: Beats, word: String| {
            let bar = (at.0 / per_bar + 1e-9).floor().max(0.0) as usize;
            if let Some(bar) = bars.get_mut(bar) {
                bar.push((at.0, format!("{}:{word}", self.count(at))));
            }
        };
        for note in &self.notes {
            let strings: String = note.strings.iter().map(u8::to_string).collect();
            let mut word = match note.attack {
                Attack::Dead => "x".to_owned(),
                Attack::Tap => "t".to_owned(),
                _ => format!("{strings}{}", note.finger),
            };
            word += match note.touch.brush {
                Some(Brush::Down) => "v",
                Some(Brush::Up) => "^",
                None => "",
            };
            for (is, mark) in [
                (note.touch.accent, '>'),
                (note.touch.damped, '.'),
                (note.tied, '~'),
            ] {
                word.extend(is.then_some(mark));
            }
            put(note.at, word);
        }
        for rest in &self.rests {
            put(*rest, "-".to_owned());
        }
        bars.into_iter()
            .map(|mut bar| {
                bar.sort_by(|a: &(f64, String), b| a.0.total_cmp(&b.0));
                let words: Vec<String> = bar.into_iter().map(|(_, word)| word).collect();
                words.join(" ")
            })
            .collect()
    }

    /// What each melody note off the beat does, as (beats after the start, sense); the beats that a
    /// sense names count in parts of [`Cell::division`]. The cell comes round.
    pub fn melody_senses(&self) -> Vec<(f64, Sense)> {
        let division = usize::from(self.division.max(1));
        let parts = division as f64;
        let melody = self.notes.iter().filter(|n| n.role == Role::Melody);
        let mut pulses: Vec<usize> = melody
            // A brush back up passes between two beats, whoever plays the next.
            .filter(|n| n.touch.brush != Some(Brush::Up))
            .map(|n| (n.at.0 * parts).round().max(0.0) as usize)
            .collect();
        pulses.sort_unstable();
        pulses.dedup();
        let length = (self.beats() * parts).round() as usize;
        senses(&pulses, division, Some(length))
            .into_iter()
            .map(|(pulse, sense)| (pulse as f64 / parts, sense))
            .collect()
    }

    /// The cell with a stroke at a crossing of string and place taken away, or added where there was none:
    /// by the finger that usually plays that string.
    #[must_use]
    pub fn toggled(&self, string: u8, at: Beats) -> Self {
        let mut cell = self.clone();
        let half = 1e-3 + 0.5 / 12.0;
        let here = |n: &CellNote| {
            let on = if n.touch.brush.is_some() {
                n.strings.contains(&string)
            } else {
                n.strings.first() == Some(&string)
            };
            on && (n.at.0 - at.0).abs() < half
        };
        if let Some(i) = cell.notes.iter().position(here) {
            cell.notes.remove(i);
        } else if (0.0..self.beats()).contains(&at.0) {
            let finger = Finger::usual(string);
            cell.notes.push(CellNote {
                at,
                role: finger.role(),
                strings: vec![string],
                finger,
                share: 1.0,
                attack: Attack::Pluck,
                touch: Touch::default(),
                tied: false,
            });
            cell.sort();
        }
        cell
    }

    /// When a place of the cell is played, swing heard: beats to beats.
    pub fn swung(&self, at: Beats) -> Beats {
        swung(at, self.swing)
    }

    pub(crate) fn sort(&mut self) {
        self.notes.sort_by(|a, b| {
            let strings = b.strings.first().cmp(&a.strings.first());
            a.at.total_cmp(&b.at).then(strings)
        });
    }

    /// Its length in beats.
    pub fn beats(&self) -> f64 {
        f64::from(self.bars) * f64::from(self.meter.beats().max(1))
    }

    /// A position as a player counts it: the bar's beat with `&`, `e`, `a`; thirds of a beat as
    /// `2+1/3`; in compound meters the eighth.
    pub fn count(&self, at: Beats) -> String {
        count(self.meter, at)
    }

    /// How far it lies from `other`, 0 (the same) to 1 (nothing in common): the share of strokes,
    /// over both cells repeated to one length, that the other has not; a stroke of the same part
    /// on another string counts half. Cells in different meters lie 1 apart.
    pub fn distance(&self, other: &Self) -> f64 {
        if self.meter.beats() != other.meter.beats()
            || self.meter.is_compound() != other.meter.is_compound()
        {
            return 1.0;
        }
        let bars = lcm(self.bars.max(1).into(), other.bars.max(1).into());
        let mut ours = self.repeated(bars);
        let mut theirs = other.repeated(bars);
        let all = ours.len() + theirs.len();
        if all == 0 {
            return 0.0;
        }
        let near = |a: &(f64, &CellNote), b: &(f64, &CellNote)| {
            (a.0 - b.0).abs() < 1e-3 && a.1.role == b.1.role
        };
        let same = |a: &(f64, &CellNote), b: &(f64, &CellNote)| {
            near(a, b) && a.1.strings.iter().any(|s| b.1.strings.contains(s))
        };
        let exact = take_pairs(&mut ours, &mut theirs, same);
        let close = take_pairs(&mut ours, &mut theirs, near);
        let alike = 2.0 * exact as f64 + close as f64;
        1.0 - alike / all as f64
    }

    fn repeated(&self, bars: usize) -> Vec<(f64, &CellNote)> {
        let times = bars / usize::from(self.bars.max(1));
        (0..times)
            .flat_map(|t| {
                let start = t as f64 * self.beats();
                self.notes.iter().map(move |n| (start + n.at.0, n))
            })
            .collect()
    }
}

/// A position as a player counts it within its bar; see [`Cell::count`].
pub fn count(meter: Meter, at: Beats) -> String {
    let counts_a_beat = if meter.is_compound() { 3.0 } else { 1.0 };
    let in_bar = at.0.rem_euclid(f64::from(meter.beats().max(1))) * counts_a_beat;
    let whole = (in_bar + 1e-6).floor();
    let name = whole as u32 + 1;
    let twelfths = ((in_bar - whole) * 12.0).round() as i32;
    match twelfths {
        0 => format!("{name}"),
        3 => format!("{name}e"),
        4 => format!("{name}+1/3"),
        6 => format!("{name}&"),
        8 => format!("{name}+2/3"),
        9 => format!("{name}a"),
        other => format!("{name}+{other}/12"),
    }
}

/// One word of a written cell.
fn read_stroke(word: &str, meter: Meter) -> Option<CellNote> {
    let (beat, place) = word.split_once(':')?;
    let at = read_count(beat, meter)?;
    let plain = |strings: Vec<u8>, finger: Finger, attack: Attack| CellNote {
        at,
        role: finger.role(),
        strings,
        finger,
        share: 1.0,
        attack,
        touch: Touch::default(),
        tied: false,
    };
    let marks_at = place.find(['>', '.', '~', 'v', '^']).unwrap_or(place.len());
    let (place, marks) = place.split_at(marks_at);
    let mut note = match place {
        "x" => plain(vec![6, 5, 4], Finger::P, Attack::Dead),
        "t" => plain(vec![1], Finger::M, Attack::Tap),
        _ => {
            let digits = place.trim_end_matches(|c: char| c.is_alphabetic());
            let strings: Vec<u8> = digits
                .chars()
                .map(|c| {
                    c.to_digit(10)
                        .map(|d| d as u8)
                        .filter(|d| (1..=8).contains(d))
                })
                .collect::<Option<_>>()?;
            let usual = Finger::usual(*strings.first()?);
            let mut letters = place[digits.len()..].chars();
            let finger = match (letters.next(), letters.next()) {
                (None, _) => usual,
                (Some(letter), None) => Finger::of_letter(letter)?,
                _ => return None,
            };
            plain(strings, finger, Attack::Pluck)
        }
    };
    for mark in marks.chars() {
        match mark {
            '>' => note.touch.accent = true,
            '.' => note.touch.damped = true,
            '~' => note.tied = true,
            'v' => note.touch.brush = Some(Brush::Down),
            '^' => note.touch.brush = Some(Brush::Up),
            _ => return None,
        }
    }
    Some(note)
}

/// A place as it is played when the first half of every beat takes `share` of it: beats to beats.
pub fn swung(at: Beats, share: f64) -> Beats {
    let whole = at.0.floor();
    let part = at.0 - whole;
    let share = share.clamp(0.5, 0.8);
    let bent = if part < 0.5 {
        part * 2.0 * share
    } else {
        share + (part - 0.5) * 2.0 * (1.0 - share)
    };
    Beats(whole + bent)
}

/// Removes pairs that are `alike` from both lists; gives how many.
fn take_pairs<T>(ours: &mut Vec<T>, theirs: &mut Vec<T>, alike: impl Fn(&T, &T) -> bool) -> usize {
    let before = ours.len();
    ours.retain(|a| match theirs.iter().position(|b| alike(a, b)) {
        Some(i) => {
            theirs.swap_remove(i);
            false
        }
        None => true,
    });
    before - ours.len()
}

fn lcm(a: usize, b: usize) -> usize {
    fn gcd(a: usize, b: usize) -> usize {
        if b == 0 { a } else { gcd(b, a % b) }
    }
    a / gcd(a, b) * b
}
