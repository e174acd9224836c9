//! What the numbers say, in a player's words; each sentence knows the notes it speaks of.

use super::piece::{Piece, Placed};
use super::said::{bar_of, hand};
use crate::music::grid::long_to_short;
use crate::music::note::Role;
use crate::music::syncopation;
use crate::report::compare::{differs, late_words};
use crate::report::{capitalised, listed};
use crate::timing::{Drift, Feel, Reference, SlotFigure, Verdict, stats};
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

/// What to practise next and why, then what else there is to know, then what went well: of the take
/// where there is one, else of the recording; all from the figures that are drawn.
pub fn sentences(piece: &Piece) -> Vec<Sentence> {
    let mut all = said(piece);
    for sentence in &mut all {
        sentence.take = piece.second.is_some();
    }
    all
}

/// The sentence that stands above the rows: the first.
pub(super) fn headline(piece: &Piece) -> Option<String> {
    said(piece).into_iter().next().map(|s| s.text)
}

fn said(piece: &Piece) -> Vec<Sentence> {
    if piece.notes.is_empty() {
        return vec![Sentence::new("No notes were found.", Vec::new())];
    }
    if piece.grid.is_empty() {
        let text = "No steady beat was found, so drift is not shown. Tap the beat along to set it.";
        return vec![Sentence::new(text, Vec::new())];
    }
    let told = piece.told();
    let mut found: Vec<Sentence> = whole(told).into_iter().collect();
    let mut slants: Vec<_> = told.slants().collect();
    slants.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    found.extend(slants.iter().take(SLANTS).map(|s| practise(piece, s)));
    if slants.is_empty() {
        found.push(no_slant(piece));
    }
    found.extend(uneven(piece));
    found.extend(between_hands(piece));
    found.extend(
        [Role::Bass, Role::Melody]
            .map(|role| summary_of(piece, role))
            .into_iter()
            .flatten(),
    );
    if piece.second.is_none() {
        found.extend(swing(piece));
        found.extend(syncopation(piece));
    }
    found.extend(well(piece));
    found
}

/// A lateness of the whole take, told first and on its own.
fn whole(told: &Drift) -> Option<Sentence> {
    Some(Sentence::new(late_words(&told.late?), Vec::new()))
}

/// Where nothing repeats: does anything stray at all?
fn no_slant(piece: &Piece) -> Sentence {
    let strayed: Vec<usize> = piece
        .spoken()
        .filter(|(_, placed)| placed.audible())
        .map(|(i, _)| i)
        .collect();
    let from = match piece.told().reference {
        Reference::Recording => "from the recording",
        Reference::Thumb => "from the thumb",
        _ => "from the beat",
    };
    let text = match strayed.len() {
        0 => format!("Nothing here strays far enough {from} to be heard."),
        1 => format!("One note strays {from}; no place of the bar does again and again."),
        n => format!("{n} notes stray {from}, but no place of the bar does again and again."),
    };
    Sentence::new(text, strayed)
}

/// Places of the bar where the notes scatter.
fn uneven(piece: &Piece) -> Option<Sentence> {
    let told = piece.told();
    let uneven = told.slots.iter().filter(|s| s.verdict() == Verdict::Uneven);
    let mut uneven: Vec<&SlotFigure> = uneven.collect();
    uneven.sort_by(|a, b| b.figure.spread.0.total_cmp(&a.figure.spread.0));
    let places: Vec<String> = uneven
        .iter()
        .take(SLANTS)
        .map(|s| {
            let name = s.slot.name(piece.grid.meter);
            format!(
                "{name} with the {} ({:.0} ms)",
                hand(s.role),
                s.figure.spread.ms()
            )
        })
        .collect();
    let notes = uneven.iter().take(SLANTS);
    let notes = notes.flat_map(|s| agreeing(piece, s).1).collect();
    (!places.is_empty()).then(|| {
        Sentence::new(
            format!("Uneven, by their spread: {}.", listed(&places)),
            notes,
        )
    })
}

