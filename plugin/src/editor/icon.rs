//! Icons of our own, drawn with a few strokes, and the large buttons that carry them beside a word.

use super::keys::{self, Deed};
use super::theme;
use egui::{
    Align2, Color32, Painter, Pos2, Rect, Role, Sense, Shape, Stroke, StrokeKind, TextStyle, Ui,
    Vec2, WidgetInfo, pos2, vec2,
};

/// What a button's picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icon {
    /// A wedge forward.
    Play,
    /// A block.
    Stop,
    /// A stretch between two posts, with a way back.
    Loop,
    /// A disc.
    Record,
    /// Three strokes, the first the longest: a count.
    Click,
    /// Steps up.
    Ladder,
}

impl Icon {
    /// Paints it into a square.
    pub fn paint(self, painter: &Painter, area: Rect, ink: Color32) {
        let at = |x: f32, y: f32| -> Pos2 {
            pos2(
                area.left() + x * area.width(),
                area.top() + y * area.height(),
            )
        };
        let stroke = Stroke::new(2.0, ink);
        let line = |points: &[(f32, f32)]| {
            let points = points.iter().map(|&(x, y)| at(x, y)).collect();
            painter.add(Shape::line(points, stroke));
        };
        match self {
            Self::Play => {
                let corners = vec![at(0.15, 0.05), at(0.95, 0.5), at(0.15, 0.95)];
                painter.add(Shape::convex_polygon(corners, ink, Stroke::NONE));
            }
            Self::Stop => {
                painter.rect_filled(area.shrink(0.12 * area.width()), 1.0, ink);
            }
            Self::Loop => {
                line(&[(0.0, 0.15), (0.0, 0.95)]);
                line(&[(1.0, 0.15), (1.0, 0.95)]);
                line(&[(1.0, 0.75), (0.2, 0.75)]);
                line(&[(0.45, 0.5), (0.15, 0.75), (0.45, 1.0)]);
            }
            Self::Record => {
                painter.circle_filled(area.center(), 0.42 * area.width(), ink);
            }
            Self::Click => {
                line(&[(0.1, 0.05), (0.1, 0.95)]);
                line(&[(0.5, 0.4), (0.5, 0.95)]);
                line(&[(0.9, 0.4), (0.9, 0.95)]);
            }
            Self::Ladder => {
                line(&[
                    (0.0, 0.95),
                    (0.33, 0.95),
                    (0.33, 0.65),
                    (0.66, 0.65),
                    (0.66, 0.35),
                    (1.0, 0.35),
                    (1.0, 0.05),
                ]);
            }
        }
    }
}

/// A button of a fixed size, so that nothing beside it ever moves.
pub struct Push<'a> {
    /// Its size.
    pub size: Vec2,
    /// Is it lit?
    pub on: bool,
    /// The picture before the word.
    pub icon: Option<Icon>,
    /// What it shows.
    pub text: &'a str,
    /// What it is called, where that is more than what it shows.
    pub name: &'a str,
    /// What it does.
    pub hint: &'a str,
    /// Whose key the hint tells.
    pub deed: Option<Deed>,
    /// In the colour of what deserves attention?
    pub alarm: bool,
}

impl<'a> Push<'a> {
    /// One that is not lit, called as what it shows.
    pub fn new(size: Vec2, text: &'a str, hint: &'a str) -> Self {
        Self {
            size,
            on: false,
            icon: None,
            text,
            name: text,
            hint,
            deed: None,
            alarm: false,
        }
    }

    /// Draws it; was it pressed?
    pub fn show(self, ui: &mut Ui) -> bool {
        let (area, button) = ui.allocate_exact_size(self.size, Sense::click());
        let (on, name) = (self.on, self.name);
        button.widget_info(|| WidgetInfo::selected(Role::Button, true, on, name));
        let visuals = ui.style().interact_selectable(&button, on);
        let painter = ui.painter_at(area.expand(1.0));
        let fill = if on {
            visuals.bg_fill
        } else {
            visuals.weak_bg_fill
        };
        painter.rect(
            area,
            visuals.corner_radius,
            fill,
            visuals.bg_stroke,
            StrokeKind::Inside,
        );
        let ink = if self.alarm {
            ui.visuals().error_fg_color
        } else {
            visuals.text_color()
        };
        let font = TextStyle::Button.resolve(ui.style());
        match self.icon {
            None => {
                painter.text(area.center(), Align2::CENTER_CENTER, self.text, font, ink);
            }
            Some(icon) => {
                let text = painter.layout_no_wrap(self.text.to_owned(), font, ink);
                let (side, gap) = (14.0, 7.0);
                let left = area.center().x - (side + gap + text.size().x) / 2.0;
                let left = left.max(area.left() + 4.0);
                let picture =
                    Rect::from_min_size(pos2(left, area.center().y - side / 2.0), vec2(side, side));
                icon.paint(&painter, picture, ink);
                let at = pos2(left + side + gap, area.center().y - text.size().y / 2.0);
                painter.galley(at, text, ink);
            }
        }
        let key = self.deed.map(keys::name).filter(|key| !key.is_empty());
        let hint = match key {
            Some(key) => format!("{} ({key})", self.hint),
            None => self.hint.to_owned(),
        };
        button.on_hover_text(theme::letters(&hint)).clicked()
    }
}
