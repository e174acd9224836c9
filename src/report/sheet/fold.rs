//! Folding: bars that play alike stand in one row, laid over each other.
//!
//! Owns which rows become one and what may be said of such a row (`folded` draws it). The figures are those
//! of the page, read over these bars alone.

use super::mark::Mark;
use super::piece::{Piece, Placed};
use super::row::{Alike, Row, RowKind};
use super::said::hand;
use crate::music::note::{Note, Role};
use crate::timing::{Figure, Slot, Verdict, stats};
use std::collections::BTreeMap;

/// Rows of one bar each, those of one pattern made one.
pub(super) fn fold(rows: Vec<Row>, open: u32) -> Vec<Row> {
    let mut groups: Vec<Vec<Row>> = Vec::new();
    for row in rows {
        let same = |first: &Row| {
            let (own, theirs) = (pattern(&row), pattern(first));
            own.is_some() && own == theirs && (row.beats() - first.beats()).abs() < 1e-6
        };
        match groups.iter_mut().find(|group| same(&group[0])) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    let mut place = 0;
    let mut out = Vec::new();
    for group in groups {
        if group.len() < 2 {
            out.extend(group);
            continue;
        }
        let opened = open.checked_shr(u32::from(place)).unwrap_or(0) & 1 == 1;
        out.push(over_each_other(&group, place, opened));
        if opened {
            out.extend(group);
        }
        place = place.saturating_add(1);
    }
    out
}

/// Letter and variant of a row that is one whole bar.
fn pattern(row: &Row) -> Option<(u8, u8)> {
    match &row.kind {
        RowKind::Bars(cells) if cells.len() == 1 && cells[0].lead == 0.0 => {
            cells[0].pattern.map(|p| (p.letter, p.variant))
        }
        _ => None,
    }
}

fn over_each_other(group: &[Row], place: u8, open: bool) -> Row {
    let cells = |row: &Row| match &row.kind {
        RowKind::Bars(cells) => cells.clone(),
        RowKind::Free { .. } => Vec::new(),
    };
    let bars = group.iter().flat_map(cells).collect();
    Row {
        notes: group.iter().flat_map(|r| r.notes.clone()).collect(),
        second: group.iter().flat_map(|r| r.second.clone()).collect(),
        alike: Some(Alike { bars, place, open }),
        ..Row::new(group[0].kind.clone())
    }
}

/// A stroke of the pattern: its repeats.
pub(super) struct Stroke {
    pub slot: Slot,
    pub role: Role,
    /// Indices of its notes, in order of time.
    pub notes: Vec<usize>,
    pub second: bool,
}

/// Of a row's notes those of one slot and hand, together with what may be said of them.
pub(super) struct Said {
    pub slot: Slot,
    pub role: Role,
    pub figure: Figure,
    pub verdict: Verdict,
    /// Notes that are heard to the side of their middle.
    pub agree: usize,
    /// Notes that are heard off their slot.
    pub strayed: Vec<Placed>,
}

/// A note of the row: the recording's, or the take's.
pub(super) fn note<'a>(
    piece: &Piece<'a>,
    index: usize,
    second: bool,
) -> Option<(&'a Note, Placed)> {
    if second {
        piece.second(index)
    } else {
        Some((piece.notes.get(index)?, piece.placed(index)))
    }
}

pub(super) fn strokes(piece: &Piece, row: &Row, second: bool) -> Vec<Stroke> {
    let of = if second { &row.second } else { &row.notes };
    let mut found: BTreeMap<(Slot, bool, Option<u8>), Vec<usize>> = BTreeMap::new();
    for &i in of {
        if let Some((note, placed)) = note(piece, i, second)
            && placed.at.is_some()
        {
            let key = (placed.slot, note.role == Role::Melody, note.string);
            found.entry(key).or_default().push(i);
        }
    }
    let stroke = |((slot, melody, _), notes)| Stroke {
        slot,
        role: if melody { Role::Melody } else { Role::Bass },
        notes,
        second,
    };
    found.into_iter().map(stroke).collect()
}

/// What may be said of each slot and hand of the notes that are spoken of.
pub(super) fn said(piece: &Piece, row: &Row) -> Vec<Said> {
    let second = piece.second.is_some();
    let of = if second { &row.second } else { &row.notes };
    let mut places: BTreeMap<(Slot, bool), Vec<Placed>> = BTreeMap::new();
    for &i in of {
        if let Some((note, placed)) = note(piece, i, second).filter(|(_, placed)| placed.counts) {
            let key = (placed.slot, note.role == Role::Melody);
            places.entry(key).or_default().push(placed);
        }
    }
    let read = |((slot, melody), all): ((Slot, bool), Vec<Placed>)| {
        let role = if melody { Role::Melody } else { Role::Bass };
        let mut slots = piece.told().slots.iter();
        let whole = slots.find(|s| s.slot == slot && s.role == role)?;
        let drifts: Vec<f64> = all.iter().map(|p| p.drift.0).collect();
        // Where all of a place's notes stand in these bars, it is the page's own figure.
        let figure = if whole.figure.n == drifts.len() {
            whole.figure
        } else {
            stats::figure(&drifts)?
        };
        let side = figure.centre.0.signum();
        let strayed: Vec<Placed> = all.into_iter().filter(Placed::audible).collect();
        Some(Said {
            slot,
            role,
            figure,
            verdict: Verdict::of(&figure, whole.floor, whole.doubt),
            agree: strayed.iter().filter(|p| p.drift.0 * side > 0.0).count(),
            strayed,
        })
    };
    places.into_iter().filter_map(read).collect()
}

/// Everything about a stroke of a folded row in one line.
pub(super) fn describe_stroke(piece: &Piece, row: &Row, alike: &Alike, mark: &Mark) -> String {
    let Some((note, placed)) = note(piece, mark.note, mark.second) else {
        return String::new();
    };
    let mut parts = vec![
        alike.name(),
        placed.slot.name(piece.grid.meter),
        hand(note.role).to_owned(),
    ];
    if let Some(string) = note.string.filter(|_| piece.fretted) {
        parts.push(format!("string {string}"));
    }
    let times = mark.others.len() + 1;
    parts.push(if times == 1 {
        "once".to_owned()
    } else {
        format!("{times} times")
    });
    let spoken = mark.second || piece.second.is_none();
    let said = said(piece, row);
    let said = said
        .iter()
        .find(|s| spoken && s.slot == placed.slot && s.role == note.role);
    if let Some(said) = said {
        let words = piece.told().reference.told(&said.figure, said.verdict);
        parts.push(if said.verdict.drifts() {
            format!("{words}, {} of {}", said.agree, said.figure.n)
        } else {
            words
        });
    }
    let of = if mark.second { "your take: " } else { "" };
    format!("{of}{}", parts.join(", "))
}
