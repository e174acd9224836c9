//! Keys: what each does, and the one list that tooltips and the help page read.

use super::sight::Sight;
use crate::snapshot::End::{Finish, Start};
use crate::snapshot::{CaptureView, Look, Snap, Snapshot};
use crate::wish::Way::{Earlier, Later};
use crate::wish::{Control, GridEdit, NoteAt, NoteEdit, Wish};
use egui::{Key, KeyboardShortcut, Modifiers};
use thumbline::analysis::Analysis;
use thumbline::music::grid::Grid;
use thumbline::music::note::{Note, Role};
use thumbline::report::sheet::Hands;
use thumbline::unit::Seconds;

/// Something a key does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// Open a recording.
    Open,
    /// Run or stop.
    Play,
    /// Loop on or off.
    Loop,
    /// Slower by 5 %.
    Slower,
    /// Faster by 5 %.
    Faster,
    /// Click on or off.
    Click,
    /// Record a take, or stop.
    Take,
    /// Keep the round of the take that is being played.
    KeepRound,
    /// Tap the beat.
    Tap,
    /// The note before.
    Previous,
    /// The note after.
    Next,
    /// Hear the chosen note.
    Hear,
    /// Thumb becomes finger, finger thumb.
    Swap,
    /// The chosen note is none.
    Remove,
    /// A note was missed here.
    Add,
    /// The chosen note is meant for the slot before.
    SlotBefore,
    /// The chosen note is meant for the slot after.
    SlotAfter,
    /// Take the last correction back.
    Undo,
    /// Do it again.
    Redo,
    /// Larger notes.
    Larger,
    /// Smaller notes.
    Smaller,
    /// Every note where it was played, or only what is heard.
    Hairs,
    /// Both hands, the thumb alone, the fingers alone.
    Hands,
    /// Bars that play alike in one row, or each in its own.
    Fold,
    /// The bar of the chosen note, or the one in play, close up.
    CloseUp,
    /// The loop starts a beat earlier.
    StartEarlier,
    /// The loop starts a beat later.
    StartLater,
    /// The loop ends a beat earlier.
    EndEarlier,
    /// The loop ends a beat later.
    EndLater,
    /// The loop starts an off-beat earlier.
    StartEarlierSlot,
    /// The loop starts an off-beat later.
    StartLaterSlot,
    /// The loop ends an off-beat earlier.
    EndEarlierSlot,
    /// The loop ends an off-beat later.
    EndLaterSlot,
    /// The loop starts where the sound is.
    StartHere,
    /// The loop ends where the sound is.
    EndHere,
    /// To the beat before.
    BeatBefore,
    /// To the beat after.
    BeatAfter,
    /// To the bar before.
    BarBefore,
    /// To the bar after.
    BarAfter,
    /// A page of bars back.
    PageBefore,
    /// A page of bars on.
    PageAfter,
    /// To the start of the loop, or of the recording.
    ToStart,
    /// To the last bar.
    ToEnd,
    /// Bar 1 starts at the pointer, or where the sound is.
    BarOne,
    /// What the page in view is about.
    Help,
    /// One bar, large, for a player two metres away; or everything again.
    Far,
}

