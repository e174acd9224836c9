//! The neck: where a scale lies, what rings, chord shapes and natural harmonics, in the recording's
//! tuning or any other. A note tells itself under the pointer and sounds when it is pressed; what the
//! recording plays now has a ring.

use super::fields::{aside, choice, combo, field, tunings};
use super::theme;
use crate::desk::{NeckPage, Show};
use crate::services::study::NeckView;
use crate::snapshot::Snapshot;
use crate::wish::{Sound, Wish};
use egui::{
    Align2, Color32, ComboBox, DragValue, FontId, Painter, Pos2, Rect, Role, Sense, Stroke, Ui,
    WidgetInfo, pos2, vec2,
};
use thumbline::music::chord::Shape;
use thumbline::music::harmonics::{TOUCH, WITH_ONE_HAND};
use thumbline::music::neck::{self, LAST_FRET, Mark};
use thumbline::music::note;
use thumbline::music::tuning::HIGHEST_CAPO;
use thumbline::report::neck::{Board, INLAYS};
use thumbline::report::shapes;
use thumbline::report::sheet::{Ground, Ink};
use thumbline::unit::Span;

const TONICS: [&str; 12] = [
    "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];

/// A note rings so long when it is pressed; notes of a path and strings of a chord follow so.
const RINGS: Span = Span(2.5);
const STEP: Span = Span(0.36);
const STRUM: Span = Span(0.03);

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, page: &mut NeckPage, wishes: &mut Vec<Wish>) {
    let Some(view) = snapshot.study.neck.clone() else {
        ui.label("One moment …");
        return;
    };
    ui.horizontal_wrapped(|ui| scale(ui, snapshot, &view, page));
    ui.horizontal_wrapped(|ui| {
        choice(
            ui,
            &mut page.show,
            &[
                (
                    Show::Notes,
                    "Notes",
                    "The scale's notes, open strings bright",
                ),
                (
                    Show::Path,
                    "Ringing path",
                    "A way up that lets every note ring on",
                ),
                (Show::Chords, "Chord shapes", "How its chords are held"),
                (
                    Show::Harmonics,
                    "Harmonics",
                    "Where a light touch lets a harmonic sound",
                ),
            ],
        );
        ui.separator();
        neck_itself(ui, snapshot, &view, page);
    });
    ui.add_space(4.0);
    picture(ui, snapshot, &view, page, wishes);
    ui.add_space(4.0);
    words(ui, snapshot, &view, page, wishes);
}

/// Which scale: by tonic and kind, by its notes, or one that the recording may be in.
fn scale(ui: &mut Ui, snapshot: &Snapshot, view: &NeckView, page: &mut NeckPage) {
    let now = &view.neck.scale;
    ui.heading(theme::letters(&now.name));
    let mut tonic = now.class_name(now.tonic);
    let kinds: Vec<&str> = snapshot
        .study
        .presets
        .scales
        .iter()
        .map(|k| k.name.as_str())
        .collect();
    let of = |kind: &&&str| now.name.split_once(' ').is_some_and(|(_, k)| k == **kind);
    let mut kind = kinds.iter().find(of).copied().unwrap_or("its notes");
    let before = (tonic.clone(), kind);
    ComboBox::from_id_salt("tonic")
        .selected_text(&tonic)
        .width(52.0)
        .show_ui(ui, |ui| {
            for name in TONICS {
                ui.selectable_value(&mut tonic, name.to_owned(), name);
            }
        });
    ComboBox::from_id_salt("kind")
        .selected_text(kind)
        .width(130.0)
        .show_ui(ui, |ui| {
            for name in &kinds {
                ui.selectable_value(&mut kind, name, *name);
            }
        });
    if (tonic.clone(), kind) != before && kinds.contains(&kind) {
        page.scale = Some(format!("{tonic} {kind}"));
    }
    let shown = page.scale.as_deref().unwrap_or(&now.name);
    if let Some(typed) = field(ui, "or type it", shown, 130.0) {
        page.scale = (!typed.is_empty()).then_some(typed);
    }
    if !view.suggested.is_empty() {
        ui.separator();
        ui.weak("The recording may be in");
    }
    for (name, odds) in &view.suggested {
        let label = format!("{}, {:.0} %", theme::letters(name), 100.0 * odds);
        let hint = "Odds from how often each note was heard; a guess, not fitted on anything";
        let on = *name == now.name;
        if ui.selectable_label(on, label).on_hover_text(hint).clicked() {
            page.scale = Some(name.clone());
        }
    }
}

