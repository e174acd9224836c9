//! A picking cell as strings and slots: the thumb's strokes square, the fingers' round, each with its
//! letter; pressing a crossing adds a stroke or takes it away.

use super::theme;
use crate::snapshot::Snapshot;
use egui::{
    Align2, FontId, Rect, Role as Part, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};
use thumbline::music::note::Role;
use thumbline::music::picking::{Cell, CellNote, count};
use thumbline::report::sheet::Ink;
use thumbline::unit::Beats;

/// From one string to the next.
const GAP: f32 = 22.0;
/// Width for string numbers.
const LEFT: f32 = 30.0;
/// Room under the strings for the counts, and over them for the bar's number.
const UNDER: f32 = 26.0;
const OVER: f32 = 16.0;

/// Draws a cell in `division` slots a beat; `at` is the place that sounds now, in beats. The crossing
/// that was pressed: string, and beats after the cell's start.
pub fn show(
    ui: &mut Ui,
    snapshot: &Snapshot,
    (cell, division): (&Cell, u8),
    strings: u8,
    at: Option<Beats>,
) -> Option<(u8, Beats)> {
    let per_beat = usize::from(division.max(1));
    let per_bar = usize::from(cell.meter.beats().max(1)) * per_beat;
    let wide = ui.available_width() - LEFT - 8.0;
    let bars = usize::from(cell.bars.max(1));
    // As many bars side by side as leave every slot room for a finger.
    let across = [bars, 2, 1]
        .into_iter()
        .find(|n| *n <= bars && wide / (n * per_bar) as f32 >= 24.0);
    let across = across.unwrap_or(1);
    let slot = (wide / (across * per_bar) as f32).clamp(14.0, 52.0);
    let mut pressed = None;
    for first in (0..bars).step_by(across) {
        let last = (first + across).min(bars);
        let row = Row {
            cell,
            strings,
            per_bar,
            per_beat,
            first: first * per_bar,
            slots: (last - first) * per_bar,
            slot,
            at,
        };
        pressed = row.show(ui, snapshot).or(pressed);
    }
    pressed
}

struct Row<'a> {
    cell: &'a Cell,
    strings: u8,
    per_bar: usize,
    per_beat: usize,
    first: usize,
    slots: usize,
    slot: f32,
    at: Option<Beats>,
}

impl Row<'_> {
    fn beats(&self, slot: usize) -> Beats {
        Beats((self.first + slot) as f64 / self.per_beat as f64)
    }

    /// The stroke at a crossing.
    fn stroke(&self, string: u8, at: Beats) -> Option<&CellNote> {
        self.cell.notes.iter().find(|n| {
            let here = if n.touch.brush.is_some() {
                n.strings.contains(&string)
            } else {
                n.strings.first() == Some(&string)
            };
            here && (n.at.0 - at.0).abs() < 0.5 / self.per_beat as f64
        })
    }

    fn show(&self, ui: &mut Ui, snapshot: &Snapshot) -> Option<(u8, Beats)> {
        let ground = snapshot.look.ground;
        let ink = |i| theme::ink(ground, i);
        let high = OVER + GAP * f32::from(self.strings) + UNDER;
        let size = vec2(LEFT + self.slot * self.slots as f32 + 8.0, high);
        let (area, _) = ui.allocate_exact_size(size, Sense::hover());
        let painter = ui.painter_at(area);
        let left = area.left() + LEFT;
        let x = |slot: usize| left + self.slot * (slot as f32 + 0.5);
        let y = |string: u8| area.top() + OVER + GAP * (f32::from(string) - 0.5);
        let floor = y(self.strings) + 0.5 * GAP;
        if let Some(at) = self.at {
            let slot = (at.0 * self.per_beat as f64).floor() - self.first as f64;
            if (0.0..self.slots as f64).contains(&slot) {
                let column = Rect::from_x_y_ranges(
                    left + self.slot * slot as f32..=left + self.slot * (slot as f32 + 1.0),
                    area.top() + OVER..=floor,
                );
                painter.rect_filled(column, 2.0, ink(Ink::Band));
            }
        }
        let right = left + self.slot * self.slots as f32;
        for string in 1..=self.strings {
            painter.hline(left..=right, y(string), Stroke::new(1.0, ink(Ink::Tick)));
            let font = FontId::proportional(12.0);
            let at = pos2(area.left() + 8.0, y(string));
            painter.text(at, Align2::LEFT_CENTER, string, font, ink(Ink::Faint));
        }
        for slot in 0..self.slots {
            let at = self.beats(slot);
            let on_beat = slot % self.per_beat == 0;
            if slot % self.per_bar == 0 {
                let edge = left + self.slot * slot as f32;
                let stroke = Stroke::new(1.6, ink(Ink::Line));
                painter.vline(edge, y(1) - 6.0..=y(self.strings) + 6.0, stroke);
            }
            let named = count(self.cell.meter, at);
            let (size, colour) = if on_beat {
                (14.0, Ink::Text)
            } else {
                (11.0, Ink::Faint)
            };
            let said = if on_beat { named } else { spoken(&named) };
            let at = pos2(x(slot), floor + 3.0);
            painter.text(
                at,
                Align2::CENTER_TOP,
                said,
                FontId::proportional(size),
                ink(colour),
            );
        }
        let mut pressed = None;
        for slot in 0..self.slots {
            let at = self.beats(slot);
            for string in 1..=self.strings {
                let reach = Rect::from_center_size(pos2(x(slot), y(string)), vec2(self.slot, GAP));
                let id = ui.scope_id().with(("crossing", self.first + slot, string));
                let response = ui.interact(reach, id, Sense::click());
                let stroke = self.stroke(string, at);
                let bar = (self.first + slot) / self.per_bar + 1;
                let place = format!("bar {bar}, {}, string {string}", count(self.cell.meter, at));
                response.widget_info(|| {
                    let label = match stroke {
                        Some(n) => format!("{place}: {}", n.finger),
                        None => place.clone(),
                    };
                    WidgetInfo::selected(Part::CheckBox, true, stroke.is_some(), label)
                });
                let centre = reach.center();
                if let Some(note) = stroke {
                    let radius = (0.42 * GAP).min(0.46 * self.slot);
                    let paper = theme::paper(ground);
                    if note.role == Role::Bass {
                        let head = Rect::from_center_size(centre, vec2(2.0 * radius, 1.8 * radius));
                        painter.rect_filled(head, 3.0, ink(Ink::Thumb));
                    } else {
                        painter.circle_filled(centre, radius, ink(Ink::Finger));
                    }
                    let font = FontId::proportional(12.0);
                    let letter = note.finger.to_string();
                    painter.text(centre, Align2::CENTER_CENTER, letter, font, paper);
                }
                if response.hovered() || response.has_focus() {
                    let stroke = Stroke::new(1.5, ink(Ink::Focus));
                    painter.rect_stroke(reach.shrink(1.0), 3.0, stroke, StrokeKind::Inside);
                }
                if response.clicked() {
                    pressed = Some((string, at));
                }
                response.on_hover_text(if stroke.is_some() {
                    format!("{place}: take it away")
                } else {
                    format!("{place}: add a stroke")
                });
            }
        }
        pressed
    }
}

/// An off-beat as it is said under the row: `2&` is `and`.
fn spoken(count: &str) -> String {
    let tail = count.trim_start_matches(|c: char| c.is_ascii_digit());
    match tail {
        "&" => "and".to_owned(),
        "" => count.to_owned(),
        "+1/3" => "trip".to_owned(),
        "+2/3" => "let".to_owned(),
        other => other.to_owned(),
    }
}
