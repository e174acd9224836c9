//! What the numbers say, in a player's words; each sentence knows the notes it speaks of.

use super::note::{bar_of, drift_words, hand};
use super::{Piece, slots};
use crate::music::grid::long_to_short;
use crate::music::note::Role;
use crate::music::syncopation;
use crate::timing::{Figure, SlotFigure, stats};
use crate::unit::Span;
use std::fmt::Write as _;

/// A sentence and the notes it was computed from.
#[derive(Debug, Clone, PartialEq)]
pub struct Sentence {
    /// Plain English.
    pub text: String,
    /// Indices of the notes it speaks of.
    pub notes: Vec<usize>,
    /// Bar to loop, where it proposes one.
    pub bar: Option<i32>,
    /// Does it speak of the second take, and do `notes` count that take's notes?
    pub take: bool,
}

impl Sentence {
    fn new(text: impl Into<String>, notes: Vec<usize>) -> Self {
        Self {
            text: text.into(),
            notes,
            bar: None,
            take: false,
        }
    }
}

/// How many slants are spelled out: more would be a list, not advice.
const SLANTS: usize = 3;
/// Off-beats this near to even, as long over short, are called straight: swing ratios of
/// straight players stay within it.
const STRAIGHT: f64 = 1.12;

/// What to know and what to practise next: first of the second take, where there is one, then of
/// the recording.
pub fn sentences(piece: &Piece) -> Vec<Sentence> {
    let Some(take) = piece.second else {
        return of_one(piece);
    };
    let alone = Piece {
        notes: take.notes,
        drift: take.drift,
        second: None,
        ..*piece
    };
    let mut all = of_one(&alone);
    for sentence in &mut all {
        sentence.text.insert_str(0, "Your take. ");
        sentence.take = true;
    }
    all.extend(of_one(piece));
    all
}

/// Each hand, the hands against each other, the swing, then the drifts that repeat, worst first.
fn of_one(piece: &Piece) -> Vec<Sentence> {
    if piece.notes.is_empty() {
        return vec![Sentence::new("No notes were found.", Vec::new())];
    }
    if piece.grid.is_empty() {
        let text = "No steady beat was found, so drift is not shown. Tap the beat along to set it.";
        return vec![Sentence::new(text, Vec::new())];
    }
    let mut found: Vec<_> = [
        (Role::Bass, piece.drift.thumb),
        (Role::Melody, piece.drift.fingers),
    ]
    .into_iter()
    .filter_map(|(role, figure)| Some(summary_of(piece, role, figure?)))
    .collect();
    found.extend(between_hands(piece));
    found.extend(swing(piece));
    found.extend(syncopation(piece));
    let mut slants: Vec<_> = piece.drift.slants().collect();
    slants.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    found.extend(slants.iter().take(SLANTS).map(|s| practise(piece, s)));
    if slants.is_empty() {
        let loud = (0..piece.notes.len()).any(|i| piece.placed(i).audible());
        let text = if loud {
            "No drift repeats often enough at one place of the bar to call it a habit."
        } else {
            "Nothing here strays far enough from the beat to be heard or measured."
        };
        found.push(Sentence::new(text, Vec::new()));
    }
    found
}

/// How much a slant matters: how far beyond what can be heard, times how often.
fn weight(slant: &SlotFigure) -> f64 {
    (slant.figure.centre.abs().0 - slant.floor.0) * slant.figure.n as f64
}

/// Notes of one hand whose drift counts.
fn counted(piece: &Piece, role: Role) -> Vec<usize> {
    (0..piece.notes.len())
        .filter(|&i| piece.notes[i].role == role && piece.placed(i).counts)
        .collect()
}

/// The middle one of the notes' floors.
fn floor_of(piece: &Piece, notes: &[usize]) -> Span {
    let mut floors: Vec<f64> = notes.iter().map(|&i| piece.placed(i).floor.0).collect();
    Span(stats::median(&mut floors).unwrap_or(0.0))
}

fn summary_of(piece: &Piece, role: Role, figure: Figure) -> Sentence {
    let notes = counted(piece, role);
    let name = match role {
        Role::Bass => "Thumb",
        Role::Melody => "Fingers",
    };
    let words = drift_words(figure.centre, floor_of(piece, &notes));
    let text = match figure.n {
        1 => format!("{name}: 1 note, {words}."),
        n => format!(
            "{name}: {n} notes, {words} as a rule, spread {:.0} ms.",
            figure.spread.ms()
        ),
    };
    Sentence::new(text, notes)
}