/// Tuning, capo, frets and the hand it is drawn for.
fn neck_itself(ui: &mut Ui, snapshot: &Snapshot, view: &NeckView, page: &mut NeckPage) {
    let presets = &snapshot.study.presets;
    let recordings = snapshot
        .analysis
        .ready()
        .map(|a| presets.tuning_name(&a.tuning));
    let own = recordings.map(|name| format!("{name} (the recording’s)"));
    let shown = match (&page.tuning, &own) {
        (None, Some(own)) => own.clone(),
        _ => view.tuning_name.clone(),
    };
    combo(ui, "Tuning", &shown, 150.0, |ui| {
        if let Some(own) = &own
            && ui
                .selectable_label(page.tuning.is_none(), theme::letters(own))
                .clicked()
        {
            page.tuning = None;
            page.capo = None;
        }
        if let Some(name) = tunings(ui, &presets.tunings, page.tuning.as_deref()) {
            page.tuning = Some(name);
        }
    });
    let number = |ui: &mut Ui, label: &str, value: i32, range: std::ops::RangeInclusive<i32>| {
        let mut value = value;
        let name = ui.label(label);
        ui.add(DragValue::new(&mut value).range(range).speed(0.05))
            .labelled_by(name.id);
        value
    };
    let capo = view.neck.tuning.capo();
    let wanted = number(ui, "Capo", page.capo.unwrap_or(capo), 0..=HIGHEST_CAPO);
    if wanted != page.capo.unwrap_or(capo) {
        page.capo = Some(wanted);
    }
    let (first, last) = page.frets;
    page.frets.0 = number(ui, "Frets from", first, 0..=(last - 3).max(0));
    page.frets.1 = number(ui, "to", last, (page.frets.0 + 3).max(3)..=LAST_FRET);
    ui.checkbox(&mut page.left_handed, "Left-handed");
}

/// The marks of what is shown.
fn marks(view: &NeckView, page: &NeckPage) -> Vec<Mark> {
    match page.show {
        Show::Notes => view.notes.clone(),
        Show::Path => view.path.clone(),
        Show::Harmonics => view.harmonics.clone(),
        Show::Chords => chosen(view, page).map_or_else(Vec::new, |shape| {
            view.neck.shape_marks(shape, page.scale_mm)
        }),
    }
}

fn chosen<'a>(view: &'a NeckView, page: &NeckPage) -> Option<&'a Shape> {
    let (chord, shape) = page.shape;
    let (_, shapes) = view.chords.get(chord).or(view.chords.first())?;
    shapes.get(shape).or(shapes.first())
}

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

