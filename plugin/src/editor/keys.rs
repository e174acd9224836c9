//! Keys: what each does (`list` says which there are).

mod list;

pub use list::{Deed, KEYS, name, text};

use super::sight::Sight;
use super::ways;
use crate::command::Way::{Earlier, Later};
use crate::command::{Command, Control, GridEdit, NoteAt, NoteEdit};
use crate::snapshot::End::{Finish, Start};
use crate::snapshot::{CaptureView, Ladder, Look, Snap, Snapshot};
use egui::{Event, InputState, Key, KeyboardShortcut};
use thumbline::analysis::Analysis;
use thumbline::music::grid::Grid;
use thumbline::music::note::{Note, Role};
use thumbline::report::sheet::Hands;
use thumbline::unit::Seconds;

/// Turns keys pressed in this frame into commands; not to be called while a text is typed or a menu open.
pub fn read(ui: &egui::Ui, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let ctx = ui.ctx();
    // Space and Enter belong to a focused control.
    let focused = ctx.memory(|m| m.focused().is_some());
    let mut deeds = Vec::new();
    ctx.input_mut(|input| {
        let written = written(input);
        input.events.extend(written);
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
        perform(deed, snapshot, sight, commands);
    }
}

/// Keys that were pressed but came as text alone: of signs and capitals the windowing layer tells nothing
/// else.
fn written(input: &InputState) -> Vec<Event> {
    let told = |wanted: Key| {
        let is = |e: &Event| matches!(e, Event::Key { key, pressed: true, .. } if *key == wanted);
        input.events.iter().any(is)
    };
    let key = |event: &Event| {
        let Event::Text(text) = event else {
            return None;
        };
        let mut letters = text.chars();
        let (Some(sign), None) = (letters.next(), letters.next()) else {
            return None;
        };
        match sign {
            '+' => Some(Key::Plus),
            '-' => Some(Key::Minus),
            '=' => Some(Key::Equals),
            ',' => Some(Key::Comma),
            '.' => Some(Key::Period),
            '[' => Some(Key::OpenBracket),
            ']' => Some(Key::CloseBracket),
            '?' => Some(Key::Questionmark),
            'A'..='Z' => Key::from_name(text),
            _ => None,
        }
    };
    let keys = input.events.iter().filter_map(key);
    let keys = keys.filter(|key| !told(*key));
    keys.map(|key| Event::Key {
        key,
        physical_key: None,
        pressed: true,
        repeat: false,
        modifiers: input.modifiers,
    })
    .collect()
}

/// What a deed commands.
pub fn perform(deed: Deed, snapshot: &Snapshot, sight: &mut Sight, commands: &mut Vec<Command>) {
    let playing = snapshot.transport.playing;
    let position = snapshot.transport.position;
    let speed = |by: f64, commands: &mut Vec<Command>| {
        let speed = (snapshot.heard_speed() * 20.0 + by).round() / 20.0;
        commands.extend(Command::speed(snapshot, speed));
    };
    match deed {
        Deed::Play => commands.push(Command::Play(!playing)),
        Deed::Loop => commands.push(Command::SetLoop(!snapshot.practice.loop_on)),
        Deed::LoopBar => {
            let bars = snapshot
                .analysis
                .ready()
                .map(|a| a.grid.bars())
                .unwrap_or_default();
            let begun = bars.iter().rev().find(|b| b.start.0 <= position.0 + 1e-3);
            // Before the first bar the first one is meant.
            if let Some(bar) = begun.or(bars.first()) {
                commands.push(Command::SetBars(bar.number, bar.number));
                commands.push(Command::SetLoop(true));
            }
        }
        Deed::NextKept => {
            let practice = &snapshot.practice;
            let next = practice.current_region.map_or(0, |i| i + 1);
            if let Some(next) = next.checked_rem(practice.regions.len()) {
                commands.push(Command::UseRegion(next));
                commands.push(Command::SetLoop(true));
            }
        }
        Deed::Ladder => climb(snapshot, commands),
        Deed::LoadTake => commands.push(Command::AskForTake),
        Deed::HearTake => ways::next(snapshot, commands),
        Deed::Tuning => sight.tune = true,
        Deed::Slower => speed(-1.0, commands),
        Deed::Faster => speed(1.0, commands),
        Deed::Click => commands.push(Command::SetClick(!snapshot.dials.click)),
        Deed::Take => {
            let off = snapshot.capture == CaptureView::Off;
            commands.push(Command::Record(off));
        }
        Deed::KeepRound => commands.push(Command::KeepRound),
        Deed::Tap => tap(position, sight, commands),
        Deed::Open => commands.push(Command::AskForRecording),
        Deed::Undo => commands.push(Command::Undo),
        Deed::Redo => commands.push(Command::Redo),
        Deed::Larger => commands.push(Command::SetLook(snapshot.look.larger(1.15))),
        Deed::Smaller => commands.push(Command::SetLook(snapshot.look.larger(1.0 / 1.15))),
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
            commands.push(Command::SetLook(Look { fold, ..look }));
        }
        Deed::CloseUp => close_up(snapshot, sight),
        Deed::StartEarlier => commands.push(Command::MoveEnd(Start, Snap::Beat, Earlier)),
        Deed::StartLater => commands.push(Command::MoveEnd(Start, Snap::Beat, Later)),
        Deed::EndEarlier => commands.push(Command::MoveEnd(Finish, Snap::Beat, Earlier)),
        Deed::EndLater => commands.push(Command::MoveEnd(Finish, Snap::Beat, Later)),
        Deed::StartEarlierSlot => commands.push(Command::MoveEnd(Start, Snap::Slot, Earlier)),
        Deed::StartLaterSlot => commands.push(Command::MoveEnd(Start, Snap::Slot, Later)),
        Deed::EndEarlierSlot => commands.push(Command::MoveEnd(Finish, Snap::Slot, Earlier)),
        Deed::EndLaterSlot => commands.push(Command::MoveEnd(Finish, Snap::Slot, Later)),
        Deed::StartHere | Deed::EndHere => end_here(deed, snapshot, commands),
        Deed::BeatBefore
        | Deed::BeatAfter
        | Deed::BarBefore
        | Deed::BarAfter
        | Deed::PageBefore
        | Deed::PageAfter
        | Deed::ToStart
        | Deed::ToEnd => commands.extend(goal(deed, snapshot, sight).map(Command::Seek)),
        Deed::BarOne => {
            let at = sight.pointed_at.unwrap_or(position);
            commands.push(Command::EditGrid(GridEdit::BarOne { at }));
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
                on_note(deed, snapshot, analysis, sight, commands);
            }
        }
    }
}

