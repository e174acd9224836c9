//! A melody against the beat: the recording's, or a file's, on the beat, half-way and off it over a
//! steady thumb, each to be seen with its count and to be heard.

use super::fields::{aside, choice, field, tempo};
use super::theme;
use super::transport::large;
use crate::command::Command;
use crate::page_state::OffBeatPage;
use crate::snapshot::{For, Snapshot};
use egui::{Align2, FontId, Rect, Role as Part, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use thumbline::music::moved::Way;
use thumbline::music::note::Role;
use thumbline::music::picking::count;
use thumbline::music::score::Score;
use thumbline::report::sheet::Ink;
use thumbline::unit::{Beats, Bpm, Span};

/// Draws the page.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, page: &mut OffBeatPage, commands: &mut Vec<Command>) {
    let Some(view) = snapshot.study.off_beat.clone() else {
        aside(
            ui,
            snapshot,
            "The melody is the recording’s, of the bars of the loop; or of a MIDI or MusicXML file.",
        );
        file(ui, page, commands);
        return;
    };
    ui.horizontal(|ui| {
        ui.heading(theme::letters(&view.title));
        choice(
            ui,
            &mut page.way,
            &[
                (
                    Way::Pushed,
                    "Ahead of the beat",
                    "Each note belongs to the next beat and comes early",
                ),
                (
                    Way::Delayed,
                    "Behind the beat",
                    "Each note belongs to the beat before and comes late",
                ),
            ],
        );
        tempo(ui, view.tempo.0, &mut page.tempo);
    });
    for ((version, ..), sound) in view.versions.iter().zip(view.sounds()) {
        let (name, length) = (sound.name.clone(), sound.length);
        let beside = snapshot
            .beside
            .as_ref()
            .filter(|b| b.again && b.name == name);
        ui.horizontal(|ui| {
            let label = format!("Hear it: {}", version.degree.name().to_lowercase());
            if large(
                ui,
                beside.is_some(),
                &label,
                "Round and round, by a string model",
                None,
            ) {
                commands.push(if beside.is_some() {
                    Command::Hush
                } else {
                    Command::Sound(sound)
                });
            }
            aside(ui, snapshot, &format!("Until {}.", version.degree.goal()));
        });
        let at = beside
            .and_then(|b| b.at)
            .map(|at| place(at, length, view.tempo));
        line(ui, snapshot, &version.score, &name, at);
    }
    file(ui, page, commands);
}

/// Beats into a round of `length`.
fn place(at: Span, length: Span, tempo: Bpm) -> Beats {
    Beats(at.0.rem_euclid(length.0.max(1e-3)) / tempo.beat().0)
}

/// Which melody: the recording's, or a file's.
pub fn file(ui: &mut Ui, page: &mut OffBeatPage, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        let shown = page
            .file
            .as_ref()
            .map_or_else(String::new, |f| f.display().to_string());
        if let Some(typed) = field(ui, "Melody from a MIDI or MusicXML file", &shown, 300.0) {
            page.file = (!typed.is_empty()).then(|| typed.into());
        }
        if ui
            .button("Choose…")
            .on_hover_text("Look for the file")
            .clicked()
        {
            commands.push(Command::AskForNotes(For::Melody));
        }
        if page.file.is_some() && ui.button("The recording’s melody").clicked() {
            page.file = None;
        }
    });
}

/// Slots a beat that are counted.
const PARTS: usize = 2;
/// Height of a row, and where its line lies.
const HIGH: f32 = 64.0;
const LINE: f32 = 26.0;

/// A line of bars: melody above, thumb below, counted underneath.
fn line(ui: &mut Ui, snapshot: &Snapshot, score: &Score, name: &str, at: Option<Beats>) {
    let per_bar = usize::from(score.meter.beats().max(1));
    let beats = score.bars().max(1) * per_bar;
    let wide = ui.available_width() - 8.0;
    // Rows of whole bars, no slot narrower than a count.
    let fits = ((wide / (PARTS as f32 * 22.0)) as usize / per_bar).max(1) * per_bar;
    let ground = snapshot.look.ground;
    let ink = |i| theme::ink(ground, i);
    for first in (0..beats).step_by(fits) {
        let shown = fits.min(beats - first);
        let slot = (wide / (fits.min(beats) * PARTS) as f32).min(40.0);
        let size = vec2(slot * (shown * PARTS) as f32, HIGH);
        let (area, response) = ui.allocate_exact_size(size, Sense::hover());
        let label = told(score, name, first, shown);
        response.widget_info(|| WidgetInfo::labeled(Part::Image, true, &label));
        let painter = ui.painter_at(area);
        let x =
            |beat: f64| area.left() + slot * (PARTS as f32 * (beat - first as f64) as f32 + 0.5);
        let y = area.top() + LINE;
        painter.hline(area.x_range(), y, Stroke::new(1.0, ink(Ink::Tick)));
        if let Some(at) = at {
            let slots = (at.0 * PARTS as f64).floor() / PARTS as f64;
            if slots >= first as f64 && slots < (first + shown) as f64 {
                let column =
                    Rect::from_center_size(pos2(x(slots), area.center().y), vec2(slot, HIGH));
                painter.rect_filled(column, 2.0, ink(Ink::Band));
            }
        }
        for half in 0..shown * PARTS {
            let beat = first as f64 + half as f64 / PARTS as f64;
            let on = half % PARTS == 0;
            let text = if on {
                count(score.meter, Beats(beat))
            } else {
                "and".to_owned()
            };
            let (size, colour) = if on {
                (13.0, Ink::Text)
            } else {
                (11.0, Ink::Faint)
            };
            let at = pos2(x(beat), area.bottom() - 15.0);
            painter.text(
                at,
                Align2::CENTER_TOP,
                text,
                FontId::proportional(size),
                ink(colour),
            );
            if on && (first + half / PARTS).is_multiple_of(per_bar) {
                let edge = x(beat) - 0.5 * slot;
                let stroke = Stroke::new(1.6, ink(Ink::Line));
                painter.vline(edge, y - 18.0..=y + 18.0, stroke);
            }
        }
        let within = |n: &&thumbline::music::score::Written| {
            n.at.0 >= first as f64 - 1e-6 && n.at.0 < (first + shown) as f64 - 1e-6
        };
        for note in score.notes.iter().filter(within) {
            let melody = note.role == Role::Melody;
            let centre = pos2(x(note.at.0), y + if melody { -12.0 } else { 11.0 });
            let paper = theme::paper(ground);
            let font = FontId::proportional(11.0);
            if melody {
                painter.circle_filled(centre, 9.0, ink(Ink::Finger));
                painter.text(centre, Align2::CENTER_CENTER, note.fret, font, paper);
            } else {
                let head = Rect::from_center_size(centre, vec2(12.0, 9.0));
                painter.rect_filled(head, 2.0, ink(Ink::Thumb));
            }
        }
    }
}

/// A row in words.
fn told(score: &Score, name: &str, first: usize, shown: usize) -> String {
    let within = score.notes.iter().filter(|n| {
        n.role == Role::Melody && (first as f64..(first + shown) as f64).contains(&n.at.0)
    });
    let counts: Vec<String> = within.map(|n| count(score.meter, n.at)).collect();
    format!("{name}: {}", counts.join(" "))
}
