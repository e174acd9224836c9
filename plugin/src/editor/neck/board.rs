//! The neck as it is drawn: wood, frets and strings, the notes on them, which tell themselves and sound.

use crate::command::{Command, Sound};
use crate::editor::theme;
use crate::page_state::{NeckPage, Show};
use crate::services::study::NeckView;
use crate::snapshot::Snapshot;
use egui::{
    Align2, Color32, FontId, Painter, Pos2, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2,
};
use thumbline::music::fingering::Path;
use thumbline::music::neck::{self, Mark};
use thumbline::music::note;
use thumbline::report::neck::{Board, INLAYS};
use thumbline::report::sheet::{Ground, Ink};
use thumbline::unit::Span;

/// A note rings so long when it is pressed.
pub(super) const RINGS: Span = Span(2.5);

/// Where everything lies on the screen.
struct Drawn<'a> {
    painter: &'a Painter,
    ground: Ground,
    area: Rect,
    board: Board,
    gap: f32,
}

impl Drawn<'_> {
    fn ink(&self, ink: Ink) -> Color32 {
        theme::ink(self.ground, ink)
    }

    fn y(&self, string: u8) -> f32 {
        self.area.top() + 22.0 + self.gap * f32::from(string.max(1) - 1)
    }

    fn at(&self, string: u8, fret: f64) -> Pos2 {
        pos2(self.board.finger(fret) as f32, self.y(string))
    }
}

pub(super) fn picture(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    (page, marks): (&NeckPage, &[Mark]),
    commands: &mut Vec<Command>,
) {
    let tuning = &view.neck.tuning;
    let strings = tuning.strings().max(1);
    let room = (ui.available_height() - 130.0) / f32::from(strings);
    let gap = room.clamp(27.0, 40.0);
    let size = vec2(ui.available_width(), gap * f32::from(strings - 1) + 74.0);
    let (area, response) = ui.allocate_exact_size(size, Sense::hover());
    let named = format!("Neck in {}: {}", view.tuning_name, view.neck.scale.name);
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &named));
    let radius = f64::from((gap * 0.40).min(14.0));
    let (mut from, mut to) = (
        f64::from(area.left()) + 84.0,
        f64::from(area.right()) - 22.0,
    );
    if page.left_handed {
        (from, to) = (
            f64::from(area.right()) - 84.0,
            f64::from(area.left()) + 22.0,
        );
    }
    let board = Board {
        lowest: f64::from(page.frets.0),
        highest: f64::from(page.frets.1),
        from,
        to,
        radius,
    };
    let painter = ui.painter_at(area);
    let ground = snapshot.look.ground;
    let drawn = Drawn {
        painter: &painter,
        ground,
        area,
        board,
        gap,
    };
    wood(&drawn, view, page);
    let walked = match page.show {
        Show::Path => view.neck.paths.first(),
        Show::Melody => view.melody.iter().flatten().next().map(|m| &m.found.path),
        Show::Notes | Show::Chords | Show::Harmonics => None,
    };
    if let Some(path) = walked {
        path_line(&drawn, path);
    }
    let playing = now_played(snapshot, view);
    for mark in marks.iter().filter(|m| board.shows(m.fret)) {
        one(ui, &drawn, view, mark, &playing, commands);
    }
    for (string, fret) in playing {
        if board.shows(f64::from(fret)) {
            let stroke = Stroke::new(3.0, drawn.ink(Ink::Position));
            let at = drawn.at(string, f64::from(fret));
            painter.circle_stroke(at, radius as f32 + 3.5, stroke);
        }
    }
}

