//! The bar sheet as an SVG file (SVG 1.1, W3C 2011): text and plain shapes only, no style sheet,
//! no script, no font file, so that it prints and opens anywhere.
//!
//! Each head carries a `<title>` that says what it is, which browsers show under the pointer and
//! screen readers read. Layout is `report::sheet`.

use super::sheet::{Align, Colour, Ground, Options, Piece, Rect, Shape, Sheet};
use super::sign::COMMENT;
use crate::xml::escaped;
use std::fmt::Write;

/// Writes the whole sheet of a piece, with heading and summary.
pub fn write(piece: &Piece, options: Options, ground: Ground) -> String {
    let sheet = Sheet::plan(piece, options);
    let mut body = String::new();
    for shape in sheet.head_shapes(piece) {
        element(&shape, ground, &mut body);
    }
    for row in 0..sheet.rows().len() {
        let (shapes, marks) = sheet.row_shapes(piece, row);
        body.push_str("<g>");
        for shape in &shapes {
            element(shape, ground, &mut body);
        }
        for mark in &marks {
            touch(&mark.area, &sheet.describe(piece, row, mark), &mut body);
        }
        body.push_str("</g>\n");
    }
    let (shapes, foot) = sheet.foot_shapes(piece, sheet.height());
    for shape in &shapes {
        element(shape, ground, &mut body);
    }
    let size = (sheet.options().width, sheet.height() + foot);
    document(
        &format!("Bar sheet of {}", piece.title),
        size,
        &body,
        ground,
    )
}

/// Writes a page of shapes, `size` points wide and high.
pub fn page(title: &str, size: (f64, f64), shapes: &[Shape], ground: Ground) -> String {
    let mut body = String::new();
    for shape in shapes {
        element(shape, ground, &mut body);
    }
    document(title, size, &body, ground)
}

fn document(title: &str, (width, height): (f64, f64), body: &str, ground: Ground) -> String {
    let paper = ground.colour().hex();
    let title = escaped(title);
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}\" height=\"{height:.0}\" \
         viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" font-family=\"sans-serif\">\n{COMMENT}\n\
         <title>{title}</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"{paper}\"/>\n{body}</svg>\n"
    )
}

/// An unseen area over a head that says what it is.
fn touch(around: &Rect, text: &str, out: &mut String) {
    let _ = write!(
        out,
        "<rect {} fill-opacity=\"0\"><title>{}</title></rect>",
        area(around),
        escaped(text)
    );
}

fn element(shape: &Shape, ground: Ground, out: &mut String) {
    let paper = ground.colour().hex();
    let _ = match shape {
        Shape::Block {
            area: r,
            radius,
            ink,
        } => write!(
            out,
            "<rect {} rx=\"{radius:.2}\" fill=\"{}\"/>",
            area(r),
            ground.ink(*ink).hex()
        ),
        Shape::Frame {
            area: r,
            radius,
            width,
            ink,
        } => write!(
            out,
            "<rect {} rx=\"{radius:.2}\" fill=\"{paper}\"{}/>",
            area(r),
            outline(*width, ground.ink(*ink))
        ),
        Shape::Line {
            from,
            to,
            width,
            ink,
        } => write!(
            out,
            "<path d=\"M{:.2} {:.2}L{:.2} {:.2}\"{}/>",
            from.x,
            from.y,
            to.x,
            to.y,
            outline(*width, ground.ink(*ink))
        ),
        Shape::Disc {
            centre,
            radius,
            ink,
        } => write!(
            out,
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{radius:.2}\" fill=\"{}\"/>",
            centre.x,
            centre.y,
            ground.ink(*ink).hex()
        ),
        Shape::Ring {
            centre,
            radius,
            width,
            ink,
        } => write!(
            out,
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{radius:.2}\" fill=\"{paper}\"{}/>",
            centre.x,
            centre.y,
            outline(*width, ground.ink(*ink))
        ),
        Shape::Sail { corners, ink } => {
            let [a, b, c] = corners;
            write!(
                out,
                "<path d=\"M{:.2} {:.2}L{:.2} {:.2}L{:.2} {:.2}Z\" fill=\"{}\"/>",
                a.x,
                a.y,
                b.x,
                b.y,
                c.x,
                c.y,
                ground.ink(*ink).hex()
            )
        }
        Shape::Text {
            at,
            align,
            size,
            bold,
            ink,
            text,
        } => {
            let anchor = match align {
                Align::Left => "",
                Align::Centre => " text-anchor=\"middle\"",
                Align::Right => " text-anchor=\"end\"",
            };
            let weight = if *bold { " font-weight=\"bold\"" } else { "" };
            write!(
                out,
                "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{size:.1}\"{anchor}{weight} fill=\"{}\">{}</text>",
                at.x,
                at.y,
                ground.ink(*ink).hex(),
                escaped(text)
            )
        }
    };
}

fn area(r: &Rect) -> String {
    format!(
        "x=\"{:.2}\" y=\"{:.2}\" width=\"{:.2}\" height=\"{:.2}\"",
        r.left,
        r.top,
        r.width().max(0.0),
        r.height().max(0.0)
    )
}

fn outline(width: f64, colour: Colour) -> String {
    if width > 0.0 {
        format!(" stroke=\"{}\" stroke-width=\"{width:.2}\"", colour.hex())
    } else {
        String::new()
    }
}
