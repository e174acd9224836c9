//! The tuning beside the recording's name: told, or as it was heard and how sure that is; corrected in two actions.

use super::keys::{self, Deed};
use super::sight::Sight;
use super::theme;
use crate::command::Command;
use crate::snapshot::Snapshot;
use egui::containers::menu::MenuButton;
use egui::{DragValue, Key, Popup, Role, ScrollArea, TextEdit, Ui, WidgetInfo};
use thumbline::music::guess;
use thumbline::music::tuning::{NamedTuning, Tuning};
use thumbline::preset::Presets;

/// Two guesses and the recording's name need this much room.
const ROOM: f32 = 440.0;
/// Highest fret of a capo.
const CAPO: i32 = 12;

/// A tuning with its capo, as players say it.
fn told(tuning: &Tuning) -> String {
    let bare = tuning.clone().with_capo(0);
    let known = NamedTuning::built_in()
        .iter()
        .find(|named| named.tuning == bare);
    let name = known.map_or_else(|| bare.to_string(), |named| named.name.clone());
    match tuning.capo() {
        0 => name,
        fret => format!("{name}, capo {fret}"),
    }
}

/// A tuning by its name or its strings, "capo 2" after it where there is one.
fn typed(text: &str, capo: i32) -> Result<Tuning, String> {
    let lower = text.to_lowercase();
    let (strings, capo) = match lower.find("capo") {
        None => (text, capo),
        Some(at) => {
            let fret = lower[at + 4..].trim().parse::<i32>().ok();
            let fret = fret.filter(|fret| (0..=CAPO).contains(fret));
            let fret = fret.ok_or_else(|| format!("The capo goes on frets 0 to {CAPO}"))?;
            (text.get(..at).unwrap_or_default(), fret)
        }
    };
    let named = Presets::built_in().tuning(strings.trim().trim_end_matches(','));
    let (_, tuning) = named.map_err(|why| why.to_string())?;
    Ok(tuning.with_capo(capo))
}

/// Draws the control; nothing while nothing was heard.
pub fn show(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let Some(heard) = snapshot.analysis.ready() else {
        return;
    };
    let now = &heard.tuning;
    let guessed = snapshot.practice.tuning.is_none() && !heard.guesses.is_empty();
    let text = if guessed {
        guess::told_by(&heard.guesses, |g| told(&g.tuning))
    } else {
        told(now)
    };
    let short = if guessed && !heard.tuning_known() && ui.available_width() < ROOM {
        format!("{}, unsure", told(now))
    } else {
        text.clone()
    };
    let button = egui::Button::new(theme::letters(&short)).truncate();
    let (response, _) = MenuButton::from_button(button).ui(ui, |ui| {
        ui.set_max_width(300.0);
        for guess in heard.guesses.iter().take(4) {
            let text = format!("{}, {} % likely", told(&guess.tuning), guess.percent());
            if ui.button(theme::letters(&text)).clicked() {
                commands.push(Command::SetTuning(Some(guess.tuning.clone())));
                ui.close();
            }
        }
        ui.horizontal(|ui| {
            let mut capo = now.capo();
            let name = ui.label("Capo at fret");
            let field = DragValue::new(&mut capo).range(0..=CAPO).speed(0.05);
            if ui.add(field).labelled_by(name.id).changed() {
                commands.push(Command::SetTuning(Some(now.clone().with_capo(capo))));
            }
        });
        ui.horizontal(|ui| {
            let name = ui.label("Strings, low to high");
            let field = TextEdit::singleline(&mut sight.tuning).desired_width(120.0);
            let field = ui
                .add(field.hint_text("C G D G B D capo 2"))
                .labelled_by(name.id);
            if !field.has_focus() && !field.lost_focus() && sight.tuning.is_empty() {
                field.request_focus();
            }
            if field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter)) {
                match typed(&sight.tuning, now.capo()) {
                    Ok(tuning) => {
                        sight.tuning_fault = None;
                        sight.tuning.clear();
                        commands.push(Command::SetTuning(Some(tuning)));
                        ui.close();
                    }
                    Err(why) => sight.tuning_fault = Some(why),
                }
            }
        });
        if let Some(fault) = &sight.tuning_fault {
            ui.colored_label(ui.visuals().error_fg_color, fault);
        }
        ScrollArea::vertical().max_height(220.0).show(ui, |ui| {
            for named in NamedTuning::built_in() {
                let on = named.tuning == now.clone().with_capo(0);
                if ui.selectable_label(on, &named.name).clicked() {
                    let tuning = named.tuning.clone().with_capo(now.capo());
                    commands.push(Command::SetTuning(Some(tuning)));
                    ui.close();
                }
            }
        });
        if snapshot.practice.tuning.is_some() && ui.button("Find it by ear").clicked() {
            commands.push(Command::SetTuning(None));
            ui.close();
        }
    });
    let hint = if guessed {
        "The tuning as it was heard, and how sure that is. Choose or type another"
    } else {
        "The tuning. Choose or type another, or set the capo"
    };
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, format!("Tuning: {text}")));
    if std::mem::take(&mut sight.tune) {
        let menu = Popup::default_response_id(&response);
        Popup::open_id(ui.ctx(), menu);
    }
    let hint = format!("{hint} ({})", keys::name(Deed::Tuning));
    response.on_hover_text(hint);
}
