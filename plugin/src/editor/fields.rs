//! What all pages are made of: fields with their names, lists, choices, quiet sentences.

use super::theme;
use super::transport::large;
use crate::snapshot::Snapshot;
use egui::text::{CCursor, CCursorRange};
use egui::text_edit::TextEditState;
use egui::{ComboBox, Key, Response, RichText, TextEdit, Ui};
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
