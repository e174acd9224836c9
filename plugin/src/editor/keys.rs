//! Keys: what each does, and the one list that tooltips and the help page read.

use super::sight::Sight;
use crate::snapshot::{CaptureView, Snap, Snapshot};
use crate::wish::{Control, NoteAt, NoteEdit, Wish};
use egui::{Key, KeyboardShortcut, Modifiers};
use thumbline::analysis::Analysis;
use thumbline::music::note::{Note, Role};
use thumbline::report::sheet::Hands;
use thumbline::unit::{Beats, Seconds};

/// Something a key does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
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
    /// Record an own take, or stop.
    Take,
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
}

/// Every deed, its keys and what it is called. The first key of a deed is the one tooltips show.
pub const KEYS: [(Deed, Modifiers, Key, &str); 31] = [
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
        "Record an own take, or stop",
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
            let taken = focused && key == Key::Space;
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
    let transport = &snapshot.transport;
    let speed = |by: f64| {
        let speed = (snapshot.dials.speed * 20.0 + by).round() / 20.0;
        Wish::SetSpeed(speed.clamp(0.25, 1.5))
    };
    match deed {
        Deed::Play => wishes.push(Wish::Play(!transport.playing)),
        Deed::Loop => wishes.push(Wish::SetLoop(!snapshot.practice.loop_on)),
        Deed::Slower => wishes.push(speed(-1.0)),
        Deed::Faster => wishes.push(speed(1.0)),
        Deed::Click => wishes.push(Wish::SetClick(!snapshot.dials.click)),
        Deed::Take => {
            let off = snapshot.capture == CaptureView::Off;
            wishes.push(Wish::CaptureTake(off));
        }
        Deed::Tap => tap(transport.position, sight, wishes),
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
        Deed::CloseUp => close_up(snapshot, sight),
        Deed::StartEarlier => move_loop(snapshot, (-1.0, 0.0), wishes),
        Deed::StartLater => move_loop(snapshot, (1.0, 0.0), wishes),
        Deed::EndEarlier => move_loop(snapshot, (0.0, -1.0), wishes),
        Deed::EndLater => move_loop(snapshot, (0.0, 1.0), wishes),
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
    let bars = analysis.grid.bars();
    // A note just before a bar is meant for it.
    let holds = bars.iter().rev().find(|b| b.start.0 <= at.0 + 0.04);
    sight.close_up = holds.or(bars.first()).map(|b| b.number);
}

/// Moves the ends of the loop by beats.
fn move_loop(snapshot: &Snapshot, (start, end): (f64, f64), wishes: &mut Vec<Wish>) {
    let practice = &snapshot.practice;
    let grid = snapshot.analysis.ready().map(|a| &a.grid);
    let (Some(region), Some(grid)) = (practice.region.as_ref(), grid) else {
        return;
    };
    let moved = |time: Seconds, by: f64| {
        let at = grid.beat_at(time)?;
        grid.time_at(Beats(at.0.round() + by))
    };
    let from = if start == 0.0 {
        Some(region.from)
    } else {
        moved(region.from, start)
    };
    let to = if end == 0.0 {
        Some(region.to)
    } else {
        moved(region.to, end)
    };
    if let (Some(from), Some(to)) = (from, to)
        && from < to
    {
        let region = Some((Seconds(from.0.max(0.0)), to));
        // By a beat, whatever dragged ends hold on to.
        wishes.push(Wish::SetSnap(Snap::Beat));
        wishes.push(Wish::SetRegion(region));
        wishes.push(Wish::SetSnap(practice.snap));
    }
}

fn on_note(
    deed: Deed,
    snapshot: &Snapshot,
    analysis: &Analysis,
    sight: &mut Sight,
    wishes: &mut Vec<Wish>,
) {
    let chosen = sight.chosen_in(analysis);
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
    use crate::wish::GridEdit;
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
pub const PEDALS: [(Control, &str); 4] = [
    (Control::Play, "Play"),
    (Control::Loop, "Loop"),
    (Control::NextRegion, "Next region"),
    (Control::PreviousRegion, "Region before"),
];
