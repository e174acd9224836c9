//! What the page in view is about, from the manual: the same sentences as on the command line, and
//! the keys.

use super::keys::{self, KEYS};
use super::sight::{Side, Sight};
use super::theme;
use crate::page_state::{self, Page};
use egui::{Grid, RichText, Ui};
use thumbline::manual;

/// The section of the manual's page about the window, and the page to read on.
fn about(page: Page, side: Side) -> (&'static str, &'static str) {
    match page {
        Page::Sheet => beside(side),
        Page::Neck => ("Neck", "guitar"),
        Page::Tunings => ("Tunings", "guitar"),
        Page::Pattern => ("Pattern", "guitar"),
        Page::Drills => ("Drills", "practice"),
        Page::OffBeat => ("Off the beat", "practice"),
        Page::TakeAway => ("Take it away", "files"),
    }
}

/// The same of the page at the right of the sheet.
fn beside(side: Side) -> (&'static str, &'static str) {
    match side {
        Side::Words => ("Words", "sheet"),
        Side::Note => ("Note", "sheet"),
        Side::Beats => ("Beats", "trouble"),
        Side::Takes => ("Takes", "takes"),
        Side::Journal => ("Journal", "practice"),
        Side::Sound => ("Sound", "takes"),
        Side::Look => ("Look", "start"),
    }
}

/// Draws the page.
pub fn show(ui: &mut Ui, page: page_state::Page, sight: &mut Sight) {
    let (section, more) = about(page, sight.side);
    ui.horizontal(|ui| {
        ui.strong("Help");
        if ui
            .button("Close help")
            .on_hover_text("F1 does too")
            .clicked()
        {
            sight.help = false;
        }
    });
    if let Some(page) = manual::page("window") {
        for name in [section, "Loops"] {
            ui.add_space(6.0);
            ui.strong(name);
            for paragraph in page.section(name) {
                ui.label(theme::letters(&paragraph));
            }
        }
    }
    if let Some(page) = manual::page(more) {
        ui.add_space(6.0);
        egui::CollapsingHeader::new(page.title()).show(ui, |ui| whole(ui, page));
    }
    ui.add_space(6.0);
    ui.strong("Keys");
    list(ui);
}

fn whole(ui: &mut Ui, page: manual::ManualPage) {
    for line in page
        .plain()
        .lines()
        .skip(1)
        .filter(|line| !line.trim().is_empty())
    {
        ui.label(theme::letters(line));
    }
}

/// Every key and what it does.
pub fn list(ui: &mut Ui) {
    Grid::new("keys").num_columns(2).show(ui, |ui| {
        for (_, modifiers, key, what) in KEYS {
            ui.label(RichText::new(keys::text(modifiers, key)).monospace());
            ui.add(egui::Label::new(what).wrap());
            ui.end_row();
        }
    });
}
