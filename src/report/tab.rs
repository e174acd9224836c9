//! Score → text tablature: a line a string, the count above, the right hand's fingers below and, where
//! they are said, the left hand's under them.

use crate::music::note::Attack;
use crate::music::picking::count;
use crate::music::pitch::Key;
use crate::music::score::{Brush, Score, Written};
use crate::unit::Beats;
use std::fmt::Write;

/// Slots a beat at most: what is finer falls on the nearest.
const FINEST: u32 = 24;

/// One column of the page.
enum Column {
    /// What each string (1 first), the count and the fingers show there.
    Slot {
        frets: Vec<String>,
        count: String,
        fingers: String,
        left: String,
    },
    Bar,
}

/// The score in lines of at most `width` columns (at least 20), a system for as many whole bars as
/// fit.
pub fn text(score: &Score, width: usize) -> String {
    let division = division(score);
    let names = labels(score);
    let margin = names.iter().map(|n| n.chars().count()).max().unwrap_or(1) + 1;
    let bars = columns(score, division);
    let room = width.max(20).saturating_sub(margin + 1);
    let mut out = String::new();
    let mut system: Vec<Column> = Vec::new();
    for bar in bars {
        let longer = size(&system) + size(&bar);
        if !system.is_empty() && longer > room {
            print(&mut out, &names, margin, &std::mem::take(&mut system));
        }
        for column in bar {
            if size(&system) + column.width() > room {
                print(&mut out, &names, margin, &std::mem::take(&mut system));
            }
            system.push(column);
        }
    }
    if !system.is_empty() {
        print(&mut out, &names, margin, &system);
    }
    out
}

/// The coarsest division of a beat on which every note lies.
fn division(score: &Score) -> u32 {
    [1, 2, 3, 4, 6, 8, 12]
        .into_iter()
        .find(|d| {
            score.notes.iter().all(|n| {
                let slot = n.at.0 * f64::from(*d);
                (slot - slot.round()).abs() < 1e-4
            })
        })
        .unwrap_or(FINEST)
}

/// Names of the strings, string 1 first.
fn labels(score: &Score) -> Vec<String> {
    let tuning = &score.tuning;
    (1..=tuning.strings())
        .map(|string| {
            let open = tuning.open(string).map(|midi| midi - tuning.capo());
            open.map_or_else(|| "x".to_owned(), |midi| Key { fifths: 1 }.class_name(midi))
        })
        .collect()
}

fn columns(score: &Score, division: u32) -> Vec<Vec<Column>> {
    let per_bar = u32::from(score.meter.beats().max(1)) * division;
    let strings = usize::from(score.tuning.strings());
    let empty = |slot: u32| {
        let at = Beats(f64::from(slot) / f64::from(division));
        let named = count(score.meter, at);
        Column::Slot {
            frets: vec![String::new(); strings],
            // A count with a fraction is too long for a column.
            count: if named.contains('+') {
                String::new()
            } else {
                named
            },
            fingers: String::new(),
            left: String::new(),
        }
    };
    let mut bars: Vec<Vec<Column>> = (0..score.bars())
        .map(|_| {
            let mut bar: Vec<Column> = (0..per_bar).map(empty).collect();
            bar.push(Column::Bar);
            bar
        })
        .collect();
    for note in &score.notes {
        let slot = (note.at.0 * f64::from(division)).round().max(0.0) as usize;
        let column = bars
            .get_mut(slot / per_bar as usize)
            .and_then(|bar| bar.get_mut(slot % per_bar as usize));
        if let Some(Column::Slot {
            frets,
            fingers,
            left,
            ..
        }) = column
        {
            if let Some(fret) = frets.get_mut(usize::from(note.string).wrapping_sub(1)) {
                *fret = place(note);
            }
            if let Some(finger) = note.finger {
                fingers.insert(0, finger.letter());
            }
            if let Some(finger) = note.left {
                let letter = if finger == 0 {
                    'T'
                } else {
                    char::from(b'0' + finger)
                };
                left.insert(0, letter);
            }
        }
    }
    bars
}

fn place(note: &Written) -> String {
    let accent = if note.touch.accent { ">" } else { "" };
    let brush = match note.touch.brush {
        Some(Brush::Down) => "v",
        Some(Brush::Up) => "^",
        None => "",
    };
    let damped = if note.touch.damped { "." } else { "" };
    format!("{accent}{}{damped}{brush}", stopped(note))
}

fn stopped(note: &Written) -> String {
    match note.attack {
        Attack::Harmonic => format!("<{}>", note.fret),
        Attack::HammerOn => format!("h{}", note.fret),
        Attack::PullOff => format!("p{}", note.fret),
        Attack::Slide => format!("/{}", note.fret),
        Attack::Dead => "x".to_owned(),
        Attack::Tap => "T".to_owned(),
        Attack::Pluck => note.fret.to_string(),
    }
}

impl Column {
    fn width(&self) -> usize {
        match self {
            Self::Slot {
                frets,
                count,
                fingers,
                left,
            } => {
                let longest = frets.iter().map(String::len).max().unwrap_or(0);
                longest.max(count.len()).max(fingers.len()).max(left.len()) + 1
            }
            Self::Bar => 1,
        }
    }
}

fn size(columns: &[Column]) -> usize {
    columns.iter().map(Column::width).sum()
}

/// Writes one system: count, strings from the highest, fingers. Writing to a string cannot fail.
fn print(out: &mut String, names: &[String], margin: usize, system: &[Column]) {
    let pad = " ".repeat(margin + 1);
    let row = |read: &dyn Fn(&Column) -> String| -> String {
        let mut line = String::new();
        for column in system {
            let _ = write!(line, "{:<1$}", read(column), column.width());
        }
        format!("{pad}{}", line.trim_end())
    };
    let counts = row(&|c| match c {
        Column::Slot { count, .. } => count.clone(),
        Column::Bar => String::new(),
    });
    let _ = writeln!(out, "{}", counts.trim_end());
    for (i, name) in names.iter().enumerate() {
        let _ = write!(out, "{name:<margin$}|");
        for column in system {
            match column {
                Column::Slot { frets, .. } => {
                    let _ = write!(out, "{:-<1$}", frets[i], column.width());
                }
                Column::Bar => out.push('|'),
            }
        }
        out.push('\n');
    }
    let fingers = row(&|c| match c {
        Column::Slot { fingers, .. } => fingers.clone(),
        Column::Bar => String::new(),
    });
    if !fingers.trim().is_empty() {
        let _ = writeln!(out, "{}", fingers.trim_end());
    }
    let left = row(&|c| match c {
        Column::Slot { left, .. } => left.clone(),
        Column::Bar => String::new(),
    });
    if !left.trim().is_empty() {
        let _ = writeln!(out, "{}", left.trim_end());
    }
    out.push('\n');
}