/// Fingers against thumb, where the interval leaves no doubt of the side.
fn between_hands(piece: &Piece) -> Option<Sentence> {
    let gap = piece.drift.lateness?;
    let (low, high) = (gap.low?, gap.high?);
    let mut notes = counted(piece, Role::Melody);
    notes.extend(counted(piece, Role::Bass));
    let certain = low.0 > 0.0 || high.0 < 0.0;
    if !certain || gap.centre.abs() <= floor_of(piece, &notes) {
        return None;
    }
    let way = if gap.centre.0 > 0.0 {
        "behind"
    } else {
        "ahead of"
    };
    let text = format!(
        "The fingers come {:.0} ms {way} the thumb.",
        gap.centre.abs().ms()
    );
    Some(Sentence::new(text, notes))
}

fn swing(piece: &Piece) -> Option<Sentence> {
    let swing = piece.drift.swing.filter(|s| s.ratio.is_finite())?;
    let off = |&i: &usize| {
        let placed = piece.placed(i);
        placed.counts && (placed.slot.part, placed.slot.parts) == (1, 2)
    };
    let notes = (0..piece.notes.len()).filter(off).collect();
    let mut text = if swing.low <= STRAIGHT && swing.high >= 1.0 / STRAIGHT {
        "The off-beats are straight.".to_owned()
    } else {
        format!(
            "The off-beats swing {:.1} to 1, long to short.",
            swing.ratio
        )
    };
    if let Some(set) = piece.drift.set_off_beat {
        let long = long_to_short(set);
        let _ = write!(
            text,
            " They are measured from {long:.1} to 1, as you set them."
        );
    }
    Some(Sentence::new(text, notes))
}

/// The bar whose melody pulls hardest against the beat (Longuet-Higgins & Lee, variant A); only
/// for bars of one length without free time and slots of one kind.
fn syncopation(piece: &Piece) -> Option<Sentence> {
    let grid = piece.grid;
    let per_bar = usize::from(grid.meter.beats());
    let first = grid.beats().first()?;
    if !grid.free_time().is_empty() || per_bar == 0 {
        return None;
    }
    let melody: Vec<(usize, _)> = counted(piece, Role::Melody)
        .into_iter()
        .map(|i| (i, piece.placed(i).slot))
        .collect();
    let parts = melody.iter().map(|(_, slot)| slot.parts).max()?;
    if melody.iter().any(|(_, slot)| parts % slot.parts != 0) {
        return None;
    }
    let pulse = |i: usize| {
        let placed = piece.placed(i);
        let bar = usize::try_from(bar_of(piece, placed.at?) - first.bar).ok()?;
        let beat = usize::from(placed.slot.beat).checked_sub(1)?;
        let part = usize::from(placed.slot.part) * usize::from(parts / placed.slot.parts);
        Some((bar * per_bar + beat) * usize::from(parts) + part)
    };
    let onsets: Vec<usize> = melody.iter().filter_map(|(i, _)| pulse(*i)).collect();
    let bars = syncopation::line(&onsets, grid.meter, parts);
    let most = bars.iter().max_by_key(|bar| bar.missed_beat)?;
    let total: i32 = bars.iter().map(|bar| bar.missed_beat).sum();
    let mean = f64::from(total) / bars.len() as f64;
    if most.missed_beat < 2 || f64::from(most.missed_beat) < 1.5 * mean {
        return None;
    }
    let number = first.bar + most.bar as i32;
    let text = format!(
        "The melody pulls hardest against the beat in bar {number}: syncopation {}, where a bar \
         has {mean:.1} on average.",
        most.missed_beat
    );
    let inside = |&i: &usize| {
        piece
            .placed(i)
            .at
            .is_some_and(|at| bar_of(piece, at) == number)
    };
    let notes = melody.into_iter().map(|(i, _)| i).filter(inside).collect();
    Some(Sentence::new(text, notes))
}

fn practise(piece: &Piece, slant: &SlotFigure) -> Sentence {
    let lean = slant.figure.centre.0.signum();
    let notes: Vec<usize> = (0..piece.notes.len())
        .filter(|&i| {
            let placed = piece.placed(i);
            placed.counts && placed.slot == slant.slot && piece.notes[i].role == slant.role
        })
        .collect();
    let audible = |&&i: &&usize| {
        let placed = piece.placed(i);
        placed.audible() && placed.drift.0 * lean > 0.0
    };
    let agreeing = notes.iter().filter(audible).count();
    let worst = notes.iter().copied().max_by(|&a, &b| {
        let off = |i: usize| piece.placed(i).drift.0 * lean;
        off(a).total_cmp(&off(b))
    });
    let bar = worst
        .and_then(|i| piece.placed(i).at)
        .map(|at| bar_of(piece, at));
    let advice = bar.map_or_else(String::new, |bar| format!(" Loop bar {bar} at 60 %."));
    let way = if lean > 0.0 { "late" } else { "early" };
    let text = format!(
        "{} comes {:.0} ms {way} with the {}, {agreeing} times of {}.{advice}",
        capitalised(&slots::name(slant.slot)),
        slant.figure.centre.abs().ms(),
        hand(slant.role),
        notes.len(),
    );
    Sentence {
        bar,
        ..Sentence::new(text, notes)
    }
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|c| c.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}
