//! What a sheet is made of: a handful of plain shapes in page coordinates.
//!
//! Page coordinates run right and down from the page's top left corner, in points at zoom 1.
//! Shapes name an [`Ink`], not a colour, so that one layout serves every ground.

use super::theme::Ink;

/// A place on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Points to the right of the page's left edge.
    pub x: f64,
    /// Points below the page's top edge.
    pub y: f64,
}

impl Point {
    /// The place (`x`, `y`).
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
}

/// An upright rectangle; `right` ≥ `left` and `bottom` ≥ `top`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

impl Rect {
    /// The rectangle of half width `rx` and half height `ry` about `centre`.
    pub fn about(centre: Point, rx: f64, ry: f64) -> Self {
        Self {
            left: centre.x - rx,
            top: centre.y - ry,
            right: centre.x + rx,
            bottom: centre.y + ry,
        }
    }

    /// Does it hold the point, edges included?
    pub fn holds(&self, p: Point) -> bool {
        (self.left..=self.right).contains(&p.x) && (self.top..=self.bottom).contains(&p.y)
    }

    /// Width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// Height.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }
}

/// Where a text's anchor lies in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// At its left end.
    Left,
    /// In its middle.
    Centre,
    /// At its right end.
    Right,
}

/// One thing to draw.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A filled rectangle with corners of `radius`.
    Block {
        /// Where.
        area: Rect,
        /// Corner radius.
        radius: f64,
        /// Filled with.
        ink: Ink,
    },
    /// The outline of a rectangle, filled with the ground.
    Frame {
        /// Where, to the middle of the outline.
        area: Rect,
        /// Corner radius.
        radius: f64,
        /// Width of the outline.
        width: f64,
        /// Drawn with.
        ink: Ink,
    },
    /// A straight line.
    Line {
        /// One end.
        from: Point,
        /// Other end.
        to: Point,
        /// Thickness.
        width: f64,
        /// Drawn with.
        ink: Ink,
    },
    /// A filled disc.
    Disc {
        /// Its middle.
        centre: Point,
        /// Its radius.
        radius: f64,
        /// Filled with.
        ink: Ink,
    },
    /// A ring, filled with the ground.
    Ring {
        /// Its middle.
        centre: Point,
        /// Its radius to the middle of the outline.
        radius: f64,
        /// Width of the outline.
        width: f64,
        /// Drawn with.
        ink: Ink,
    },
    /// A filled triangle.
    Sail {
        /// Its corners.
        corners: [Point; 3],
        /// Filled with.
        ink: Ink,
    },
    /// A line of text; `at` is on its baseline.
    Text {
        /// Anchor on the baseline.
        at: Point,
        /// Which end `at` is.
        align: Align,
        /// Height of the letters' body.
        size: f64,
        /// Heavier than the rest?
        bold: bool,
        /// Written with.
        ink: Ink,
        /// What it says.
        text: String,
    },
}

impl Shape {
    /// A line of ordinary text.
    pub fn text(at: Point, align: Align, size: f64, ink: Ink, text: impl Into<String>) -> Self {
        Self::Text {
            at,
            align,
            size,
            bold: false,
            ink,
            text: text.into(),
        }
    }

    /// A straight line between two places.
    pub fn line(from: Point, to: Point, width: f64, ink: Ink) -> Self {
        Self::Line {
            from,
            to,
            width,
            ink,
        }
    }

    /// The smallest upright rectangle around it; text is taken as wide as in a broad
    /// sans-serif face.
    pub fn bounds(&self) -> Rect {
        let around = |points: &[Point], pad: f64| {
            let fold = |f: fn(f64, f64) -> f64, of: fn(&Point) -> f64, first: f64| {
                points.iter().map(of).fold(first, f)
            };
            Rect {
                left: fold(f64::min, |p| p.x, f64::INFINITY) - pad,
                top: fold(f64::min, |p| p.y, f64::INFINITY) - pad,
                right: fold(f64::max, |p| p.x, f64::NEG_INFINITY) + pad,
                bottom: fold(f64::max, |p| p.y, f64::NEG_INFINITY) + pad,
            }
        };
        match self {
            Self::Block { area, .. } | Self::Frame { area, .. } => *area,
            Self::Line {
                from, to, width, ..
            } => around(&[*from, *to], width / 2.0),
            Self::Disc { centre, radius, .. } | Self::Ring { centre, radius, .. } => {
                Rect::about(*centre, *radius, *radius)
            }
            Self::Sail { corners, .. } => around(corners, 0.0),
            Self::Text {
                at,
                align,
                size,
                text,
                ..
            } => {
                let wide = text_width(text, *size);
                let left = match align {
                    Align::Left => at.x,
                    Align::Centre => at.x - wide / 2.0,
                    Align::Right => at.x - wide,
                };
                Rect {
                    left,
                    top: at.y - 0.8 * size,
                    right: left + wide,
                    bottom: at.y + 0.2 * size,
                }
            }
        }
    }

    /// Is every coordinate a number? Layout never makes one that is not; tests ask.
    pub fn is_finite(&self) -> bool {
        let b = self.bounds();
        [b.left, b.top, b.right, b.bottom]
            .iter()
            .all(|v| v.is_finite())
    }
}

/// About how wide a text of letters `size` high is.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    let letter = |c: char| match c {
        'i' | 'j' | 'l' | '.' | ',' | ':' | '\'' | '|' | '!' => 0.30,
        ' ' | 'f' | 't' | 'r' | '(' | ')' | '/' => 0.40,
        'm' | 'w' | 'M' | 'W' | '%' => 0.92,
        'A'..='Z' => 0.70,
        _ => 0.60,
    };
    size * text.chars().map(letter).sum::<f64>()
}
