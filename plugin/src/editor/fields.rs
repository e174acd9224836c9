//! What all pages are made of: fields with their names, lists, choices, quiet sentences.

use super::theme;
use super::transport::large;
use crate::snapshot::Snapshot;
use egui::text::{CCursor, CCursorRange};
use egui::text_edit::TextEditState;
use egui::{ComboBox, DragValue, Key, Response, RichText, TextEdit, Ui};
use thumbline::music::tuning::NamedTuning;
use thumbline::report::sheet::Ink;

/// A field with a name: what was typed once it is entered or left, `value` being shown meanwhile.
pub fn field(ui: &mut Ui, label: &str, value: &str, width: f32) -> Option<String> {
    let name = ui.label(label);
    let id = ui.make_persistent_id(("typed", label));
    let typed = ui.data(|d| d.get_temp::<String>(id));
    let mut text = typed.clone().unwrap_or_else(|| value.to_owned());
    let edit = TextEdit::singleline(&mut text)
        .id(id.with("edit"))
        .desired_width(width);
    let response: Response = ui.add(edit).labelled_by(name.id);
    if response.gained_focus()
        && let Some(mut state) = TextEditState::load(ui.ctx(), response.id)
    {
        // What is typed takes the place of what is there.
        let all = CCursorRange::two(CCursor::new(0), CCursor::new(text.chars().count()));
        state.cursor.set_char_range(Some(all));
        state.store(ui.ctx(), response.id);
    }
    if response.changed() {
        ui.data_mut(|d| d.insert_temp(id, text.clone()));
    }
    if response.lost_focus() {
        ui.data_mut(|d| d.remove::<String>(id));
        let left = ui.input(|i| i.key_pressed(Key::Escape));
        return typed
            .map(|t| t.trim().to_owned())
            .filter(|t| !left && t != value);
    }
    None
}

/// A list with its name before it.
pub fn combo(ui: &mut Ui, label: &str, shown: &str, width: f32, list: impl FnOnce(&mut Ui)) {
    let name = ui.label(label);
    let combo = ComboBox::from_id_salt(label)
        .selected_text(theme::letters(shown))
        .width(width);
    combo.show_ui(ui, list).response.labelled_by(name.id);
}

/// Lines of an open list, one a known tuning; the one that was pressed.
pub fn tunings(ui: &mut Ui, known: &[NamedTuning], now: Option<&str>) -> Option<String> {
    let mut pressed = None;
    for named in known {
        let on = now == Some(named.name.as_str());
        if ui
            .selectable_label(on, theme::letters(&named.name))
            .clicked()
        {
            pressed = Some(named.name.clone());
        }
    }
    pressed
}

/// The tempo of what a page plays: its own, until another is asked for.
pub fn tempo(ui: &mut Ui, own: f64, asked: &mut Option<f64>) {
    let mut tempo = asked.unwrap_or(own);
    let name = ui.label("Beats a minute");
    let drag = DragValue::new(&mut tempo)
        .range(20.0..=300.0)
        .fixed_decimals(0);
    if ui.add(drag).labelled_by(name.id).changed() {
        *asked = Some(tempo);
    }
}

/// One of several, side by side.
pub fn choice<T: PartialEq + Copy>(ui: &mut Ui, now: &mut T, of: &[(T, &str, &str)]) {
    for (value, name, hint) in of {
        if large(ui, *now == *value, name, hint, None) {
            *now = *value;
        }
    }
}

/// A sentence in quiet ink.
pub fn aside(ui: &mut Ui, snapshot: &Snapshot, text: &str) {
    let ink = theme::ink(snapshot.look.ground, Ink::Faint);
    ui.label(RichText::new(theme::letters(text)).color(ink));
}