/// What holds, so that a player knows it.
fn well(piece: &Piece) -> Option<Sentence> {
    let told = piece.told();
    let holds = |s: &&SlotFigure| s.verdict() == Verdict::With;
    let mut parts = Vec::new();
    let mut notes = Vec::new();
    for role in [Role::Bass, Role::Melody] {
        let own = told.slots.iter().filter(|s| s.role == role);
        let own: Vec<&SlotFigure> = own.filter(|s| s.verdict() != Verdict::TooFew).collect();
        let held: Vec<&SlotFigure> = own.iter().copied().filter(holds).collect();
        if held.is_empty() {
            continue;
        }
        notes.extend(held.iter().flat_map(|s| agreeing(piece, s).1));
        let places: Vec<String> = held.iter().map(|s| s.slot.name(piece.grid.meter)).collect();
        let hand = hand(role);
        parts.push(if held.len() == own.len() && held.len() > 1 {
            format!("the {hand} everywhere")
        } else {
            format!("the {hand} on {}", listed(&places))
        });
    }
    (!parts.is_empty()).then(|| Sentence::new(format!("In place: {}.", parts.join("; ")), notes))
}

/// How much a slant matters: how far beyond what can be heard, times how often.
fn weight(slant: &SlotFigure) -> f64 {
    (slant.figure.centre.abs().0 - slant.floor.0) * slant.figure.n as f64
}

/// Notes of one hand whose drift counts.
fn counted(piece: &Piece, keep: impl Fn(Role) -> bool) -> Vec<usize> {
    let own = |i: usize| piece.spoken_note(i).is_some_and(|n| keep(n.role));
    let counted = piece
        .spoken()
        .filter(|(i, placed)| placed.counts && own(*i));
    counted.map(|(i, _)| i).collect()
}

fn summary_of(piece: &Piece, role: Role) -> Option<Sentence> {
    let told = piece.told();
    let notes = piece.second.map_or(piece.notes, |take| take.notes);
    let (figure, floor) = told.hand(notes, role)?;
    if told.reference == Reference::Thumb && role == Role::Bass {
        return None;
    }
    // Places that drift have been told; of the hand is said what is left.
    let drifts = |placed: &Placed| {
        let mut slants = told.slants();
        slants.any(|s| s.role == role && s.slot == placed.slot)
    };
    let (rest, elsewhere) = if told.slants().any(|s| s.role == role) {
        let kept = counted(piece, |r| r == role).into_iter();
        let kept: Vec<Placed> = kept.filter_map(|i| piece.spoken_at(i)).collect();
        let kept = kept.into_iter().filter(|placed| !drifts(placed));
        let kept: Vec<f64> = kept.map(|placed| placed.drift.0).collect();
        (stats::figure(&kept)?, " elsewhere")
    } else {
        (figure, "")
    };
    let figure = rest;
    let verdict = Verdict::of(&figure, floor, Span(0.0));
    let words = told.reference.told(&figure, verdict);
    let name = match role {
        Role::Bass => "Thumb",
        Role::Melody => "Fingers",
    };
    let name = format!("{name}{elsewhere}");
    let text = match figure.n {
        1 => format!("{name}: 1 note, {words}."),
        n => format!(
            "{name}: {words} ({n} notes, spread {:.0} ms).",
            figure.spread.ms()
        ),
    };
    Some(Sentence::new(text, counted(piece, |r| r == role)))
}

/// Fingers against thumb, where the interval leaves no doubt of the side.
fn between_hands(piece: &Piece) -> Option<Sentence> {
    let told = piece.told();
    let notes = piece.second.map_or(piece.notes, |take| take.notes);
    let (gap, floor) = told.between_hands(notes)?;
    if !Verdict::of(&gap, floor, Span(0.0)).drifts() {
        return None;
    }
    let (ms, late) = (gap.centre.abs().ms(), gap.centre.0 > 0.0);
    let text = if told.reference == Reference::Recording {
        let way = if late { "later" } else { "earlier" };
        format!("Against your thumb, your fingers come {ms:.0} ms {way} than the recording's do.")
    } else {
        let way = if late { "behind" } else { "ahead of" };
        format!("The fingers come {ms:.0} ms {way} the thumb.")
    };
    Some(Sentence::new(text, counted(piece, |_| true)))
}

