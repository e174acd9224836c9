//! How the window is painted: the sheet's inks as egui colours, its shapes as egui shapes, sizes of
//! text and targets. The one place that knows colours.

use egui::{Align2, Color32, CornerRadius, FontId, Painter, Pos2, Stroke, StrokeKind, pos2, vec2};
use thumbline::report::sheet::{Align, Colour, Ground, Ink, Point, Rect, Shape};

/// Least width and height of a target in points: large enough for a hurried finger (WCAG 2.2,
/// success criterion 2.5.5).
pub const TARGET: f32 = 44.0;

/// Ordinary text.
pub const TEXT: f32 = 14.0;

fn plain(colour: Colour) -> Color32 {
    Color32::from_rgb(colour.0, colour.1, colour.2)
}

/// The colour of an ink on a ground.
pub fn ink(ground: Ground, ink: Ink) -> Color32 {
    plain(ground.ink(ink))
}

/// The colour of the ground.
pub fn paper(ground: Ground) -> Color32 {
    plain(ground.colour())
}

/// The same for clearing a window: its screen takes the values as they are, without the gamma that
/// `Rgba` stands for.
pub fn cleared(ground: Ground) -> egui::Rgba {
    let [r, g, b, a] = paper(ground).to_array().map(|c| f32::from(c) / 255.0);
    egui::Rgba::from_rgba_premultiplied(r, g, b, a)
}

/// Gives all widgets the ground's colours.
pub fn apply(ctx: &egui::Context, ground: Ground) {
    let of = |i| ink(ground, i);
    let mut visuals = match ground {
        Ground::Paper => egui::Visuals::light(),
        Ground::Dark => egui::Visuals::dark(),
    };
    visuals.panel_fill = paper(ground);
    visuals.window_fill = paper(ground);
    visuals.extreme_bg_color = paper(ground);
    visuals.faint_bg_color = of(Ink::Wash);
    visuals.override_text_color = Some(of(Ink::Text));
    visuals.weak_text_color = Some(of(Ink::Faint));
    visuals.selection.bg_fill = of(Ink::Hair);
    visuals.selection.stroke = Stroke::new(1.5, of(Ink::Focus));
    visuals.hyperlink_color = of(Ink::Thumb);
    visuals.error_fg_color = of(Ink::Alarm);
    visuals.warn_fg_color = of(Ink::Alarm);
    let rest = [
        &mut visuals.widgets.inactive,
        &mut visuals.widgets.noninteractive,
        &mut visuals.widgets.open,
    ];
    for widget in rest {
        widget.bg_fill = of(Ink::Wash);
        widget.weak_bg_fill = of(Ink::Wash);
        widget.bg_stroke = Stroke::new(1.0, of(Ink::Tick));
        widget.fg_stroke = Stroke::new(1.2, of(Ink::Text));
        widget.corner_radius = CornerRadius::same(3);
    }
    for widget in [&mut visuals.widgets.hovered, &mut visuals.widgets.active] {
        widget.bg_fill = of(Ink::Hair);
        widget.weak_bg_fill = of(Ink::Hair);
        widget.bg_stroke = Stroke::new(1.5, of(Ink::Focus));
        widget.fg_stroke = Stroke::new(1.4, of(Ink::Text));
        widget.corner_radius = CornerRadius::same(3);
        widget.expansion = 0.0;
    }
    ctx.all_styles_mut(|style| {
        style.visuals = visuals.clone();
        style.spacing.item_spacing = vec2(8.0, 6.0);
        style.spacing.button_padding = vec2(10.0, 4.0);
        for (text, size) in [
            (egui::TextStyle::Body, TEXT),
            (egui::TextStyle::Button, TEXT),
            (egui::TextStyle::Heading, 20.0),
            (egui::TextStyle::Small, 12.0),
        ] {
            style.text_styles.insert(text, FontId::proportional(size));
        }
    });
}

