//! What may be said of figures: the one reading that sheet, words, tables, takes and JSON share, so that
//! none of them can contradict another.
//!
//! Owns verdicts; it measures nothing, and `wording` has the words.

use super::drift::{Drift, SlotFigure};
use super::figures::{Feel, Figure, Standing};
use super::stats;
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