fn swing(piece: &Piece) -> Option<Sentence> {
    let swing = piece.drift.swing.filter(|s| s.ratio.is_finite())?;
    let off = |&i: &usize| {
        let placed = piece.placed(i);
        placed.counts && (placed.slot.part, placed.slot.parts) == (1, 2)
    };
    let notes = (0..piece.notes.len()).filter(off).collect();
    let mut text = match swing.feel() {
        Feel::Straight => "The off-beats are straight.".to_owned(),
        Feel::Swung(ratio) => format!("The off-beats swing {ratio:.1} to 1, long to short."),
        Feel::Hurried(ratio) => {
            format!("The off-beats come before half way, 1 to {ratio:.1}, short to long.")
        }
        Feel::Between => "The off-beats are neither clearly straight nor clearly swung.".to_owned(),
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
    let melody: Vec<(usize, _)> = counted(piece, |role| role == Role::Melody)
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
    let text = format!("The melody pulls hardest against the beat in bar {number}.");
    let inside = |&i: &usize| {
        piece
            .placed(i)
            .at
            .is_some_and(|at| bar_of(piece, at) == number)
    };
    let notes = melody.into_iter().map(|(i, _)| i).filter(inside).collect();
    Some(Sentence::new(text, notes))
}

/// The notes of a slot's hand that count: those heard off to the side of its middle, and all.
pub(super) fn agreeing(piece: &Piece, figure: &SlotFigure) -> (Vec<usize>, Vec<usize>) {
    let side = figure.figure.centre.0.signum();
    let own = |i: usize| piece.spoken_note(i).is_some_and(|n| n.role == figure.role);
    let here =
        |(i, placed): &(usize, Placed)| placed.counts && placed.slot == figure.slot && own(*i);
    let all: Vec<(usize, Placed)> = piece.spoken().filter(here).collect();
    let agree = all
        .iter()
        .filter(|(_, placed)| placed.audible() && placed.drift.0 * side > 0.0);
    (
        agree.map(|(i, _)| *i).collect(),
        all.iter().map(|(i, _)| *i).collect(),
    )
}

fn practise(piece: &Piece, slant: &SlotFigure) -> Sentence {
    let side = slant.figure.centre.0.signum();
    let (agree, notes) = agreeing(piece, slant);
    let worst = piece
        .spoken()
        .filter(|(i, _)| notes.contains(i))
        .max_by(|a, b| (a.1.drift.0 * side).total_cmp(&(b.1.drift.0 * side)));
    let bar = worst
        .and_then(|(_, placed)| placed.at)
        .map(|at| bar_of(piece, at));
    let advice = bar.map_or_else(String::new, |bar| format!(" Loop bar {bar} at 60 %."));
    let name = slant.slot.name(piece.grid.meter);
    let (reference, hand) = (piece.told().reference, hand(slant.role));
    let off = reference.off(slant.figure.centre);
    let (agree, all) = (agree.len(), notes.len());
    let come = if slant.role == Role::Bass {
        "comes"
    } else {
        "come"
    };
    let times = (agree, all);
    let text = match reference {
        Reference::Recording => {
            let text = differs(&name, slant.role, slant.figure.centre, times);
            format!("{text}{advice}")
        }
        Reference::Thumb => {
            format!("On {name} the {hand} {come} {off}, {agree} of {all} times.{advice}")
        }
        _ => format!(
            "{} comes {off} with the {hand}, {agree} times of {all}.{advice}",
            capitalised(&name)
        ),
    };
    Sentence {
        bar,
        ..Sentence::new(text, notes)
    }
}
