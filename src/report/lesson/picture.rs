//! The bar sheet and the neck as they stand in a page: in its colours, by name instead of by value,
//! so that paper, a dark room and print each give their own; every note and bar addressable.

use super::part::{Part, Source};
use crate::music::chord::Shape;
use crate::music::key;
use crate::music::neck::Mark;
use crate::music::note::{Note, Role};
use crate::music::pitch::Key;
use crate::music::tuning::Tuning;
use crate::report::neck;
use crate::report::shapes;
use crate::report::sheet::{Ground, Ink, Options, RowKind, Sheet};
use crate::report::svg;
use crate::unit::{Cents, MidiNote, Seconds};
use serde::Serialize;
use std::fmt::Write;

/// How wide a sheet is laid out, in points: for paper and screens, and for a phone held upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Layout {
    Wide,
    Narrow,
}

impl Layout {
    pub fn class(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Narrow => "narrow",
        }
    }

    fn options(self) -> Options {
        let (width, zoom) = match self {
            Self::Wide => (900.0, 1.0),
            Self::Narrow => (400.0, 0.9),
        };
        Options {
            width,
            zoom,
            strings: true,
            ..Options::default()
        }
    }
}

/// A bar on a sheet, for the page's script.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct BarBox {
    /// Upper edge and height.
    y: f64,
    h: f64,
    /// Left end of each beat and the right end of the last.
    x: Vec<f64>,
}

/// A sheet and where its bars lie.
pub(super) struct Picture {
    pub svg: String,
    pub bars: Vec<BarBox>,
}

/// What a mark is drawn around: points beyond a head.
const HALO: f64 = 4.0;
/// Room for the beats' numbers above the first row, points at zoom 1.
const NUMBERS: f64 = 20.0;
/// Written practice of more bars than this stands two bars a row.
const FEW: usize = 4;

/// The bar sheet of a part. Of written practice only the bars are shown: it has no drift to speak of.
pub(super) fn sheet(part: &Part, layout: Layout) -> Picture {
    let piece = part.piece();
    let written = matches!(part.source, Source::Written(..));
    let mut options = layout.options();
    if written {
        (options.repeats, options.words) = (false, false);
        options.bars_a_row = if part.bars.len() > FEW { 2 } else { 1 };
    }
    let sheet = Sheet::plan(&piece, options);
    let (mut under, mut over) = (String::new(), String::new());
    let mut bars = Vec::new();
    for (row, planned) in sheet.rows().iter().enumerate() {
        let (_, marks) = sheet.row_shapes(&piece, row);
        for mark in marks.iter().filter(|m| !m.second) {
            let radius = 0.5 * mark.area.width() + HALO;
            let _ = write!(
                over,
                "<circle class=\"halo\" data-n=\"{}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius:.1}\"/>",
                mark.note, mark.head.x, mark.head.y
            );
        }
        let (RowKind::Bars(cells), Some(area)) = (&planned.kind, sheet.row_area(row)) else {
            continue;
        };
        for cell in cells {
            let inside = |time: Seconds| time >= cell.start && time < cell.end;
            let beats = piece.grid.beats().iter().filter(|b| inside(b.time));
            let mut x: Vec<f64> = beats
                .filter_map(|b| sheet.place(&piece, b.time))
                .map(|p| tenth(p.x))
                .collect();
            // A bar ends where the next one begins, or where its row does.
            let share = (cell.offset + cell.beats) / planned.beats().max(1e-9);
            x.push(tenth(area.left + share * area.width()));
            let (left, right) = (x[0] - 6.0, x[x.len() - 1]);
            let _ = write!(
                under,
                "<rect class=\"bar\" data-bar=\"{}\" x=\"{left:.1}\" y=\"{:.1}\" width=\"{:.1}\" \
                 height=\"{:.1}\" rx=\"6\"/>",
                bars.len(),
                area.top,
                right - left,
                area.height()
            );
            bars.push(BarBox {
                y: tenth(area.top),
                h: tenth(area.height()),
                x,
            });
        }
    }
    over.push_str("<path class=\"now\" d=\"M0 0V0\"/>");
    let drawn = inline(&svg::write(&piece, options, Ground::Paper));
    // Behind everything that is drawn stands the paper, an empty rectangle: the first one.
    let behind = drawn.find("/>").map_or(0, |at| at + 2);
    let end = drawn.rfind("</svg>").unwrap_or(drawn.len());
    let svg = format!(
        "{}{under}{}{over}{}",
        &drawn[..behind],
        &drawn[behind..end],
        &drawn[end..]
    );
    let first = sheet.rows().first().map_or(0.0, |row| row.top);
    Picture {
        svg: if written {
            let top = (first - NUMBERS * options.zoom).max(0.0);
            seen(&svg, options.width, top, sheet.height())
        } else {
            svg
        },
        bars,
    }
}

