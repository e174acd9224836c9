//! All that can happen to an instance: what a player commands, what the host, the audio thread and the
//! services say.

use crate::command::Command;
use crate::control::{Control, Trigger};
use crate::job::JobId;
use crate::services::Said;
use crate::session::Session;
use crate::snapshot::{DialsView, For};
use std::path::PathBuf;
use thumbline::deck::{self, Event};

/// One thing that happened.
#[derive(Debug, Clone)]
pub enum Message {
    /// A player commands something.
    Command(Command),
    /// The host (or the program's own file) has put another session in.
    Restored(Box<Session>),
    /// A fresh player runs at this rate in Hz; it knows nothing yet.
    Activated(u32),
    /// The host runs at a rate in Hz that nothing plays at.
    Unplayable(f32),
    /// How things stand, a few dozen times a second.
    Tick(Tick),
    /// The audio thread tells of something.
    Deck(Event),
    /// The window has opened (true) or closed.
    Window(bool),
    /// A file was chosen for this in the dialog.
    Chosen(For, PathBuf),
    /// The desktop has no dialog for this.
    NoDialog(For),
    /// Where a lesson page goes was chosen.
    PageAt(PathBuf),
    /// A service says something about a job.
    Said(JobId, Said),
    /// A sentence for the player: the text; is something lost or impossible?
    Tell(String, bool),
}

/// How things stand outside the state.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tick {
    /// What the audio thread does; none before the first activation.
    pub sounding: Option<deck::State>,
    /// Do messages still wait for the audio thread?
    pub waiting: bool,
    /// What the host can automate.
    pub dials: DialsView,
    /// Is the loop on, by parameter or by foot?
    pub loop_on: bool,
    /// Is the plug-in bypassed?
    pub bypassed: bool,
    /// Kept regions to go on (or back).
    pub hop: i32,
    /// What is being learnt.
    pub learning: Option<Control>,
    /// What was learnt just now.
    pub learnt: Option<(Control, Trigger)>,
    /// Foot controls that went down, a bit each, in the order of [`crate::shared_controls::CONTROLS`].
    pub pressed: u16,
    /// Did the audio callback break, and fall silent?
    pub broke: bool,
}
