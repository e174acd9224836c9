//! The one list of keys: tooltips, the help page and the reader of keys go by it.

use egui::{Key, Modifiers};

/// Something a key does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// Open a recording.
    Open,
    /// Run or stop.
    Play,
    /// Loop on or off.
    Loop,
    /// Loop the bar that the sound is in.
    LoopBar,
    /// Loop the next of the kept loops.
    NextKept,
    /// The ladder on or off.
    Ladder,
    /// Slower by 5 %.
    Slower,
    /// Faster by 5 %.
    Faster,
    /// Click on or off.
    Click,
    /// Record a take, or stop.
    Take,
    /// Lay a file over the recording as a take.
    LoadTake,
    /// Hear the take alone, with the recording, in turn; or the recording again.
    HearTake,
    /// The tuning and the capo, to be typed or chosen.
    Tuning,
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
pub const KEYS: [(Deed, Modifiers, Key, &str); 59] = [
    (Deed::Open, Modifiers::COMMAND, Key::O, "Open a recording"),
    (Deed::Play, Modifiers::NONE, Key::Space, "Play or stop"),
    (Deed::Play, Modifiers::NONE, Key::P, "Play or stop as well"),
    (Deed::Loop, Modifiers::NONE, Key::L, "Loop on or off"),
    (
        Deed::LoopBar,
        Modifiers::NONE,
        Key::M,
        "Loop the bar that the sound is in",
    ),
    (
        Deed::NextKept,
        Modifiers::NONE,
        Key::J,
        "Loop the next of the kept loops",
    ),
    (Deed::Ladder, Modifiers::NONE, Key::I, "Ladder on or off"),
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
        Deed::LoadTake,
        Modifiers::COMMAND,
        Key::T,
        "Load a file as a take",
    ),
    (
        Deed::HearTake,
        Modifiers::NONE,
        Key::W,
        "Hear the take alone, with the recording, in turn, or not",
    ),
    (
        Deed::Tuning,
        Modifiers::NONE,
        Key::N,
        "Tuning and capo, to be typed or chosen",
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
        Key::Questionmark,
        "What the page in view is about",
    ),
    (
        Deed::Help,
        Modifiers::NONE,
        Key::F1,
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