/// `svg` with only what lies between two heights in view.
fn seen(svg: &str, width: f64, top: f64, bottom: f64) -> String {
    const VIEW: &str = "viewBox=\"";
    let Some(from) = svg.find(VIEW).map(|at| at + VIEW.len()) else {
        return svg.to_owned();
    };
    let end = svg[from..].find('"').map_or(svg.len(), |e| from + e);
    format!(
        "{}0 {top:.0} {width:.0} {:.0}{}",
        &svg[..from],
        bottom - top,
        &svg[end..]
    )
}

fn tenth(points: f64) -> f64 {
    (points * 10.0).round() / 10.0
}

/// Six strings, or as many as there are, with the phrase upon them where its strings are known: a page's
/// own ornament. The thumb is square and the fingers are round, as on the sheet.
pub(super) fn strings(part: &Part) -> String {
    const WIDTH: f64 = 960.0;
    const GAP: f64 = 9.0;
    const TOP: f64 = 6.0;
    let count = part.tuning.strings();
    let length = (part.to - part.from).0.max(1e-9);
    let y = |string: u8| TOP + GAP * (f64::from(string) - 1.0);
    let height = y(count.max(1)) + TOP;
    let mut out = format!(
        "<svg class=\"ornament\" viewBox=\"0 0 {WIDTH:.0} {height:.0}\" aria-hidden=\"true\" \
         focusable=\"false\">"
    );
    for string in 1..=count {
        let thick = 0.7 + 0.25 * f64::from(string);
        let _ = write!(
            out,
            "<path d=\"M0 {:.1}H{WIDTH:.0}\" stroke=\"var(--tick)\" stroke-width=\"{thick:.2}\"/>",
            y(string)
        );
    }
    for note in part.notes.iter().filter(|_| part.fretted) {
        let Some(string) = note.string.filter(|s| (1..=count).contains(s)) else {
            continue;
        };
        let x = 8.0 + (WIDTH - 16.0) * ((note.time - part.from).0 / length).clamp(0.0, 1.0);
        let (x, y) = (tenth(x), y(string));
        let _ = match note.role {
            Role::Bass => write!(
                out,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"7\" height=\"7\" rx=\"1\" \
                 fill=\"var(--thumb)\"/>",
                x - 3.5,
                y - 3.5
            ),
            Role::Melody => write!(
                out,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.8\" fill=\"var(--finger)\"/>"
            ),
        };
    }
    out.push_str("</svg>\n");
    out
}