/// Strings, frets, their numbers and distances.
fn wood(drawn: &Drawn, view: &NeckView, page: &NeckPage) {
    let tuning = &view.neck.tuning;
    let (painter, board) = (drawn.painter, drawn.board);
    let (top, bottom) = (drawn.y(1), drawn.y(tuning.strings()));
    let span = top - 8.0..=bottom + 8.0;
    let small = FontId::proportional(11.0);
    let first = f64::from(page.frets.0);
    let nut = page.frets.0 == 0;
    let x = board.wire(first) as f32;
    let width = if nut { 5.0 } else { 1.0 };
    painter.vline(x, span.clone(), Stroke::new(width, drawn.ink(Ink::Line)));
    let quiet = Stroke::new(1.2, drawn.ink(Ink::Tick));
    let mut last_mm = f32::NEG_INFINITY;
    for wire in view
        .wires
        .iter()
        .filter(|w| w.fret > page.frets.0 && w.fret <= page.frets.1)
    {
        let x = board.wire(f64::from(wire.fret)) as f32;
        let before = board.wire(f64::from(wire.fret) - 1.0) as f32;
        painter.vline(x, span.clone(), quiet);
        let middle = 0.5 * (x + before);
        let inlay = INLAYS.contains(&(wire.fret as u8));
        let ink = drawn.ink(if inlay { Ink::Text } else { Ink::Faint });
        let at = pos2(middle, bottom + 14.0);
        let number = FontId::proportional(if inlay { 14.0 } else { 12.0 });
        painter.text(at, Align2::CENTER_TOP, wire.fret, number, ink);
        // Millimetres under the wires themselves, as far as there is room.
        if (x - last_mm).abs() > 34.0 {
            let at = pos2(x, bottom + 32.0);
            let text = format!("{:.0}", wire.mm);
            painter.text(
                at,
                Align2::CENTER_TOP,
                text,
                small.clone(),
                drawn.ink(Ink::Faint),
            );
            last_mm = x;
        }
    }
    let side = if page.left_handed {
        Align2::LEFT_TOP
    } else {
        Align2::RIGHT_TOP
    };
    let edge = board.from as f32 + if page.left_handed { 14.0 } else { -14.0 };
    let unit = "mm";
    painter.text(
        pos2(edge, bottom + 32.0),
        side,
        unit,
        small.clone(),
        drawn.ink(Ink::Faint),
    );
    let (low, high) = (
        board.from.min(board.to) as f32,
        board.from.max(board.to) as f32,
    );
    for string in 1..=tuning.strings() {
        let y = drawn.y(string);
        let thick = 0.8 + 0.3 * f32::from(string);
        painter.hline(low..=high, y, Stroke::new(thick, drawn.ink(Ink::Hair)));
        let Some(open) = tuning.open(string) else {
            continue;
        };
        let name = view.neck.scale.key.class_name(open.rem_euclid(12));
        let text = format!("{string} {name}");
        let (x, side) = if page.left_handed {
            (drawn.area.right() - 4.0, Align2::RIGHT_CENTER)
        } else {
            (drawn.area.left() + 4.0, Align2::LEFT_CENTER)
        };
        let font = FontId::proportional(14.0);
        let text = theme::letters(&text);
        painter.text(pos2(x, y), side, text, font, drawn.ink(Ink::Text));
    }
}

fn path_line(drawn: &Drawn, path: &Path) {
    let places = path
        .places
        .iter()
        .filter(|p| drawn.board.shows(f64::from(p.fret)));
    let line: Vec<Pos2> = places
        .map(|p| drawn.at(p.string, f64::from(p.fret)))
        .collect();
    let stroke = Stroke::new(2.0, drawn.ink(Ink::FingerPale));
    drawn.painter.add(egui::Shape::line(line, stroke));
}

/// One note: it tells itself, and sounds when it is pressed.
fn one(
    ui: &mut Ui,
    drawn: &Drawn,
    view: &NeckView,
    mark: &Mark,
    playing: &[(u8, i32)],
    commands: &mut Vec<Command>,
) {
    let at = drawn.at(mark.string, mark.fret);
    let radius = drawn.board.radius as f32 * if mark.strong { 1.0 } else { 0.8 };
    let reach = Rect::from_center_size(at, vec2(2.2 * radius, drawn.gap.min(2.6 * radius)));
    let place = (mark.fret * 100.0).round() as i32;
    let id = ui
        .scope_id()
        .with(("mark", mark.string, place, mark.partial));
    let response = ui.interact(reach, id, Sense::click());
    let lit = playing
        .iter()
        .any(|(s, f)| *s == mark.string && f64::from(*f) == mark.fret);
    let told = theme::letters(&mark.told);
    response.widget_info(|| {
        let told = if lit {
            format!("{told}, played now")
        } else {
            told.clone()
        };
        WidgetInfo::labeled(Role::Button, true, told)
    });
    let open = mark.fret == 0.0;
    let ink = drawn.ink(if open { Ink::Finger } else { Ink::Thumb });
    let paper = theme::paper(drawn.ground);
    let (fill, line, text) = if mark.strong {
        (ink, ink, paper)
    } else {
        (paper, drawn.ink(Ink::Tick), drawn.ink(Ink::Text))
    };
    drawn
        .painter
        .circle(at, radius, fill, Stroke::new(1.6, line));
    if response.hovered() || response.has_focus() {
        let stroke = Stroke::new(2.0, drawn.ink(Ink::Focus));
        drawn.painter.circle_stroke(at, radius + 2.0, stroke);
    }
    let font = FontId::proportional(if mark.strong { 12.5 } else { 11.0 });
    let label = theme::letters(&mark.label);
    drawn
        .painter
        .text(at, Align2::CENTER_CENTER, label, font, text);
    if response.clicked() {
        let tuning = &view.neck.tuning;
        let (strokes, length) = neck::strokes([mark], tuning, Span(0.0), RINGS);
        commands.push(Command::Sound(Sound {
            name: mark.told.clone(),
            strokes,
            length,
            again: false,
        }));
    }
    response.on_hover_text(told);
}

/// Places that the recording plays now, where the neck is in its tuning.
fn now_played(snapshot: &Snapshot, view: &NeckView) -> Vec<(u8, i32)> {
    let Some(heard) = snapshot.analysis.ready() else {
        return Vec::new();
    };
    if !snapshot.transport.playing || !view.recordings {
        return Vec::new();
    }
    note::sounding(&heard.notes, snapshot.transport.position)
        .filter_map(|n| Some((n.string?, i32::from(n.fret?))))
        .collect()
}