/// Every deed, its keys and what it is called. The first key of a deed is the one tooltips show.
pub const KEYS: [(Deed, Modifiers, Key, &str); 53] = [
    (Deed::Open, Modifiers::COMMAND, Key::O, "Open a recording"),
    (Deed::Play, Modifiers::NONE, Key::Space, "Play or stop"),
    (Deed::Play, Modifiers::NONE, Key::P, "Play or stop as well"),
    (Deed::Loop, Modifiers::NONE, Key::L, "Loop on or off"),
    (Deed::Slower, Modifiers::NONE, Key::Minus, "Slower by 5 %"),
    (Deed::Faster, Modifiers::NONE, Key::Plus, "Faster by 5 %"),
    (Deed::Faster, Modifiers::NONE, Key::Equals, "Faster by 5 %"),
    (Deed::Click, Modifiers::NONE, Key::C, "Click on or off"),
    (
        Deed::Take,
        Modifiers::NONE,
        Key::R,
        "Record a take, or stop",
    ),
    (
        Deed::KeepRound,
        Modifiers::NONE,
        Key::K,
        "Keep the round you play: the journal marks it",
    ),
    (Deed::Tap, Modifiers::NONE, Key::B, "Tap the beat along"),
    (
        Deed::Previous,
        Modifiers::NONE,
        Key::Comma,
        "The note before",
    ),
    (Deed::Next, Modifiers::NONE, Key::Period, "The note after"),
    (Deed::Hear, Modifiers::NONE, Key::H, "Hear the chosen note"),
    (
        Deed::Swap,
        Modifiers::NONE,
        Key::T,
        "Thumb becomes finger, finger thumb",
    ),
    (
        Deed::Remove,
        Modifiers::NONE,
        Key::Delete,
        "The chosen note is none",
    ),
    (
        Deed::Remove,
        Modifiers::NONE,
        Key::Backspace,
        "The chosen note is none",
    ),
    (
        Deed::Add,
        Modifiers::NONE,
        Key::A,
        "A note was missed at the current place",
    ),
    (
        Deed::SlotBefore,
        Modifiers::NONE,
        Key::OpenBracket,
        "Meant for the slot before",
    ),
    (
        Deed::SlotAfter,
        Modifiers::NONE,
        Key::CloseBracket,
        "Meant for the slot after",
    ),
    (
        Deed::Undo,
        Modifiers::COMMAND,
        Key::Z,
        "Take the last correction back",
    ),
    (
        Deed::Redo,
        Modifiers::COMMAND.plus(Modifiers::SHIFT),
        Key::Z,
        "Do it again",
    ),
    (Deed::Redo, Modifiers::COMMAND, Key::Y, "Do it again"),
    (
        Deed::Undo,
        Modifiers::NONE,
        Key::U,
        "Take the last correction back",
    ),
    (Deed::Larger, Modifiers::NONE, Key::Z, "Larger notes"),
    (Deed::Smaller, Modifiers::SHIFT, Key::Z, "Smaller notes"),
    (
        Deed::Hairs,
        Modifiers::NONE,
        Key::D,
        "Every note where it was played, or only what is heard",
    ),
    (
        Deed::Hands,
        Modifiers::NONE,
        Key::V,
        "Both hands, the thumb alone, the fingers alone",
    ),
    (
        Deed::Fold,
        Modifiers::NONE,
        Key::O,
        "Bars that play alike in one row, or each in its own",
    ),
    (
        Deed::CloseUp,
        Modifiers::NONE,
        Key::E,
        "The bar close up, or no longer",
    ),
    (
        Deed::StartEarlier,
        Modifiers::ALT,
        Key::ArrowLeft,
        "The loop starts a beat earlier",
    ),
    (
        Deed::StartLater,
        Modifiers::ALT,
        Key::ArrowRight,
        "The loop starts a beat later",
    ),
    (
        Deed::EndEarlier,
        Modifiers::SHIFT,
        Key::ArrowLeft,
        "The loop ends a beat earlier",
    ),
    (
        Deed::EndLater,
        Modifiers::SHIFT,
        Key::ArrowRight,
        "The loop ends a beat later",
    ),
    (
        Deed::StartEarlierSlot,
        Modifiers::ALT,
        Key::ArrowDown,
        "The loop starts an off-beat earlier",
    ),
    (
        Deed::StartLaterSlot,
        Modifiers::ALT,
        Key::ArrowUp,
        "The loop starts an off-beat later",
    ),
    (
        Deed::EndEarlierSlot,
        Modifiers::SHIFT,
        Key::ArrowDown,
        "The loop ends an off-beat earlier",
    ),
    (
        Deed::EndLaterSlot,
        Modifiers::SHIFT,
        Key::ArrowUp,
        "The loop ends an off-beat later",
    ),
    (
        Deed::StartHere,
        Modifiers::NONE,
        Key::S,
        "The loop starts here, also while it plays",
    ),
    (
        Deed::EndHere,
        Modifiers::NONE,
        Key::F,
        "The loop finishes here, also while it plays",
    ),
    (
        Deed::BeatBefore,
        Modifiers::NONE,
        Key::ArrowLeft,
        "To the beat before",
    ),
    (
        Deed::BeatAfter,
        Modifiers::NONE,
        Key::ArrowRight,
        "To the beat after",
    ),
    (
        Deed::BarBefore,
        Modifiers::NONE,
        Key::ArrowUp,
        "To the bar before",
    ),
    (
        Deed::BarAfter,
        Modifiers::NONE,
        Key::ArrowDown,
        "To the bar after",
    ),
    (
        Deed::PageBefore,
        Modifiers::NONE,
        Key::PageUp,
        "Back by the bars in view",
    ),
    (
        Deed::PageAfter,
        Modifiers::NONE,
        Key::PageDown,
        "On by the bars in view",
    ),
    (
        Deed::ToStart,
        Modifiers::NONE,
        Key::Home,
        "To the start of the loop, or of the recording",
    ),
    (Deed::ToEnd, Modifiers::NONE, Key::End, "To the last bar"),
    (
        Deed::BarOne,
        Modifiers::NONE,
        Key::Num1,
        "Bar 1 starts at the pointer, or where the sound is",
    ),
    (
        Deed::Far,
        Modifiers::NONE,
        Key::G,
        "One bar, large, to be read from away; or everything",
    ),
    (
        Deed::Help,
        Modifiers::NONE,
        Key::F1,
        "What the page in view is about",
    ),
    (
        Deed::Help,
        Modifiers::NONE,
        Key::Questionmark,
        "What the page in view is about",
    ),
    (
        Deed::Help,
        Modifiers::SHIFT,
        Key::Questionmark,
        "What the page in view is about",
    ),
];

