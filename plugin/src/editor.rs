//! The window.
//!
//! A view is `fn(ui, &Snapshot, &mut Sight, &mut Vec<Command>)`: it draws a snapshot and returns
//! commands. The sight holds what concerns the window alone: what is chosen, which page is open, the
//! laid-out sheet. This module asks the instance for a snapshot, lets the views draw it and hands
//! their commands back; nothing here waits for the audio thread. No view asks for another frame: the
//! instance wakes the window when there is something new to show.

mod along;
pub mod bars;
pub mod beats;
pub mod drills;
pub mod ends;
pub mod fields;
pub mod files;
pub mod guide;
mod heading;
pub mod help;
pub mod icon;
pub mod keys;
pub mod look;
pub mod looped;
pub mod neck;
pub mod note;
pub mod offbeat;
pub mod overview;
pub mod page;
pub mod pages;
pub mod pattern;
pub mod place;
pub mod proof;
pub mod repeats;
pub mod sight;
pub mod sounds;
pub mod states;
pub mod strip;
pub mod takeaway;
pub mod takes;
pub mod theme;
pub mod transport;
pub mod tuned;
pub mod tunings;
pub mod ways;
pub mod words;

use crate::carried::Carrier;
use crate::command::Command;
use crate::instance::Instance;
use crate::page_state::Page;
use crate::snapshot::{About, Look, Notice, RecordingView, Snapshot};
use crate::standalone::{self, Kept};
use egui::{CentralPanel, Frame as Pane, Panel, ScrollArea, Ui};
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::ResizeHint;
use nice_plug_egui::baseview::HandlerError;
use nice_plug_egui::baseview::dpi::LogicalSize;
use nice_plug_egui::{
    EguiEditor, EguiEditorState, EguiNiceSettings, Frame, GlConfig, GraphicsConfig, NiceEguiApp,
    RepaintNotifier, create_egui_editor,
};
use sight::{Side, Sight};
use std::sync::Arc;
use std::time::Duration;
use thumbline::report::sheet::{Ground, Ink};

/// The window's program.
pub struct App {
    instance: Arc<Instance>,
    /// Of the program of its own.
    kept: Option<Arc<Kept>>,
    gui: Option<GuiContext>,
    notifier: RepaintNotifier,
    /// What the mouse brings and takes.
    carrier: Option<Carrier>,
    sight: Sight,
}

impl NiceEguiApp for App {
    fn build(
        &mut self,
        _egui_ctx: egui::Context,
        nice_gui_ctx: GuiContext,
        frame: &mut Frame,
    ) -> Result<(), HandlerError> {
        if let Some(kept) = &self.kept {
            kept.put_on(self.instance.dials(), &nice_gui_ctx);
        }
        self.gui = Some(nice_gui_ctx);
        self.instance.watch(Some(self.notifier.clone()));
        let notifier = self.notifier.clone();
        self.carrier = Carrier::beside(frame.baseview_window(), move || {
            notifier.request_repaint();
        });
        Ok(())
    }

    fn ui(&mut self, ui: &mut Ui, frame: &mut Frame) {
        let snapshot = self.instance.snapshot();
        // The window is cleared to the paper, so that no panel has to fill itself with it again: half of
        // what a processor that paints has to do.
        frame.set_clear_color(theme::cleared(snapshot.look.ground));
        self.sight.cleared = true;
        self.instance.painted();
        if standalone::leaves() {
            ui.ctx().send_viewport_cmd(egui::ViewportCommand::Close);
        }
        let mut commands = Vec::new();
        if let Some(carrier) = &self.carrier {
            (self.sight.came, self.sight.coming) = (carrier.came(), carrier.coming());
            press_functions(ui.ctx(), &carrier.functions());
        }
        draw(ui, &snapshot, &mut self.sight, &mut commands);
        if let Some(carrier) = self
            .carrier
            .as_ref()
            .filter(|_| !self.sight.leaving.is_empty())
        {
            carrier.take_away(std::mem::take(&mut self.sight.leaving));
        }
        for command in commands {
            self.instance.apply(command, self.gui.as_ref());
        }
        self.instance.gesture(self.gui.as_ref());
    }

