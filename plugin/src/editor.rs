//! The window.
//!
//! A view is `fn(ui, &Snapshot, &mut Vec<Action>)`; this module asks the hub for a snapshot, lets
//! the views draw it and hands their wishes back.

use crate::action::Action;
use crate::hub::Hub;
use crate::snapshot::Snapshot;
use nice_plug::context::gui::GuiContext;
use nice_plug_egui::baseview::HandlerError;
use nice_plug_egui::baseview::dpi::LogicalSize;
use nice_plug_egui::{
    EguiEditor, EguiEditorState, EguiNiceSettings, Frame, NiceEguiApp, RepaintNotifier,
    create_egui_editor,
};
use std::sync::Arc;

/// The window's program: everything it knows is the hub.
pub struct App {
    hub: Arc<Hub>,
    gui: Option<GuiContext>,
}

impl NiceEguiApp for App {
    fn build(
        &mut self,
        _egui_ctx: egui::Context,
        nice_gui_ctx: GuiContext,
        _frame: &mut Frame,
    ) -> Result<(), HandlerError> {
        self.hub.window_opened(&nice_gui_ctx);
        self.gui = Some(nice_gui_ctx);
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        let snapshot = self.hub.snapshot();
        let mut wishes = Vec::new();
        draw(ui, &snapshot, &mut wishes);
        for wish in wishes {
            self.hub.apply(wish, self.gui.as_ref());
        }
        ui.ctx()
            .request_repaint_after(std::time::Duration::from_millis(33));
    }

    fn editor_closed(&mut self) {
        self.gui = None;
    }
}

/// Makes the editor of one instance.
pub fn create(hub: Arc<Hub>) -> Option<EguiEditor<App>> {
    create_egui_editor(
        EguiEditorState::from_size(LogicalSize::new(1100.0, 720.0), 1.0),
        RepaintNotifier::default(),
        EguiNiceSettings::new().with_tile("Thumbline"),
        App { hub, gui: None },
    )
}

/// Draws a snapshot and collects wishes.
pub fn draw(ui: &mut egui::Ui, snapshot: &Snapshot, wishes: &mut Vec<Action>) {
    ui.heading(snapshot.recording.name().unwrap_or("No recording is open"));
    let label = if snapshot.transport.playing {
        "Stop"
    } else {
        "Play"
    };
    if ui.button(label).clicked() {
        wishes.push(Action::Play(!snapshot.transport.playing));
    }
}
