//! The words for early and late, and what a player calls a slot of the bar: said here once, so that sheet,
//! tables, takes and window agree.

use super::figures::{Figure, Reference, Slot};
use super::verdict::Verdict;
use crate::music::meter::Meter;
use crate::unit::Span;
use std::fmt;

impl Reference {
    /// What drifts are told against.
    pub fn name(self) -> &'static str {
        match self {
            Self::OwnTempo => "against the beat",
            Self::Strict(_) => "against a strict beat",
            Self::Thumb => "against the thumb",
            Self::Recording => "against the recording",
        }
    }

    /// An amount to one side of this reference: "24 ms late", "24 ms later than the recording".
    pub fn off(self, by: Span) -> String {
        let ms = format!("{:.0} ms", by.abs().ms());
        let late = by.0 > 0.0;
        match (self, late) {
            (Self::OwnTempo | Self::Strict(_), true) => format!("{ms} late"),
            (Self::OwnTempo | Self::Strict(_), false) => format!("{ms} early"),
            (Self::Thumb, true) => format!("{ms} after the thumb"),
            (Self::Thumb, false) => format!("{ms} before the thumb"),
            (Self::Recording, true) => format!("{ms} later"),
            (Self::Recording, false) => format!("{ms} earlier"),
        }
    }

    /// What is not early or late: "with the beat".
    pub fn with(self) -> &'static str {
        match self {
            Self::OwnTempo | Self::Strict(_) => "with the beat",
            Self::Thumb => "with the thumb",
            Self::Recording => "as on the recording",
        }
    }

    /// A verdict on `figure` in a few words.
    pub fn told(self, figure: &Figure, verdict: Verdict) -> String {
        match verdict {
            Verdict::With => self.with().to_owned(),
            Verdict::Ahead | Verdict::Behind => self.off(figure.centre),
            Verdict::Uneven => "uneven".to_owned(),
            Verdict::Unclear => "unclear".to_owned(),
            Verdict::TooFew => "too few to tell".to_owned(),
        }
    }
}

impl Slot {
    /// What a player calls it: `beat 2`, `the and of 2`; in meters counted by eighths `the 5th
    /// eighth`.
    pub fn name(self, meter: Meter) -> String {
        let beat = self.beat;
        if by_eighths(meter) {
            let note = if meter.unit == 8 {
                "eighth"
            } else {
                "sixteenth"
            };
            let (n, passed, parts) = eighth(self, meter);
            let nth = ordinal(n);
            return match passed {
                0 => format!("the {nth} {note}"),
                _ if 2 * passed == parts => format!("the and of the {nth} {note}"),
                _ => format!("just after the {nth} {note}"),
            };
        }
        match (self.part, self.parts) {
            (0, _) => format!("beat {beat}"),
            (part, parts) if 2 * u16::from(part) == u16::from(parts) => {
                format!("the and of {beat}")
            }
            (1, 4) => format!("the e of {beat}"),
            (3, 4) => format!("the a of {beat}"),
            (part, parts) if parts.is_multiple_of(3) && part.is_multiple_of(parts / 3) => {
                let nth = ordinal(u16::from(part / (parts / 3)) + 1);
                format!("the {nth} triplet of {beat}")
            }
            (part, parts) => {
                let nth = ordinal(u16::from(part) + 1);
                format!("the {nth} of {parts} in beat {beat}")
            }
        }
    }

    /// The same as it is counted aloud: `2`, `&`, `e`, `a`; eighths by number. Empty where there is
    /// no usual syllable.
    pub fn count(self, meter: Meter) -> String {
        if by_eighths(meter) {
            let (n, passed, _) = eighth(self, meter);
            return if passed == 0 {
                n.to_string()
            } else {
                String::new()
            };
        }
        match (self.part, self.parts) {
            (0, _) => self.beat.to_string(),
            (part, parts) if 2 * u16::from(part) == u16::from(parts) => "&".to_owned(),
            (1, 4) => "e".to_owned(),
            (3, 4) => "a".to_owned(),
            _ => String::new(),
        }
    }
}

/// Do players count this meter by its eighths (sixteenths), one number each?
fn by_eighths(meter: Meter) -> bool {
    meter.unit >= 8
}

/// Number of the eighth a slot stands on, and what of it has passed, in parts of `parts`.
fn eighth(slot: Slot, meter: Meter) -> (u16, u16, u16) {
    let each = if meter.is_compound() { 3 } else { 1 };
    let parts = u16::from(slot.parts.max(1));
    let first = (u16::from(slot.beat).max(1) - 1) * each + 1;
    let passed = u16::from(slot.part) * each;
    (first + passed / parts, passed % parts, parts)
}

fn ordinal(n: u16) -> String {
    let end = match (n % 10, n % 100) {
        (1, h) if h != 11 => "st",
        (2, h) if h != 12 => "nd",
        (3, h) if h != 13 => "rd",
        _ => "th",
    };
    format!("{n}{end}")
}

/// How a slot is counted aloud: "2" on the beat, "2 &" between halves, "2 e", "2 &", "2 a" for
/// sixteenths, "2 trip", "2 let" for triplets.
impl fmt::Display for Slot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let syllable = match (self.parts, self.part) {
            (_, 0) => return write!(f, "{}", self.beat),
            (2, 1) | (4, 2) => "&",
            (4, 1) => "e",
            (4, 3) => "a",
            (3, 1) => "trip",
            (3, 2) => "let",
            (parts, part) => return write!(f, "{} {}/{parts}", self.beat, part + 1),
        };
        write!(f, "{} {syllable}", self.beat)
    }
}
