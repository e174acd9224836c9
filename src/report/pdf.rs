//! The bar sheet on paper: the same shapes as everywhere, on A4 pages as PDF 1.4 (ISO 32000-1).
//!
//! Rows are never cut; every page counts the beats at its top. Letters are the standard Helvetica,
//! which every reader has, so that no font travels along. Paper is white: the ground is not printed.

use super::sheet::{Align, Colour, Ground, Options, Piece, Point, Rect, Shape, Sheet};
use std::fmt::Write;

/// A4 (ISO 216) in points of 1/72 inch, and its margins.
const PAGE: (f64, f64) = (595.28, 841.89);
const MARGIN: f64 = 34.0;
/// Height of the counts at the top of a following page, in the layout's points.
const COUNTS: f64 = 22.0;
/// Distance of a Bézier's handles that makes a quarter of a circle, in radii (common practice).
const ROUND: f64 = 0.5523;

/// The whole sheet of a piece as a PDF file.
pub fn write(piece: &Piece, options: Options) -> Vec<u8> {
    let sheet = Sheet::plan(piece, options);
    let scale = (PAGE.0 - 2.0 * MARGIN) / sheet.options().width;
    let room = (PAGE.1 - 2.0 * MARGIN) / scale - 24.0;
    let mut pages = vec![Page::new(scale)];
    let mut top = sheet.rows().first().map_or(sheet.height(), |row| row.top);
    pages[0].draw(&sheet.head_shapes(piece), 0.0);
    // Where the page's own upper edge lies on the endless page, less what stands above the rows.
    let mut offset = 0.0;
    for (i, row) in sheet.rows().iter().enumerate() {
        if row.top + row.height - offset > room && top > offset {
            pages.push(Page::new(scale));
            offset = row.top - COUNTS;
            let mut counts = Vec::new();
            sheet.beat_numbers(piece, 14.0, &mut counts);
            if let Some(page) = pages.last_mut() {
                page.draw(&counts, 0.0);
            }
        }
        top = row.top + row.height;
        if let Some(page) = pages.last_mut() {
            page.draw(&sheet.row_shapes(piece, i).0, offset);
        }
    }
    let (foot, height) = sheet.foot_shapes(piece, sheet.height());
    if sheet.height() + height - offset > room {
        pages.push(Page::new(scale));
        offset = sheet.height();
    }
    if let Some(page) = pages.last_mut() {
        page.draw(&foot, offset);
    }
    let all = pages.len();
    for (i, page) in pages.iter_mut().enumerate() {
        page.foot(piece.title, i + 1, all);
    }
    file(&pages)
}

/// One page's drawing.
struct Page {
    scale: f64,
    content: String,
}

impl Page {
    fn new(scale: f64) -> Self {
        Self {
            scale,
            content: String::new(),
        }
    }

    fn draw(&mut self, shapes: &[Shape], offset: f64) {
        for shape in shapes.iter().filter(|s| s.is_finite()) {
            self.shape(shape, offset);
        }
    }

    fn at(&self, p: Point, offset: f64) -> (f64, f64) {
        (
            MARGIN + p.x * self.scale,
            PAGE.1 - MARGIN - (p.y - offset) * self.scale,
        )
    }

    fn put(&mut self, text: std::fmt::Arguments) {
        // Writing to a string cannot fail.
        let _ = self.content.write_fmt(text);
        self.content.push('\n');
    }

    fn shape(&mut self, shape: &Shape, offset: f64) {
        let white = Colour(255, 255, 255);
        match shape {
            Shape::Block { area, ink, .. } => {
                self.fill(Ground::Paper.ink(*ink));
                self.rect(area, offset, "f");
            }
            Shape::Frame {
                area, width, ink, ..
            } => {
                self.fill(white);
                self.stroke(Ground::Paper.ink(*ink), *width);
                self.rect(area, offset, if *width > 0.0 { "B" } else { "f" });
            }
            Shape::Line {
                from,
                to,
                width,
                ink,
            } => {
                self.stroke(Ground::Paper.ink(*ink), *width);
                let ((a, b), (c, d)) = (self.at(*from, offset), self.at(*to, offset));
                self.put(format_args!("{a:.2} {b:.2} m {c:.2} {d:.2} l S"));
            }
            Shape::Disc {
                centre,
                radius,
                ink,
            } => {
                self.fill(Ground::Paper.ink(*ink));
                self.circle(*centre, *radius, offset, "f");
            }
            Shape::Ring {
                centre,
                radius,
                width,
                ink,
            } => {
                self.fill(white);
                self.stroke(Ground::Paper.ink(*ink), *width);
                self.circle(*centre, *radius, offset, "B");
            }
            Shape::Sail { corners, ink } => {
                self.fill(Ground::Paper.ink(*ink));
                let [a, b, c] = corners.map(|p| self.at(p, offset));
                self.put(format_args!(
                    "{:.2} {:.2} m {:.2} {:.2} l {:.2} {:.2} l f",
                    a.0, a.1, b.0, b.1, c.0, c.1
                ));
            }
            Shape::Text {
                at,
                align,
                size,
                bold,
                ink,
                text,
            } => {
                self.fill(Ground::Paper.ink(*ink));
                let size = size * self.scale;
                let place = self.at(*at, offset);
                self.text(place, *align, size, *bold, text);
            }
        }
    }