/// Turns the ladder on or off. It climbs from round to round: without a loop there are none.
fn climb(snapshot: &Snapshot, commands: &mut Vec<Command>) {
    let ladder = snapshot.practice.ladder;
    let on = !ladder.on;
    commands.push(Command::SetLadder(Ladder { on, ..ladder }));
    if on && !snapshot.practice.loop_on {
        commands.push(Command::SetLoop(true));
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
fn end_here(deed: Deed, snapshot: &Snapshot, commands: &mut Vec<Command>) {
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
        commands.extend([Command::SetRegion(Some((from, to))), Command::SetLoop(true)]);
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
    commands: &mut Vec<Command>,
) {
    let pointed = sight.pointed.filter(|_| deed == Deed::Swap);
    let pointed = pointed.and_then(|note| note.find(&analysis.notes));
    let chosen = pointed.or_else(|| sight.chosen_in(analysis));
    let position = snapshot.transport.position;
    match (deed, chosen) {
        (Deed::Add, _) => {
            let note = Note::by_hand(position, Role::Melody);
            commands.push(Command::EditNote(NoteEdit::Add { note }));
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
                Deed::Hear => commands.push(Command::hear(note)),
                Deed::Swap => {
                    let role = match note.role {
                        Role::Bass => Role::Melody,
                        Role::Melody => Role::Bass,
                    };
                    commands.push(Command::EditNote(NoteEdit::SetRole { which, role }));
                }
                Deed::Remove => {
                    commands.push(Command::EditNote(NoteEdit::Remove { which }));
                    sight.chosen = None;
                }
                Deed::SlotBefore | Deed::SlotAfter => {
                    let step = if deed == Deed::SlotAfter { 1 } else { -1 };
                    if let Some(slot) = sight.neighbour(snapshot, index, step) {
                        commands.push(Command::EditNote(NoteEdit::MeantFor { which, slot }));
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
fn tap(at: Seconds, sight: &mut Sight, commands: &mut Vec<Command>) {
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
            let edits = [*first, *second].map(|at| Command::EditGrid(GridEdit::Tap { at }));
            commands.extend(edits);
        }
        [.., last] => commands.push(Command::EditGrid(GridEdit::Tap { at: *last })),
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
