//! What may be said of figures, and in which words a player counts: the one reading that sheet,
//! words, tables, takes and JSON share, so that none of them can contradict another.
//!
//! Owns verdicts and names; it measures nothing.

use super::{Drift, Figure, Reference, Slot, SlotFigure, Standing, Swing, stats};
use crate::music::meter::Meter;
use crate::music::note::{Note, Role};
use crate::unit::Span;
use serde::{Deserialize, Serialize};

/// What may be said of several drifts together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nobody hears a drift, and the interval leaves no room for one.
    With,
    /// Surely early, and enough to be heard.
    Ahead,
    /// Surely late, and enough to be heard.
    Behind,
    /// Early here and late there: the notes scatter farther than a listener lets pass.
    Uneven,
    /// The interval holds both a drift that is heard and none.
    Unclear,
    /// Too few notes to tell.
    TooFew,
}

/// Notes that scatter this many floors (as a standard deviation) are uneven: then about one in two
/// lies where it is heard. Chosen by hand.
const UNEVEN: f64 = 1.5;

impl Verdict {
    /// The reading of a figure whose drifts are heard beyond `floor`; an interval must clear 0 by
    /// `doubt`, what the measuring itself may be wrong by.
    pub fn of(figure: &Figure, floor: Span, doubt: Span) -> Self {
        let (Some(low), Some(high)) = (figure.low, figure.high) else {
            return Self::TooFew;
        };
        let heard = figure.centre.abs() > floor;
        if heard && low > doubt {
            Self::Behind
        } else if heard && high < -doubt {
            Self::Ahead
        } else if figure.spread.0 > UNEVEN * floor.0 {
            Self::Uneven
        } else if low < -floor || high > floor {
            Self::Unclear
        } else {
            Self::With
        }
    }

    /// Is it a drift: surely early or late?
    pub fn drifts(self) -> bool {
        matches!(self, Self::Ahead | Self::Behind)
    }
}

impl SlotFigure {
    /// What may be said of this slot.
    pub fn verdict(&self) -> Verdict {
        Verdict::of(&self.figure, self.floor, self.doubt)
    }

    /// The drift that repeats at this slot, bar after bar: there when the interval of the centre
    /// excludes 0 and the centre is large enough to be heard.
    pub fn slant(&self) -> Option<Span> {
        self.verdict().drifts().then_some(self.figure.centre)
    }
}

impl Drift {
    /// The figure of one hand and the middle of its notes' floors; `notes` are those measured.
    pub fn hand(&self, notes: &[Note], role: Role) -> Option<(Figure, Span)> {
        let figure = match role {
            Role::Bass => self.thumb,
            Role::Melody => self.fingers,
        };
        Some((figure?, self.floor(notes, |n| n.role == role)))
    }

    /// Fingers against thumb, and the middle of all notes' floors.
    pub fn between_hands(&self, notes: &[Note]) -> Option<(Figure, Span)> {
        Some((self.lateness?, self.floor(notes, |_| true)))
    }

    /// How many things there are to tell: a swing, a hand that is late, and every place of the bar
    /// that drifts apart from its hand.
    pub(super) fn causes(&self, notes: &[Note]) -> usize {
        let hand = self.between_hands(notes);
        let late = hand
            .filter(|(figure, floor)| Verdict::of(figure, *floor, Span(0.0)).drifts())
            .map(|(figure, _)| figure.centre);
        let swung = self.swing.map(|s| s.feel());
        let swung = matches!(swung, Some(Feel::Swung(_) | Feel::Hurried(_)));
        let apart = self.slots.iter().filter(|slot| {
            let late = late.filter(|_| slot.role == Role::Melody);
            let less = |span: Span| span - late.unwrap_or_default();
            let figure = Figure {
                centre: less(slot.figure.centre),
                low: slot.figure.low.map(less),
                high: slot.figure.high.map(less),
                ..slot.figure
            };
            Verdict::of(&figure, slot.floor, slot.doubt).drifts()
        });
        apart.count() + usize::from(swung) + usize::from(late.is_some())
    }

    fn floor(&self, notes: &[Note], keep: impl Fn(&Note) -> bool) -> Span {
        let placed = notes.iter().zip(&self.notes).filter(|(n, _)| keep(n));
        let counted = placed.filter_map(|(_, d)| d.as_ref());
        let counted = counted.filter(|d| d.standing == Standing::Plain);
        let mut floors: Vec<f64> = counted.map(|d| d.floor.0).collect();
        Span(stats::median(&mut floors).unwrap_or(0.0))
    }
}

/// How off-beats stand in their beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Feel {
    /// Half way.
    Straight,
    /// Late, by this long part over the short one.
    Swung(f64),
    /// Before half way, by this short part over the long one.
    Hurried(f64),
    /// Somewhere between straight and swung.
    Between,
}

/// Off-beats nearer to even than this, as long over short, are straight: one off-beat that is
/// always late pulls the median of all of them this far, and must not make the others early.
pub(super) const STRAIGHT: f64 = 1.12;

impl Swing {
    /// What may be said of the off-beats.
    pub fn feel(&self) -> Feel {
        if self.low > 1.0 && self.ratio > STRAIGHT {
            Feel::Swung(self.ratio)
        } else if self.high < 1.0 && self.ratio < 1.0 / STRAIGHT {
            Feel::Hurried(1.0 / self.ratio)
        } else if self.low < 1.0 / STRAIGHT || self.high > STRAIGHT {
            Feel::Between
        } else {
            Feel::Straight
        }
    }
}

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