/// A deed's first key as text: `Space`, `Ctrl+Z`.
pub fn name(deed: Deed) -> String {
    KEYS.iter()
        .find(|(d, ..)| *d == deed)
        .map_or_else(String::new, |(_, modifiers, key, _)| text(*modifiers, *key))
}

/// A key with its modifiers as text.
pub fn text(modifiers: Modifiers, key: Key) -> String {
    let mut parts = Vec::new();
    if modifiers.command {
        parts.push("Ctrl");
    }
    if modifiers.alt {
        parts.push("Alt");
    }
    if modifiers.shift {
        parts.push("Shift");
    }
    parts.push(match key {
        Key::OpenBracket => "[",
        Key::CloseBracket => "]",
        Key::Minus => "-",
        Key::Plus => "+",
        Key::Equals => "=",
        Key::Comma => ",",
        Key::Period => ".",
        Key::Questionmark => "?",
        Key::ArrowLeft => "Left",
        Key::ArrowRight => "Right",
        Key::ArrowUp => "Up",
        Key::ArrowDown => "Down",
        other => other.name(),
    });
    parts.join("+")
}

/// Turns keys pressed in this frame into wishes, unless a text is being typed.
pub fn read(ui: &egui::Ui, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let ctx = ui.ctx();
    if ctx.text_edit_focused() {
        return;
    }
    // Space and Enter belong to a focused control.
    let focused = ctx.memory(|m| m.focused().is_some());
    let mut deeds = Vec::new();
    ctx.input_mut(|input| {
        // Ctrl+Shift+Z before Ctrl+Z before Z: the longer shortcut first.
        let mut keys: Vec<_> = KEYS.iter().collect();
        keys.sort_by_key(|(_, m, ..)| {
            3 - u8::from(m.shift) - u8::from(m.command) - u8::from(m.alt)
        });
        for &&(deed, modifiers, key, _) in &keys {
            // Arrows go from control to control where one has the focus.
            let step = matches!(
                key,
                Key::ArrowLeft | Key::ArrowRight | Key::ArrowUp | Key::ArrowDown
            );
            let taken = focused && (key == Key::Space || step && modifiers.is_none());
            if !taken && input.consume_shortcut(&KeyboardShortcut::new(modifiers, key)) {
                deeds.push(deed);
            }
        }
    });
    for deed in deeds {
        perform(deed, snapshot, sight, wishes);
    }
}