    fn text(&mut self, (x, y): (f64, f64), align: Align, size: f64, bold: bool, text: &str) {
        let wide = size * width(text, bold);
        let x = match align {
            Align::Left => x,
            Align::Centre => x - wide / 2.0,
            Align::Right => x - wide,
        };
        let font = if bold { "F2" } else { "F1" };
        self.put(format_args!(
            "BT /{font} {size:.2} Tf {x:.2} {y:.2} Td <{}> Tj ET",
            encoded(text)
        ));
    }

    fn foot(&mut self, title: &str, page: usize, all: usize) {
        self.fill(Colour(0x68, 0x60, 0x53));
        let text = format!("{title}, page {page} of {all}");
        self.text((PAGE.0 - MARGIN, 18.0), Align::Right, 7.5, false, &text);
    }

    fn fill(&mut self, colour: Colour) {
        let [r, g, b] = share(colour);
        self.put(format_args!("{r:.3} {g:.3} {b:.3} rg"));
    }

    fn stroke(&mut self, colour: Colour, width: f64) {
        let [r, g, b] = share(colour);
        let width = width * self.scale;
        self.put(format_args!("{r:.3} {g:.3} {b:.3} RG {width:.3} w"));
    }

    fn rect(&mut self, area: &Rect, offset: f64, paint: &str) {
        let (x, y) = self.at(Point::new(area.left, area.bottom), offset);
        let (w, h) = (area.width() * self.scale, area.height() * self.scale);
        self.put(format_args!("{x:.2} {y:.2} {w:.2} {h:.2} re {paint}"));
    }

    fn circle(&mut self, centre: Point, radius: f64, offset: f64, paint: &str) {
        let (x, y) = self.at(centre, offset);
        let (r, k) = (radius * self.scale, radius * self.scale * ROUND);
        self.put(format_args!(
            "{:.2} {y:.2} m {:.2} {:.2} {:.2} {:.2} {x:.2} {:.2} c {:.2} {:.2} {:.2} {:.2} {:.2} \
             {y:.2} c {:.2} {:.2} {:.2} {:.2} {x:.2} {:.2} c {:.2} {:.2} {:.2} {:.2} {:.2} {y:.2} c \
             {paint}",
            x + r,
            x + r,
            y + k,
            x + k,
            y + r,
            y + r,
            x - k,
            y + r,
            x - r,
            y + k,
            x - r,
            x - r,
            y - k,
            x - k,
            y - r,
            y - r,
            x + k,
            y - r,
            x + r,
            y - k,
            x + r,
        ));
    }
}

fn share(colour: Colour) -> [f64; 3] {
    [colour.0, colour.1, colour.2].map(|c| f64::from(c) / 255.0)
}

/// The letters in WinAnsiEncoding (ISO 32000-1, annex D) as hexadecimal digits; what it lacks becomes
/// what reads alike.
fn encoded(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        let code = match c {
            '′' => 0x27,
            '″' => 0x22,
            '♯' => 0x23,
            '♭' => 0x62,
            '…' => 0x85,
            '–' => 0x96,
            '−' => 0x2d,
            '“' => 0x93,
            '”' => 0x94,
            '’' => 0x92,
            c if (c as u32) < 0x100 && !c.is_control() => c as u32,
            _ => 0x3f,
        };
        let _ = write!(out, "{code:02x}");
    }
    out
}

/// Widths of the letters from space to tilde in Helvetica, thousandths of the size (Adobe's font
/// metrics of the standard fonts, from memory).
const WIDTHS: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// Width of a text as a share of its size; bold letters are about a twentieth wider.
fn width(text: &str, bold: bool) -> f64 {
    let letter = |c: char| {
        let index = (c as usize).checked_sub(0x20);
        let width = index.and_then(|i| WIDTHS.get(i)).copied().unwrap_or(556);
        f64::from(width) / 1000.0
    };
    let wide: f64 = text.chars().map(letter).sum();
    wide * if bold { 1.05 } else { 1.0 }
}

/// Catalogue, pages, fonts and contents with the table of where each begins.
fn file(pages: &[Page]) -> Vec<u8> {
    let mut objects = vec!["<< /Type /Catalog /Pages 2 0 R >>".to_owned()];
    let kids: Vec<String> = (0..pages.len())
        .map(|i| format!("{} 0 R", 5 + 2 * i))
        .collect();
    objects.push(format!(
        "<< /Type /Pages /Kids [{}] /Count {} >>",
        kids.join(" "),
        pages.len()
    ));
    for font in ["Helvetica", "Helvetica-Bold"] {
        objects.push(format!(
            "<< /Type /Font /Subtype /Type1 /BaseFont /{font} /Encoding /WinAnsiEncoding >>"
        ));
    }
    for (i, page) in pages.iter().enumerate() {
        objects.push(format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {} {}] /Resources << /Font << /F1 3 0 R \
             /F2 4 0 R >> >> /Contents {} 0 R >>",
            PAGE.0,
            PAGE.1,
            6 + 2 * i
        ));
        let content = &page.content;
        objects.push(format!(
            "<< /Length {} >>\nstream\n{content}endstream",
            content.len()
        ));
    }
    let mut out = String::from("%PDF-1.4\n");
    let mut places = Vec::new();
    for (i, object) in objects.iter().enumerate() {
        places.push(out.len());
        let _ = write!(out, "{} 0 obj\n{object}\nendobj\n", i + 1);
    }
    let table = out.len();
    let _ = write!(out, "xref\n0 {}\n0000000000 65535 f \n", objects.len() + 1);
    for place in &places {
        let _ = writeln!(out, "{place:010} 00000 n ");
    }
    let _ = write!(
        out,
        "trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{table}\n%%EOF\n",
        objects.len() + 1
    );
    out.into_bytes()
}