    fn editor_closed(&mut self) {
        self.gui = None;
        self.carrier = None;
        self.instance.watch(None);
    }
}

/// How often the window asks whether there is something new: nothing moves faster, and at rest nearly all it
/// costs is this.
const POLL: Duration = Duration::from_millis(25);

/// Keys of functions, by their numbers, as if the windowing layer had told of them.
fn press_functions(ctx: &egui::Context, numbers: &[u8]) {
    let keys = numbers
        .iter()
        .filter_map(|n| egui::Key::from_name(&format!("F{n}")));
    ctx.input_mut(|input| {
        let modifiers = input.modifiers;
        input.events.extend(keys.map(|key| egui::Event::Key {
            key,
            physical_key: None,
            pressed: true,
            repeat: false,
            modifiers,
        }));
    });
}

/// Plain surfaces: what is drawn has no depth, and without noise over it a processor that paints has less
/// to do.
#[allow(deprecated, reason = "a frame buffer without depth has no other name")]
fn flat() -> GraphicsConfig {
    GraphicsConfig {
        gl_config: GlConfig {
            depth_bits: 0,
            stencil_bits: 0,
            ..GlConfig::default()
        },
        dithering: false,
        ..GraphicsConfig::default()
    }
}

/// Makes the editor of one instance.
pub fn create(instance: Arc<Instance>, kept: Option<Arc<Kept>>) -> Option<EguiEditor<App>> {
    let snapshot = instance.snapshot();
    let (width, height) = snapshot.look.size;
    let notifier = RepaintNotifier::default();
    create_egui_editor(
        EguiEditorState::from_size(LogicalSize::new(f64::from(width), f64::from(height)), 1.0),
        notifier.clone(),
        EguiNiceSettings::new()
            .with_tile("Thumbline")
            .with_graphics_config(flat())
            .with_repaint_poll_interval(POLL)
            .with_resize_hint(
                ResizeHint::RESIZABLE.with_min_logical_size(LogicalSize::new(900.0, 600.0)),
            ),
        App {
            instance,
            kept,
            gui: None,
            notifier,
            carrier: None,
            sight: Sight::opening(&snapshot),
        },
    )
}

/// Files whose path was pasted while nothing was typed in: a file manager copies paths.
fn pasted(ctx: &egui::Context) -> Vec<std::path::PathBuf> {
    if ctx.text_edit_focused() {
        return Vec::new();
    }
    let texts = |event: &egui::Event| match event {
        egui::Event::Paste(text) | egui::Event::Text(text) => Some(text.clone()),
        _ => None,
    };
    let pasted: Vec<String> = ctx.input(|i| i.events.iter().filter_map(texts).collect());
    pasted
        .iter()
        .filter_map(|text| crate::data::named(text))
        .collect()
}

