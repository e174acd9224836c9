//! What is to be done after a message: the only way in which [`update`](crate::update::update)
//! reaches anything outside the state.

use crate::channels::Channels;
use crate::control::{Control, Trigger};
use crate::job::JobId;
use crate::services::{Job, take_writer};
use crate::snapshot::For;
use crate::sound::Choice;
use std::path::PathBuf;
use thumbline::deck;

/// One thing to be done.
pub enum Effect {
    /// Tell the audio thread.
    Deck(deck::Message),
    /// Have a service do a job.
    Start(JobId, Box<Job>),
    /// A job's result is not wanted any more.
    Cancel(JobId),
    /// Have the recording thread do something.
    TakeWriter(JobId, take_writer::Order),
    /// Run or stop, whatever the parameter says, until it moves.
    Play(bool),
    /// Loop or not, likewise.
    Loop(bool),
    /// MIDI does this from now on.
    LearnControls(Vec<(Control, Trigger)>),
    /// The next MIDI note or controller is for this control; none stops listening.
    Listen(Option<Control>),
    /// Set a parameter through the host.
    Dial(Dial),
    /// What is kept has changed: the host's project is to be saved.
    Changed,
    /// Ask for a file for this, in this folder.
    Ask(For, Option<PathBuf>),
    /// Show a file in the program that the system has for it.
    Show(PathBuf),
    /// Ask where a lesson page goes, proposing this name.
    AskForPage(String),
    /// Keep these sound devices and start the program again with them.
    StartAgain(Choice),
    /// Write the program's own settings to this file, the parameters with them.
    Settings(JobId, PathBuf),
}

/// A parameter and its wanted value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Dial {
    /// Run or stop.
    Play(bool),
    /// Loop on or off.
    Loop(bool),
    /// Speed, 1 = as recorded.
    Speed(f64),
    /// Pitch in semitones, with fraction.
    Pitch(f64),
    /// Click on or off.
    Click(bool),
    /// Click level in dB.
    ClickLevel(f64),
    /// Output gain in dB.
    Gain(f64),
    /// The track's own sound is heard too.
    Through(bool),
    /// The host's transport drives the recording.
    Follow(bool),
    /// Which channels are heard.
    Channels(Channels),
}