/// What a deed wishes.
pub fn perform(deed: Deed, snapshot: &Snapshot, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let playing = snapshot.transport.playing;
    let position = snapshot.transport.position;
    let speed = |by: f64, wishes: &mut Vec<Wish>| {
        let speed = (snapshot.heard_speed() * 20.0 + by).round() / 20.0;
        wishes.extend(Wish::speed(snapshot, speed));
    };
    match deed {
        Deed::Play => wishes.push(Wish::Play(!playing)),
        Deed::Loop => wishes.push(Wish::SetLoop(!snapshot.practice.loop_on)),
        Deed::Slower => speed(-1.0, wishes),
        Deed::Faster => speed(1.0, wishes),
        Deed::Click => wishes.push(Wish::SetClick(!snapshot.dials.click)),
        Deed::Take => {
            let off = snapshot.capture == CaptureView::Off;
            wishes.push(Wish::Record(off));
        }
        Deed::KeepRound => wishes.push(Wish::KeepRound),
        Deed::Tap => tap(position, sight, wishes),
        Deed::Open => wishes.push(Wish::AskForRecording),
        Deed::Undo => wishes.push(Wish::Undo),
        Deed::Redo => wishes.push(Wish::Redo),
        Deed::Larger => wishes.push(Wish::SetLook(snapshot.look.larger(1.15))),
        Deed::Smaller => wishes.push(Wish::SetLook(snapshot.look.larger(1.0 / 1.15))),
        Deed::Hairs => sight.hairs = !sight.hairs,
        Deed::Hands => {
            sight.hands = match sight.hands {
                Hands::Both => Hands::Thumb,
                Hands::Thumb => Hands::Fingers,
                Hands::Fingers => Hands::Both,
            }
        }
        Deed::Fold => {
            let look = snapshot.look;
            let fold = !look.fold;
            wishes.push(Wish::SetLook(Look { fold, ..look }));
        }
        Deed::CloseUp => close_up(snapshot, sight),
        Deed::StartEarlier => wishes.push(Wish::MoveEnd(Start, Snap::Beat, Earlier)),
        Deed::StartLater => wishes.push(Wish::MoveEnd(Start, Snap::Beat, Later)),
        Deed::EndEarlier => wishes.push(Wish::MoveEnd(Finish, Snap::Beat, Earlier)),
        Deed::EndLater => wishes.push(Wish::MoveEnd(Finish, Snap::Beat, Later)),
        Deed::StartEarlierSlot => wishes.push(Wish::MoveEnd(Start, Snap::Slot, Earlier)),
        Deed::StartLaterSlot => wishes.push(Wish::MoveEnd(Start, Snap::Slot, Later)),
        Deed::EndEarlierSlot => wishes.push(Wish::MoveEnd(Finish, Snap::Slot, Earlier)),
        Deed::EndLaterSlot => wishes.push(Wish::MoveEnd(Finish, Snap::Slot, Later)),
        Deed::StartHere | Deed::EndHere => end_here(deed, snapshot, wishes),
        Deed::BeatBefore
        | Deed::BeatAfter
        | Deed::BarBefore
        | Deed::BarAfter
        | Deed::PageBefore
        | Deed::PageAfter
        | Deed::ToStart
        | Deed::ToEnd => wishes.extend(goal(deed, snapshot, sight).map(Wish::Seek)),
        Deed::BarOne => {
            let at = sight.pointed_at.unwrap_or(position);
            wishes.push(Wish::EditGrid(GridEdit::BarOne { at }));
        }
        Deed::Help => sight.help = !sight.help,
        Deed::Far => {
            sight.far = !sight.far;
            // The row in play lies elsewhere now.
            sight.followed = None;
        }
        Deed::Previous
        | Deed::Next
        | Deed::Hear
        | Deed::Swap
        | Deed::Remove
        | Deed::Add
        | Deed::SlotBefore
        | Deed::SlotAfter => {
            if let Some(analysis) = snapshot.analysis.ready() {
                on_note(deed, snapshot, analysis, sight, wishes);
            }
        }
    }
}