/// Draws a snapshot and collects commands.
pub fn draw(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let ctx = ui.ctx().clone();
    dress(&ctx, &snapshot.look);
    // Letters typed over an open menu are meant for nothing behind it.
    if !ctx.text_edit_focused() && !egui::Popup::is_any_open(&ctx) {
        keys::read(ui, snapshot, sight, commands);
        pages::keys(ui, snapshot, commands);
    }
    let takes = takes_in(snapshot, sight);
    commands.extend(sight.came.drain(..).map(|path| {
        if takes {
            Command::LoadTake(path)
        } else {
            Command::Drop(path)
        }
    }));
    commands.extend(pasted(&ctx).into_iter().map(Command::Drop));
    let room = ctx.content_rect().size();
    let paper = if sight.cleared {
        egui::Color32::TRANSPARENT
    } else {
        theme::paper(snapshot.look.ground)
    };
    let pane = Pane::new().fill(paper).inner_margin(8.0);
    let sheet = snapshot.page_state.page == Page::Sheet;
    // A window too small for everything keeps the sheet and the run of play.
    let far = sight.far && sheet;
    let tall = room.y >= 420.0 && !far;
    let wide = room.x >= 700.0 && !far;
    if tall {
        Panel::top("heading").frame(pane).show(ui, |ui| {
            heading::show(ui, snapshot, sight, commands, wide);
        });
        // A page needs the height more where there is little of it.
        if snapshot.end().is_some() && (sheet || room.y >= 700.0) {
            Panel::top("overview").frame(pane).show(ui, |ui| {
                overview::show(ui, snapshot, sight, commands);
            });
        }
        Panel::top("pages")
            .frame(pane)
            .show(ui, |ui| pages::row(ui, snapshot, commands));
    }
    Panel::bottom("transport").frame(pane).show(ui, |ui| {
        if tall && !snapshot.look.cautioned {
            look::cautions(ui, snapshot, commands);
        }
        transport::show(ui, snapshot, sight, commands);
    });
    // What a page is about is told beside it.
    if wide && (sheet || sight.help) {
        Panel::right("side")
            .frame(pane)
            .default_size(290.0)
            .size_range(220.0..=420.0)
            .show(ui, |ui| {
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    side(ui, snapshot, sight, commands);
                });
            });
    }
    let page = CentralPanel::default().frame(pane).show(ui, |ui| {
        guide::show(ui, snapshot, commands);
        if let Some(folder) = &snapshot.folder {
            files::show(ui, folder, sight, commands);
        } else if sight.help && !wide {
            help::show(ui, snapshot.page_state.page, sight);
        } else if pages::show(ui, snapshot, sight, commands) {
            // A page stands in the sheet's place.
        } else if states::show(ui, snapshot, sight, commands) {
            bars::show(ui, snapshot, sight, commands);
        }
    });
    notices(&ctx, snapshot, page.response.rect, commands);
    if sight.coming {
        held_over(&ctx, snapshot, takes, page.response.rect);
    }
    remember_size(&ctx, snapshot, commands);
}

/// Is what is dropped a take? Where takes are listed it is compared, anywhere else opened.
fn takes_in(snapshot: &Snapshot, sight: &Sight) -> bool {
    let listed = snapshot.page_state.page == Page::Sheet && sight.side == Side::Takes;
    listed && snapshot.recording.name().is_some()
}

/// What becomes of the files that are held over the window.
fn held_over(ctx: &egui::Context, snapshot: &Snapshot, takes: bool, room: egui::Rect) {
    let text = match snapshot.page_state.page {
        _ if takes => "Let go: it is compared with the recording as a take",
        Page::Pattern => "Let go: a recording opens; MIDI or MusicXML becomes the picking pattern",
        _ => "Let go: a recording opens; MIDI or MusicXML becomes the melody to move off the beat",
    };
    egui::Area::new(egui::Id::unique("held over"))
        .order(egui::Order::Foreground)
        .pivot(egui::Align2::CENTER_CENTER)
        .fixed_pos(room.center())
        .show(ctx, |ui| {
            let wash = theme::ink(snapshot.look.ground, Ink::Wash);
            let edge = egui::Stroke::new(2.0, theme::ink(snapshot.look.ground, Ink::Position));
            let frame = Pane::new().fill(wash).stroke(edge).inner_margin(16.0);
            frame.corner_radius(6.0).show(ui, |ui| ui.heading(text));
        });
}

/// As large as a window grows by itself when everything in it gets larger, in pixels.
const GROWS_TO: egui::Vec2 = egui::vec2(1600.0, 1000.0);