/// The neck with the places that `notes` use.
pub(super) fn neck(tuning: &Tuning, notes: &[&Note], key: Key) -> String {
    let mut places: Vec<(u8, u8)> = notes
        .iter()
        .filter_map(|n| Some((n.string?, n.fret?)))
        .collect();
    places.sort_unstable();
    places.dedup();
    let marks: Vec<Mark> = places
        .iter()
        .filter_map(|(string, fret)| {
            let pitch = tuning.open(*string)? + i32::from(*fret);
            let name = key.class_name(pitch);
            Some(Mark {
                string: *string,
                fret: f64::from(*fret),
                told: format!("{}: {name}", place(*string, *fret)),
                label: name,
                strong: true,
                pitch: MidiNote(f64::from(pitch)),
                partial: None,
            })
        })
        .collect();
    let highest = places.iter().map(|(_, fret)| *fret).max().unwrap_or(0);
    draw(tuning, "The notes of these bars", &marks, highest)
}

/// Chords as boxes, four in a row.
pub(super) fn boxes(shapes: &[&Shape]) -> String {
    let across = shapes.len().min(4);
    inline(&shapes::svg("Chords", shapes, Ground::Paper, across))
}

fn draw(tuning: &Tuning, title: &str, marks: &[Mark], highest: u8) -> String {
    let picture = neck::Picture {
        title,
        tuning,
        marks,
        path: &[],
        highest: highest.max(4) + 1,
    };
    inline(&neck::svg(&picture, Ground::Paper))
}

/// How the notes are spelled.
pub(super) fn spelling(notes: &[Note], offset: Cents) -> Key {
    key::of_notes(notes, offset).map_or(Key { fifths: 1 }, crate::music::key::Tonality::signature)
}

/// A place on the neck in words.
pub(super) fn place(string: u8, fret: u8) -> String {
    match fret {
        0 => format!("string {string} open"),
        fret => format!("string {string} fret {fret}"),
    }
}

/// A picture drawn on paper, for use inside a page: without its prologue, its colours by name.
fn inline(svg: &str) -> String {
    let from = svg.find("<svg").unwrap_or(0);
    let mut out = String::with_capacity(svg.len());
    let mut rest = &svg[from..];
    // Its size in points would hold its shape where a page shows only a part of it.
    if let (Some(size), Some(view)) = (rest.find(" width=\""), rest.find(" viewBox=\""))
        && size < view
    {
        out.push_str(&rest[..size]);
        rest = &rest[view..];
    }
    while let Some(at) = rest.find("\"#") {
        let end = rest[at + 1..].find('"').map_or(rest.len(), |e| at + 1 + e);
        out.push_str(&rest[..=at]);
        let value = &rest[at + 1..end];
        match name_of(value) {
            Some(name) => {
                let _ = write!(out, "var(--{name})");
            }
            None => out.push_str(value),
        }
        rest = &rest[end..];
    }
    out.push_str(rest);
    out
}

/// The page's name of a colour of the paper ground.
fn name_of(hex: &str) -> Option<&'static str> {
    if hex == Ground::Paper.colour().hex() {
        return Some("paper");
    }
    let ink = Ink::ALL
        .iter()
        .find(|i| Ground::Paper.ink(**i).hex() == hex)?;
    Some(name(*ink))
}

/// An ink's name in the page's style sheet.
fn name(ink: Ink) -> &'static str {
    match ink {
        Ink::Thumb => "thumb",
        Ink::Finger => "finger",
        Ink::ThumbQuiet => "thumb-quiet",
        Ink::FingerQuiet => "finger-quiet",
        Ink::ThumbPale => "thumb-pale",
        Ink::FingerPale => "finger-pale",
        Ink::Hair => "hair",
        Ink::Line => "line",
        Ink::Tick => "tick",
        Ink::Band => "band",
        Ink::Text => "text",
        Ink::Faint => "faint",
        Ink::Position => "position",
        Ink::Wash => "wash",
        Ink::Focus => "focus",
        Ink::Alarm => "alarm",
    }
}

/// The colours of a ground as declarations of a style sheet.
pub(super) fn colours(ground: Ground) -> String {
    let mut out = format!("--paper:{};", ground.colour().hex());
    for ink in Ink::ALL {
        let _ = write!(out, "--{}:{};", name(ink), ground.ink(ink).hex());
    }
    out
}