/// A text with the signs that the window's font lacks (primes, sharp and flat) as letters that read
/// alike; it would show empty boxes.
pub fn letters(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '′' => '\'',
            '″' => '"',
            '♯' => '#',
            '♭' => 'b',
            other => other,
        })
        .collect()
}

/// Paints the sheet's shapes with the page's top left corner at `origin`.
pub struct Brush<'a> {
    /// Where to paint.
    pub painter: &'a Painter,
    /// The page's corner on the screen.
    pub origin: Pos2,
    /// Paper or dark.
    pub ground: Ground,
}

impl Brush<'_> {
    /// A place of the page on the screen.
    pub fn at(&self, p: Point) -> Pos2 {
        pos2(self.origin.x + p.x as f32, self.origin.y + p.y as f32)
    }

    /// A rectangle of the page on the screen.
    pub fn area(&self, r: &Rect) -> egui::Rect {
        egui::Rect::from_min_max(
            self.at(Point::new(r.left, r.top)),
            self.at(Point::new(r.right, r.bottom)),
        )
    }

    fn ink(&self, which: Ink) -> Color32 {
        ink(self.ground, which)
    }

    /// Paints one shape; a shape with a coordinate that is not a number is left out.
    pub fn paint(&self, shape: &Shape) {
        if !shape.is_finite() {
            return;
        }
        let painter = self.painter;
        match shape {
            Shape::Block { area, radius, ink } => {
                let corner = CornerRadius::same(radius.clamp(0.0, 20.0) as u8);
                painter.rect_filled(self.area(area), corner, self.ink(*ink));
            }
            Shape::Frame {
                area,
                radius,
                width,
                ink,
            } => {
                let corner = CornerRadius::same(radius.clamp(0.0, 20.0) as u8);
                let area = self.area(area);
                painter.rect_filled(area, corner, paper(self.ground));
                let stroke = Stroke::new(*width as f32, self.ink(*ink));
                painter.rect_stroke(area, corner, stroke, StrokeKind::Middle);
            }
            Shape::Line {
                from,
                to,
                width,
                ink,
            } => {
                let stroke = Stroke::new(*width as f32, self.ink(*ink));
                painter.line_segment([self.at(*from), self.at(*to)], stroke);
            }
            Shape::Disc {
                centre,
                radius,
                ink,
            } => {
                painter.circle_filled(self.at(*centre), *radius as f32, self.ink(*ink));
            }
            Shape::Ring {
                centre,
                radius,
                width,
                ink,
            } => {
                let (at, radius) = (self.at(*centre), *radius as f32);
                let stroke = Stroke::new(*width as f32, self.ink(*ink));
                painter.circle(at, radius, paper(self.ground), stroke);
            }
            Shape::Sail { corners, ink } => {
                let corners = corners.iter().map(|c| self.at(*c)).collect();
                painter.add(egui::Shape::convex_polygon(
                    corners,
                    self.ink(*ink),
                    Stroke::NONE,
                ));
            }
            Shape::Text { .. } => self.write(shape),
        }
    }

    fn write(&self, shape: &Shape) {
        let Shape::Text {
            at,
            align,
            size,
            bold,
            ink,
            text,
        } = shape
        else {
            return;
        };
        let anchor = match align {
            Align::Left => Align2::LEFT_BOTTOM,
            Align::Centre => Align2::CENTER_BOTTOM,
            Align::Right => Align2::RIGHT_BOTTOM,
        };
        // The sheet gives baselines; a line of text reaches about a quarter of its size below.
        let at = self.at(*at) + vec2(0.0, 0.27 * *size as f32);
        let font = FontId::proportional(*size as f32);
        let colour = self.ink(*ink);
        let text = &letters(text);
        self.painter.text(at, anchor, text, font.clone(), colour);
        if *bold {
            // No bold face is shipped: a second strike beside the first, as typewriters did.
            let beside = at + vec2(0.55, 0.0);
            self.painter.text(beside, anchor, text, font, colour);
        }
    }
}
