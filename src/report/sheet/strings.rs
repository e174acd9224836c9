//! The row of tablature under a bar: fret numbers on lines that carry their strings' names, a hand
//! letter under each.

use super::layout::Sheet;
use super::piece::Piece;
use super::row::{Row, RowKind};
use super::said::NAMES;
use super::shape::{Align, Point, Rect, Shape};
use super::theme::Ink;
use crate::music::note::{Attack, Note, Role};
use crate::music::tuning::Tuning;

/// Distance of two of six strings.
const STEP: f64 = 10.0;
/// Size of fret numbers, and of the letters beside and below them.
const DIGITS: f64 = 11.0;
const LETTERS: f64 = 9.5;

/// Adds lines, numbers and letters of a row of bars.
pub(super) fn tablature(sheet: &Sheet, piece: &Piece, row: &Row, out: &mut Vec<Shape>) {
    let RowKind::Bars(cells) = &row.kind else {
        return;
    };
    let z = sheet.levels.tablature_zoom();
    let strings = piece.tuning.strings();
    let step = STEP * z * 5.0 / f64::from(strings.max(2) - 1);
    let top = sheet.line_of(row) + sheet.levels.tablature();
    for cell in cells {
        let (left, right) = (sheet.x(cell.offset), sheet.x(cell.offset + cell.beats));
        for string in 0..strings {
            let y = top + step * f64::from(string);
            let ends = (Point::new(left, y), Point::new(right, y));
            out.push(Shape::line(ends.0, ends.1, 0.6 * z, Ink::Tick));
            if cell.offset <= cell.lead {
                let at = Point::new(left - 7.0 * z, y + 0.36 * LETTERS * z);
                let name = name(piece.tuning, string + 1);
                out.push(Shape::text(at, Align::Right, LETTERS * z, Ink::Faint, name));
            }
        }
    }
    let mut letters: Vec<(f64, String)> = Vec::new();
    for &i in &row.notes {
        let (note, placed) = (&piece.notes[i], piece.placed(i));
        let (Some(slot), Some(string)) = (placed.at, note.string) else {
            continue;
        };
        let Some(cell) = row
            .cell_of(slot)
            .filter(|_| string >= 1 && string <= strings)
        else {
            continue;
        };
        let x = sheet.x(cell.offset + slot.0 - cell.first_beat);
        let y = top + step * f64::from(string - 1);
        let text = technique(note).to_owned() + &fret_text(note);
        let size = DIGITS * z;
        let half = (0.5 * super::shape::text_width(&text, size)).max(2.6 * z);
        out.push(Shape::Frame {
            area: Rect::about(Point::new(x, y), half, 0.42 * size),
            radius: 0.0,
            width: 0.0,
            ink: Ink::Text,
        });
        out.push(Shape::text(
            Point::new(x, y + 0.36 * size),
            Align::Centre,
            size,
            Ink::Text,
            text,
        ));
        let letter = finger(note);
        match letters.iter_mut().find(|(at, _)| (at - x).abs() < 0.5) {
            Some((_, text)) if !text.contains(letter) => text.push_str(letter),
            Some(_) => {}
            None => letters.push((x, letter.to_owned())),
        }
    }
    for (x, text) in letters {
        // As they are said, from the thumb on: p i m a.
        let text: String = "pima".chars().filter(|f| text.contains(*f)).collect();
        let at = Point::new(x, top + step * f64::from(strings - 1) + 14.0 * z);
        out.push(Shape::text(
            at,
            Align::Centre,
            LETTERS * z,
            Ink::Faint,
            text,
        ));
    }
}

/// How the left hand makes a note, as tablature writes it before the fret.
fn technique(note: &Note) -> &'static str {
    match note.attack {
        Attack::HammerOn => "h",
        Attack::PullOff => "p",
        Attack::Slide => "/",
        _ => "",
    }
}

/// What an open string is called, as it is tuned without the capo.
fn name(tuning: &Tuning, string: u8) -> &'static str {
    let open = tuning.open(string).map(|midi| midi - tuning.capo());
    open.map_or("", |midi| NAMES[midi.rem_euclid(12) as usize])
}

/// The fret as it is written; × for a damped string, ⟨ ⟩ around a natural harmonic.
pub(super) fn fret_text(note: &Note) -> String {
    match (note.attack, note.fret) {
        (Attack::Dead, _) => "x".to_owned(),
        (Attack::Harmonic, Some(fret)) => format!("<{fret}>"),
        (_, Some(fret)) => fret.to_string(),
        (_, None) => "?".to_owned(),
    }
}

/// The likely finger, one string a finger as fingerstyle is taught: p on the bass strings, i m a
/// on strings 3, 2 and 1.
pub(super) fn finger(note: &Note) -> &'static str {
    match (note.role, note.attack) {
        (_, Attack::HammerOn | Attack::PullOff | Attack::Slide) => "",
        (Role::Bass, _) => "p",
        (Role::Melody, _) => match note.string {
            Some(1) => "a",
            Some(2) => "m",
            _ => "i",
        },
    }
}