/// Shows the bar of the chosen note, or the one in play, close up; puts it away where it is shown.
fn close_up(snapshot: &Snapshot, sight: &mut Sight) {
    if sight.close_up.take().is_some() {
        return;
    }
    let Some(analysis) = snapshot.analysis.ready() else {
        return;
    };
    let chosen = sight.chosen_in(analysis).map(|i| analysis.notes[i].time);
    let at = chosen.unwrap_or(snapshot.transport.position);
    sight.show_close_up(analysis, at);
}

/// An end of the loop where the sound is: set while it plays, by ear.
fn end_here(deed: Deed, snapshot: &Snapshot, wishes: &mut Vec<Wish>) {
    let at = snapshot.transport.position;
    let region = snapshot.practice.region.as_ref();
    let end = snapshot.end().unwrap_or(at);
    let (from, to) = if deed == Deed::StartHere {
        (
            at,
            region.map(|r| r.to).filter(|to| *to > at).unwrap_or(end),
        )
    } else {
        (
            region
                .map(|r| r.from)
                .filter(|from| *from < at)
                .unwrap_or_default(),
            at,
        )
    };
    if from < to {
        wishes.extend([Wish::SetRegion(Some((from, to))), Wish::SetLoop(true)]);
    }
}

/// Where a step through the recording leads.
fn goal(deed: Deed, snapshot: &Snapshot, sight: &Sight) -> Option<Seconds> {
    /// A step of a recording without a beat, and how many of them go on a page.
    const STEP: f64 = 2.0;
    const MANY: usize = 8;
    let at = snapshot.transport.position;
    let end = snapshot.end()?;
    let practice = &snapshot.practice;
    let looped = practice.region.as_ref().filter(|_| practice.loop_on);
    let grid = snapshot.analysis.ready().map(|a| &a.grid);
    let bars = grid.map(Grid::bars).unwrap_or_default();
    let places: Vec<Seconds> = match (deed, grid) {
        (Deed::ToStart, _) => return Some(looped.map_or(Seconds(0.0), |r| r.from)),
        (Deed::ToEnd, _) => {
            let last = bars.last().map_or(end, |bar| bar.start);
            return Some(looped.map_or(last, |r| Seconds((r.to.0 - 0.5).max(r.from.0))));
        }
        (Deed::BeatBefore | Deed::BeatAfter, Some(grid)) if !grid.is_empty() => {
            grid.beats().iter().map(|b| b.time).collect()
        }
        _ if !bars.is_empty() => bars.iter().map(|b| b.start).collect(),
        _ => (0..(end.0 / STEP).ceil() as u32)
            .map(|i| Seconds(STEP * f64::from(i)))
            .collect(),
    };
    let page = sight.bars_in_view().unwrap_or(MANY);
    // A hair before the next place is still here: the sound stands a little off what was asked for.
    let here = places.partition_point(|p| p.0 <= at.0 + 0.02);
    let index = match deed {
        Deed::BeatAfter | Deed::BarAfter => here,
        Deed::PageAfter => (here + page)
            .saturating_sub(1)
            .min(places.len().checked_sub(1)?),
        Deed::PageBefore => here.saturating_sub(page + 1),
        _ => {
            let on = here.checked_sub(1)?;
            // While it plays, a step back leads to the place before the one just passed.
            let close = (at - places[on]).0
                < if snapshot.transport.playing {
                    0.3
                } else {
                    0.05
                };
            if close { on.checked_sub(1)? } else { on }
        }
    };
    places.get(index).copied()
}

