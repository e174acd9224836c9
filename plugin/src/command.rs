//! What a player asks for: the only thing that leaves a view.
//!
//! A view never carries one out: a command is a [`Message`](crate::message::Message).

pub use crate::control::Control;
use crate::page_state::PageState;
use crate::services::drill;
pub use crate::services::sound::Sound;
use crate::snapshot::{ClickRate, End, For, Hear, Ladder, Look, Snap, Snapshot};
use crate::sound::Choice;
use std::path::PathBuf;
pub use thumbline::analysis::beat::Edit as GridEdit;
pub use thumbline::analysis::corrections::{NoteAt, NoteEdit};
use thumbline::music::note::Note;
use thumbline::music::picking::Cell;
use thumbline::music::tuning::Tuning;
use thumbline::report::export::Format;
use thumbline::unit::{Seconds, Span};

/// Which way something is moved in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// To before.
    Earlier,
    /// To after.
    Later,
}

/// One command.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Open the file dialog (it runs beside the window).
    AskForRecording,
    /// Open the dialog for a take.
    AskForTake,
    /// Open the dialog for a file of written notes.
    AskForNotes(For),
    /// Look through a folder (the last one, where none is named) for a file for this.
    LookThrough(For, Option<PathBuf>),
    /// Put the list of a folder away.
    LeaveFolder,
    /// Lay this file over the recording as a take.
    LoadTake(PathBuf),
    /// Use this file of written notes.
    Notes(For, PathBuf),
    /// Make a lesson page of the bars of the loop: asks where it goes.
    MakePage,
    /// Open this file.
    Load(PathBuf),
    /// Use this file as the missing recording; the rest of the state stays.
    Locate(PathBuf),
    /// Close the recording.
    Close,
    /// Open the built-in demo piece.
    OpenDemo,
    /// Stop decoding or analysing; what is there stays.
    Cancel,
    /// Analyse the recording again.
    Analyse,

    /// Run or stop.
    Play(bool),
    /// Go to a place.
    Seek(Seconds),
    /// Hear this stretch once, and stop.
    HearOnce(Seconds, Seconds),
    /// Speed, 0.25 to 1.5.
    SetSpeed(f64),
    /// Pitch shift, −12 to 12 semitones with fraction.
    SetPitch(f64),
    /// Output gain in dB, −24 to 24.
    SetGain(f64),
    /// Which channels are heard.
    SetChannels(crate::channels::Channels),
    /// Let the track's own sound (the standalone's input) be heard too.
    SetThrough(bool),
    /// Let the host's transport drive the recording.
    FollowHost(bool),

    /// Loop on or off.
    SetLoop(bool),
    /// Loop this stretch (ends hold on to the current [`Snap`]); none loops the whole recording.
    SetRegion(Option<(Seconds, Seconds)>),
    /// Loop exactly this stretch, whatever dragged ends hold on to.
    LoopFromTo(Seconds, Seconds),
    /// Move an end of the loop to the next beat (or slot) after it, or before it.
    MoveEnd(End, Snap, Way),
    /// Loop these bars, first and last included.
    SetBars(i32, i32),
    /// Keep the current region under a name.
    KeepRegion(String),
    /// Loop a kept region.
    UseRegion(usize),
    /// Rename a kept region.
    RenameRegion(usize, String),
    /// Forget a kept region.
    ForgetRegion(usize),
    /// What loop ends hold on to.
    SetSnap(Snap),
    /// Bars counted before the start, 0 to 2.
    SetCountIn(u8),
    /// Silent beats between rounds, 0 to 16.
    SetRest(u8),
    /// The ladder.
    SetLadder(Ladder),
    /// A tone after each round of a take, or none.
    SetRoundTone(bool),
    /// Use a practice set-up, by its place in the snapshot's list.
    UseSetUp(usize),

    /// Click on or off.
    SetClick(bool),
    /// Click level in dB, −40 to 6.
    SetClickLevel(f64),
    /// How often the click sounds.
    SetClickRate(ClickRate),

    /// Correct a note.
    EditNote(NoteEdit),
    /// Correct the grid.
    EditGrid(GridEdit),
    /// Choose among the readings of the beat; none leaves the program's own.
    ChooseReading(Option<GridEdit>),
    /// Take the last correction back.
    Undo,
    /// Do again what was taken back last.
    Redo,
    /// Analyse again in this tuning, capo included; none lets the program find it. Takes recorded
    /// from now on are heard in it too.
    SetTuning(Option<Tuning>),

    /// Arm or stop recording the track the plug-in sits on.
    CaptureTrack(bool),
    /// Arm or stop recording an own take.
    CaptureTake(bool),
    /// One button: count in, play and record an own take; or stop all that.
    Record(bool),
    /// Keep the round of the take that is being played: the journal marks it.
    KeepRound,
    /// Draw a take over the sheet, or not.
    ShowTake(usize, bool),
    /// Choose what is heard of the recording.
    Hear(Hear),
    /// Forget a take (its file stays).
    ForgetTake(usize),
    /// Read the recording's page of the journal again: another window or the command line may have
    /// written to it.
    ReadPage,
    /// Use these sound devices: the program starts again with them.
    UseSound(Choice),
    /// Measure the round-trip latency.
    Calibrate,
    /// Set the round-trip latency by hand.
    SetLatency(Span),

    /// Learn the next MIDI note or controller for a control; none stops learning.
    Learn(Option<Control>),
    /// Forget what a control has learnt.
    Unlearn(Control),
    /// A notice was read.
    Dismiss(u64),
    /// Keep how the window looks.
    SetLook(Look),
    /// Another page, or something else on it.
    SetPageState(Box<PageState>),
    /// Sound this beside the recording.
    Sound(Sound),
    /// Silence what sounds beside the recording.
    Hush,
    /// Open this drill as a recording, at this speed (1 = its tempo), looped, with ladder and click.
    Drill(Box<drill::Job>, f64),
    /// Write what was heard, or the loop of it, in a format; show the file afterwards?
    Export(Format, bool),
    /// A file was dropped on the window.
    Drop(PathBuf),
    /// Hear how high the player's own strings sound, or no longer.
    HearStrings(bool),
    /// Keep a tuning among the player's own under a name.
    KeepTuning(String, Tuning),
    /// Keep a pattern among the player's own under a name.
    KeepPattern(String, Box<Cell>),
    /// Keep what a page of the window remembers, by the page's name, in the page's own form.
    KeepPage(&'static str, serde_json::Value),
}

impl Command {
    /// What makes a speed heard, 0.25 to 1.5: where the ladder leads it is left.
    pub fn speed(snapshot: &Snapshot, speed: f64) -> Vec<Self> {
        let ladder = snapshot.practice.ladder;
        let leave = Self::SetLadder(Ladder {
            on: false,
            ..ladder
        });
        let speed = Self::SetSpeed(speed.clamp(0.25, 1.5));
        if snapshot.climbs() {
            vec![leave, speed]
        } else {
            vec![speed]
        }
    }

    /// What makes a note heard: the sound from just before it, for .25 to 1.2 s.
    pub fn hear(note: &Note) -> Self {
        let from = Seconds((note.time - Span::from_ms(60.0)).0.max(0.0));
        let length = (note.end - note.time).0.clamp(0.25, 1.2);
        Self::HearOnce(from, note.time + Span(length))
    }
}