fn picture(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    page: &NeckPage,
    wishes: &mut Vec<Wish>,
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
    if page.show == Show::Path {
        path_line(&drawn, view);
    }
    let playing = now_played(snapshot, view);
    for mark in marks(view, page).iter().filter(|m| board.shows(m.fret)) {
        one(ui, &drawn, view, mark, &playing, wishes);
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

fn path_line(drawn: &Drawn, view: &NeckView) {
    let Some(best) = view.neck.paths.first() else {
        return;
    };
    let places = best
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
    wishes: &mut Vec<Wish>,
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
        wishes.push(Wish::Sound(Sound {
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

/// What is to be known beside the picture.
fn words(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    page: &mut NeckPage,
    wishes: &mut Vec<Wish>,
) {
    match page.show {
        Show::Notes => {
            let (open, stopped) = view.neck.open_classes();
            let listed = |names: &[String]| {
                if names.is_empty() {
                    "none".to_owned()
                } else {
                    theme::letters(&names.join("  "))
                }
            };
            ui.label(format!("Can ring open: {}", listed(&open)));
            ui.label(format!("Must be stopped: {}", listed(&stopped)));
        }
        Show::Path => path_words(ui, snapshot, view, wishes),
        Show::Chords => chords(ui, snapshot, view, page, wishes),
        Show::Harmonics => {
            ui.label(TOUCH);
            ui.label(format!("Harp harmonics: {WITH_ONE_HAND}"));
            aside(
                ui,
                snapshot,
                "Filled: octaves and twelfths, the easiest to find. Rings: partials 4 and 5.",
            );
        }
    }
    if let Some(strain) = &view.strain {
        ui.label(theme::letters(strain));
    }
}

fn path_words(ui: &mut Ui, snapshot: &Snapshot, view: &NeckView, wishes: &mut Vec<Wish>) {
    let Some(best) = view.neck.paths.first() else {
        ui.label("No path reaches every note: choose another range of frets.");
        return;
    };
    ui.horizontal_wrapped(|ui| {
        if ui.button("Hear the path").clicked() {
            let on = |p: &thumbline::music::fingering::Place| {
                let same = |m: &&Mark| m.string == p.string && m.fret == f64::from(p.fret);
                view.path.iter().find(same)
            };
            let marks = best.places.iter().filter_map(on);
            let (strokes, length) = neck::strokes(marks, &view.neck.tuning, STEP, RINGS);
            wishes.push(Wish::Sound(Sound {
                name: format!("{}, a path that rings", view.neck.scale.name),
                strokes,
                length,
                again: false,
            }));
        }
        ui.label(format!(
            "{:.0} of 100 notes sound on into the next; {} of {} are open strings.",
            100.0 * best.ringing(),
            best.open_notes(),
            best.places.len()
        ));
    });
    let hands: Vec<String> = best
        .positions()
        .iter()
        .map(|(i, hand)| {
            let name = view.neck.scale.pitch_name(best.places[*i].midi);
            format!("fret {hand} from {name}")
        })
        .collect();
    if !hands.is_empty() {
        let text = format!("The index finger stands at {}.", hands.join(", "));
        aside(ui, snapshot, &text);
    }
}

fn chords(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    page: &mut NeckPage,
    wishes: &mut Vec<Wish>,
) {
    ui.horizontal_wrapped(|ui| {
        if let Some(typed) = field(ui, "Chords by name", &page.chords, 200.0) {
            page.chords = typed;
            page.shape = (0, 0);
        }
        aside(
            ui,
            snapshot,
            "like C Am F G, D/F#, Asus4; empty for those of the scale",
        );
    });
    for (i, (chord, found)) in view.chords.iter().enumerate() {
        ui.horizontal_wrapped(|ui| {
            let name = format!("{} {}", chord.degree, chord.name);
            ui.strong(theme::letters(name.trim()));
            if found.is_empty() {
                ui.weak("no hand reaches it here");
            }
            for (j, shape) in found.iter().enumerate() {
                let on = page.shape == (i, j);
                let label = theme::letters(&shape.diagram());
                let hint = theme::letters(&shapes::line(shape));
                if ui.selectable_label(on, label).on_hover_text(hint).clicked() {
                    page.shape = (i, j);
                    wishes.push(strum(view, shape, page.scale_mm));
                }
            }
        });
    }
    if !view.changes.is_empty() {
        ui.strong("One after the other, moving least");
        for change in &view.changes {
            ui.label(theme::letters(change));
        }
    }
    if !view.capos.is_empty() {
        let text = format!(
            "Open strings in {}: {}",
            view.neck.scale.name,
            view.capos.join("; ")
        );
        aside(ui, snapshot, &text);
    }
    if let Some(shape) = chosen(view, page) {
        let line = shapes::line(shape);
        let words: Vec<&str> = line.split_whitespace().collect();
        aside(
            ui,
            snapshot,
            &format!("{}: {}", shape.name, words.join(" ")),
        );
    }
}

/// The shape from its lowest string up.
fn strum(view: &NeckView, shape: &Shape, scale_mm: f64) -> Wish {
    let mut marks = view.neck.shape_marks(shape, scale_mm);
    marks.reverse();
    let (strokes, length) = neck::strokes(&marks, &view.neck.tuning, STRUM, RINGS);
    Wish::Sound(Sound {
        name: shape.name.clone(),
        strokes,
        length,
        again: false,
    })
}
