//! The recording's page of the journal: progress over the days as a picture, the latest rounds, what
//! to practise next.

use super::theme;
use crate::snapshot::{PageView, Snapshot};
use egui::{Align2, FontId, Grid, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use thumbline::journal::{PracticeDay, advice, chart};
use thumbline::report::sheet::{Ground, Ink};
use thumbline::stretch::FASTEST;

/// Height of each half of the picture.
const TALL: f32 = 84.0;
/// Width of a day in the picture.
const DAY: f32 = 34.0;
/// Rounds listed.
const LISTED: usize = 12;

/// Draws the panel.
pub fn show(ui: &mut Ui, snapshot: &Snapshot) {
    ui.strong("This recording’s page");
    if snapshot.recording.name().is_none() {
        ui.label("Every recording has a page here. Open one.");
        return;
    }
    let page = &*snapshot.page;
    if let Some(fault) = &page.fault {
        ui.label(fault);
        return;
    }
    if page.rounds.is_empty() {
        ui.label("This page is still empty. Each take you record is kept here: how fast, how far off, how steady.");
    } else {
        progress(ui, page, snapshot.look.ground);
        rounds(ui, page);
    }
    if !page.next.is_empty() {
        ui.separator();
        ui.strong("Next time").on_hover_text(advice::RULE);
        for sentence in &page.next {
            ui.label(sentence);
        }
    }
}

/// Speed reached above, the fingers' drift with its spread below, a day beside the other.
fn progress(ui: &mut Ui, page: &PageView, ground: Ground) {
    let fits = ((ui.available_width() - 44.0) / DAY).max(1.0) as usize;
    let days = &page.sessions[page.sessions.len().saturating_sub(fits)..];
    let size = vec2(ui.available_width(), 2.0 * TALL + 54.0);
    let (area, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, told(days)));
    let painter = ui.painter_at(area);
    painter.rect_filled(area, 3.0, theme::ink(ground, Ink::Wash));
    let left = area.left() + 44.0;
    let upper = area.top() + 16.0;
    let lower = upper + TALL + 16.0;
    let reach = chart::reach(days);
    let speed_y = |speed: f64| upper + TALL * (1.0 - (speed / FASTEST).clamp(0.0, 1.0)) as f32;
    let drift_y = |ms: f64| lower + TALL * (0.5 + 0.5 * (ms / reach).clamp(-1.0, 1.0)) as f32;
    let font = FontId::proportional(10.0);
    let text = theme::ink(ground, Ink::Text);
    let rule = |y: f32, label: &str| {
        let stroke = Stroke::new(1.0, theme::ink(ground, Ink::Tick));
        painter.hline(left..=area.right() - 4.0, y, stroke);
        let at = pos2(left - 4.0, y);
        painter.text(at, Align2::RIGHT_CENTER, label, font.clone(), text);
    };
    for (speed, label) in [(0.5, "50 %"), (1.0, "100 %"), (1.5, "150 %")] {
        rule(speed_y(speed), label);
    }
    for (ms, label) in [(-reach, "ahead"), (0.0, "on it"), (reach, "behind")] {
        rule(drift_y(ms), label);
    }
    for (i, day) in days.iter().enumerate() {
        let x = left + DAY * (i as f32 + 0.5);
        let speed = egui::Rect::from_center_size(pos2(x, speed_y(day.top_speed)), vec2(8.0, 8.0));
        painter.rect_filled(speed, 0.0, theme::ink(ground, Ink::Thumb));
        if let Some(f) = day.fingers {
            let ink = theme::ink(ground, Ink::Finger);
            let span = drift_y(f.drift_ms - f.spread_ms)..=drift_y(f.drift_ms + f.spread_ms);
            painter.vline(x, span, Stroke::new(3.0, ink));
            painter.circle_filled(pos2(x, drift_y(f.drift_ms)), 5.0, ink);
        }
        let at = pos2(x, area.bottom() - 2.0);
        let date = day.date.get(5..).unwrap_or_default();
        painter.text(at, Align2::CENTER_BOTTOM, date, font.clone(), text);
    }
    response.on_hover_text(
        "Above: the speed reached. Below: the fingers against the beat, the line is their spread.",
    );
}

/// The picture in words, for a screen reader.
fn told(days: &[PracticeDay]) -> String {
    let day = |s: &PracticeDay| {
        let speed = 100.0 * s.top_speed;
        match s.fingers {
            Some(f) => format!(
                "{}: {speed:.0} %, fingers {:+.0} ms, spread {:.0} ms",
                s.date, f.drift_ms, f.spread_ms
            ),
            None => format!("{}: {speed:.0} %", s.date),
        }
    };
    let days: Vec<String> = days.iter().map(day).collect();
    format!("Progress. {}", days.join("; "))
}

fn rounds(ui: &mut Ui, page: &PageView) {
    Grid::new("rounds")
        .num_columns(4)
        .striped(true)
        .show(ui, |ui| {
            for name in ["when", "what", "speed", "fingers"] {
                ui.weak(name);
            }
            ui.end_row();
            for round in page.rounds.iter().take(LISTED) {
                ui.label(round.at.local());
                ui.label(if round.note.is_empty() {
                    round.region.clone()
                } else {
                    format!("{}, {}", round.region, round.note)
                });
                ui.label(format!("{:.0} %", 100.0 * round.speed));
                ui.label(round.fingers.map_or("–".to_owned(), |f| {
                    format!("{:+.0} ± {:.0} ms", f.drift_ms.round() + 0.0, f.spread_ms)
                }));
                ui.end_row();
            }
        });
}