fn on_note(
    deed: Deed,
    snapshot: &Snapshot,
    analysis: &Analysis,
    sight: &mut Sight,
    wishes: &mut Vec<Wish>,
) {
    let pointed = sight.pointed.filter(|_| deed == Deed::Swap);
    let pointed = pointed.and_then(|note| note.find(&analysis.notes));
    let chosen = pointed.or_else(|| sight.chosen_in(analysis));
    let position = snapshot.transport.position;
    match (deed, chosen) {
        (Deed::Add, _) => {
            let note = Note::by_hand(position, Role::Melody);
            wishes.push(Wish::EditNote(NoteEdit::Add { note }));
        }
        (Deed::Next, chosen) => {
            let after = || analysis.notes.partition_point(|n| n.time < position);
            let next = chosen.map_or_else(after, |i| i + 1);
            sight.choose(analysis, next);
        }
        (Deed::Previous, chosen) => {
            let before = || analysis.notes.partition_point(|n| n.time < position);
            if let Some(previous) = chosen.unwrap_or_else(before).checked_sub(1) {
                sight.choose(analysis, previous);
            }
        }
        (_, Some(index)) => {
            let note = &analysis.notes[index];
            let which = NoteAt::of(note);
            match deed {
                Deed::Hear => wishes.push(Wish::hear(note)),
                Deed::Swap => {
                    let role = match note.role {
                        Role::Bass => Role::Melody,
                        Role::Melody => Role::Bass,
                    };
                    wishes.push(Wish::EditNote(NoteEdit::SetRole { which, role }));
                }
                Deed::Remove => {
                    wishes.push(Wish::EditNote(NoteEdit::Remove { which }));
                    sight.chosen = None;
                }
                Deed::SlotBefore | Deed::SlotAfter => {
                    let step = if deed == Deed::SlotAfter { 1 } else { -1 };
                    if let Some(slot) = sight.neighbour(snapshot, index, step) {
                        wishes.push(Wish::EditNote(NoteEdit::MeantFor { which, slot }));
                    }
                }
                _ => {}
            }
        }
        _ => {}
    }
}

/// Seconds of the recording after which a new series of taps begins.
const REST: f64 = 2.5;

/// A tap at a place of the recording. The first of a series is kept back: one tap is no beat.
fn tap(at: Seconds, sight: &mut Sight, wishes: &mut Vec<Wish>) {
    let fresh = sight
        .taps
        .last()
        .is_none_or(|&last| !(0.0..REST).contains(&(at - last).0));
    if fresh {
        sight.taps.clear();
    }
    sight.taps.push(at);
    match sight.taps.as_slice() {
        [] | [_] => {}
        [first, second] => {
            let edits = [*first, *second].map(|at| Wish::EditGrid(GridEdit::Tap { at }));
            wishes.extend(edits);
        }
        [.., last] => wishes.push(Wish::EditGrid(GridEdit::Tap { at: *last })),
    }
}

/// What a foot controller can be taught.
pub const PEDALS: [(Control, &str); 9] = [
    (Control::Play, "Play"),
    (Control::Loop, "Loop"),
    (Control::NextRegion, "Next kept loop"),
    (Control::PreviousRegion, "Kept loop before"),
    (Control::KeepRound, "Keep this round"),
    (Control::Take, "Record a take"),
    (Control::Slower, "Slower"),
    (Control::Faster, "Faster"),
    (Control::Hear, "Hear what the page shows"),
];
