//! The neck: where a scale lies, what rings, chord shapes and natural harmonics, in the recording's
//! tuning or any other. A note tells itself under the pointer and sounds when it is pressed; what the
//! recording plays now has a ring.

mod board;
mod melody;

use super::fields::{aside, choice, combo, field, tunings};
use super::theme;
use crate::command::{Command, Sound};
use crate::page_state::{NeckPage, PageState, Show};
use crate::services::study::NeckView;
use crate::snapshot::Snapshot;
use egui::{ComboBox, DragValue, Ui};
use thumbline::music::chord::Shape;
use thumbline::music::harmonics::{TOUCH, WITH_ONE_HAND};
use thumbline::music::neck::{self, LAST_FRET, Mark};
use thumbline::music::tuning::HIGHEST_CAPO;
use thumbline::report::shapes;
use thumbline::unit::Span;

const TONICS: [&str; 12] = [
    "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];

/// Notes of a path and strings of a chord follow so.
const STEP: Span = Span(0.36);
const STRUM: Span = Span(0.03);

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, pages: &mut PageState, commands: &mut Vec<Command>) {
    let page = &mut pages.neck;
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
                (
                    Show::Melody,
                    "Melody",
                    "Every place of each note of a melody, open strings where they help",
                ),
            ],
        );
        ui.separator();
        neck_itself(ui, snapshot, &view, page);
    });
    ui.add_space(4.0);
    board::picture(ui, snapshot, &view, (page, &marks(&view, page)), commands);
    ui.add_space(4.0);
    if page.show == Show::Melody {
        melody::show(ui, snapshot, &view, pages, commands);
    } else {
        words(ui, snapshot, &view, page, commands);
    }
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
        Show::Melody => {
            let found = view.melody.iter().flatten();
            found.flat_map(|melody| melody.marks.clone()).collect()
        }
    }
}

fn chosen<'a>(view: &'a NeckView, page: &NeckPage) -> Option<&'a Shape> {
    let (chord, shape) = page.shape;
    let (_, shapes) = view.chords.get(chord).or(view.chords.first())?;
    shapes.get(shape).or(shapes.first())
}

/// What is to be known beside the picture.
fn words(
    ui: &mut Ui,
    snapshot: &Snapshot,
    view: &NeckView,
    page: &mut NeckPage,
    commands: &mut Vec<Command>,
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
        Show::Path => path_words(ui, snapshot, view, commands),
        Show::Chords => chords(ui, snapshot, view, page, commands),
        Show::Melody => {}
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

fn path_words(ui: &mut Ui, snapshot: &Snapshot, view: &NeckView, commands: &mut Vec<Command>) {
    let Some(best) = view.neck.paths.first() else {
        ui.label("No path reaches every note: choose another range of frets.");
        return;
    };
    ui.horizontal_wrapped(|ui| {
        let hear = ui.button("Hear the path");
        if hear
            .on_hover_text("Note after note, each ringing on")
            .clicked()
        {
            let on = |p: &thumbline::music::fingering::Place| {
                let same = |m: &&Mark| m.string == p.string && m.fret == f64::from(p.fret);
                view.path.iter().find(same)
            };
            let marks = best.places.iter().filter_map(on);
            let (strokes, length) = neck::strokes(marks, &view.neck.tuning, STEP, board::RINGS);
            commands.push(Command::Sound(Sound {
                name: format!("{}, a path that rings", view.neck.scale.name),
                strokes,
                length,
                again: false,
            }));
        }
        ui.label(format!(
            "{:.0} of 100 notes ring on into the next; {} of {} are open strings.",
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
    commands: &mut Vec<Command>,
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
                    commands.push(strum(view, shape, page.scale_mm));
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
fn strum(view: &NeckView, shape: &Shape, scale_mm: f64) -> Command {
    let mut marks = view.neck.shape_marks(shape, scale_mm);
    marks.reverse();
    let (strokes, length) = neck::strokes(&marks, &view.neck.tuning, STRUM, board::RINGS);
    Command::Sound(Sound {
        name: shape.name.clone(),
        strokes,
        length,
        again: false,
    })
}