/// Gives the context the ground's colours and the wanted size, when they changed. Larger letters make
/// the window larger, but not beyond a usual screen.
fn dress(ctx: &egui::Context, look: &Look) {
    let id = egui::Id::unique("ground");
    let opening = ctx.data(|d| d.get_temp::<Ground>(id)).is_none();
    if ctx.data(|d| d.get_temp(id)) != Some(look.ground) {
        theme::apply(ctx, look.ground);
        ctx.data_mut(|d| d.insert_temp(id, look.ground));
    }
    if (ctx.zoom_factor() - look.scale).abs() > 1e-3 {
        let points = ctx.content_rect().size();
        let pixels = points * ctx.zoom_factor();
        let held = if opening {
            pixels
        } else {
            (points * look.scale).min(pixels.max(GROWS_TO))
        };
        ctx.data_mut(|d| d.insert_temp(id.with("held"), held));
        ctx.set_zoom_factor(look.scale);
    } else if let Some(held) = ctx.data_mut(|d| d.remove_temp::<egui::Vec2>(id.with("held"))) {
        // The windowing layer resizes by the new factor in this same frame, unless told better.
        ctx.send_viewport_cmd(egui::ViewportCommand::InnerSize(held / look.scale));
    }
}

fn side(ui: &mut Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    if sight.side != Side::Beats {
        sight.moving_beats = false;
    }
    if sight.side != Side::Words {
        sight.lit.clear();
    }
    if sight.help {
        help::show(ui, snapshot.page_state.page, sight);
        return;
    }
    match sight.side {
        Side::Words => words::show(ui, snapshot, sight, commands),
        Side::Note => note::show(ui, snapshot, sight, commands),
        Side::Beats => beats::show(ui, snapshot, sight, commands),
        Side::Takes => takes::show(ui, snapshot, sight, commands),
        Side::Journal => page::show(ui, snapshot),
        Side::Sound => sounds::show(ui, snapshot, commands),
        Side::Look => look::show(ui, snapshot, commands),
    }
}

/// Sentences the player should read, over the page so that nothing moves: about files at the top,
/// everything else above the run of play. What the page itself says is not said again.
fn notices(
    ctx: &egui::Context,
    snapshot: &Snapshot,
    room: egui::Rect,
    commands: &mut Vec<Command>,
) {
    let page_says = matches!(
        snapshot.recording,
        RecordingView::Failed { .. } | RecordingView::Missing { .. }
    );
    for (name, above, anchor) in [
        ("about files", true, room.right_top()),
        ("notices", false, room.left_bottom()),
    ] {
        let here = |n: &&Notice| (n.about == About::File) == above && !(above && page_says);
        let said: Vec<&Notice> = snapshot.notices.iter().filter(here).collect();
        let newest = &said[said.len().saturating_sub(3)..];
        if newest.is_empty() {
            continue;
        }
        let pivot = if above {
            egui::Align2::RIGHT_TOP
        } else {
            egui::Align2::LEFT_BOTTOM
        };
        egui::Area::new(egui::Id::unique(name))
            .order(egui::Order::Foreground)
            .pivot(pivot)
            .fixed_pos(anchor)
            .show(ctx, |ui| {
                let wash = theme::ink(snapshot.look.ground, Ink::Wash);
                let frame = Pane::new().fill(wash).inner_margin(8.0).corner_radius(3.0);
                frame.show(ui, |ui| {
                    ui.set_max_width((room.width() * 0.7).min(620.0));
                    for notice in newest {
                        told(ui, notice, commands);
                    }
                });
            });
    }
}

fn told(ui: &mut Ui, notice: &Notice, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        if notice.grave {
            ui.colored_label(ui.visuals().error_fg_color, &notice.text);
        } else {
            ui.label(&notice.text);
        }
        if ui.button("Dismiss").clicked() {
            commands.push(Command::Dismiss(notice.id));
        }
    });
}

/// Keeps the window's size, once the mouse has let go of its edge.
fn remember_size(ctx: &egui::Context, snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let size = ctx.content_rect().size() * ctx.zoom_factor();
    let (width, height) = snapshot.look.size;
    let moved = (size.x - width).abs() > 1.0 || (size.y - height).abs() > 1.0;
    let usable = size.x >= 320.0 && size.y >= 200.0 && size.x <= 8000.0 && size.y <= 8000.0;
    if moved && usable && !ctx.input(|i| i.pointer.any_down()) {
        let look = Look {
            size: (size.x, size.y),
            ..snapshot.look
        };
        commands.push(Command::SetLook(look));
    }
}
