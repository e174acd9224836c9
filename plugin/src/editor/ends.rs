//! The ends of the loop under a hand, on the sheet and on the overview alike.

use super::keys::Deed;
use super::sight::Sight;
use crate::command::Command;
use crate::snapshot::{End, PracticeView};
use egui::{Pos2, Response};
use thumbline::unit::Seconds;

/// The loop's ends, the one under the hand where it has come to.
pub fn looped(practice: &PracticeView, sight: &Sight) -> Option<(Seconds, Seconds)> {
    let region = practice.region.as_ref().map(|r| (r.from, r.to))?;
    Some(match sight.dragged {
        Some((End::Start, at)) => ordered((at, region.1)),
        Some((End::Finish, at)) => ordered((region.0, at)),
        None => region,
    })
}

/// Two places in order of time.
pub fn ordered((a, b): (Seconds, Seconds)) -> (Seconds, Seconds) {
    if a < b { (a, b) } else { (b, a) }
}

/// What an end is called, and the deed that moves it by a beat.
pub fn told(end: End) -> (&'static str, Deed) {
    match end {
        End::Start => ("Start of the loop", Deed::StartLater),
        End::Finish => ("End of the loop", Deed::EndLater),
    }
}

/// An end of the loop under the hand: shown where it is, sent when it is let go. A quick hand has
/// left the handle before the first frame: then the `page` under it has the drag.
pub fn drag(
    (handle, page): (&Response, &Response),
    end: End,
    under: impl Fn(Pos2) -> Option<Seconds>,
    region: (Seconds, Seconds),
    sight: &mut Sight,
    commands: &mut Vec<Command>,
) {
    let pressed = page.ctx.input(|i| i.pointer.press_origin());
    let begun = page.drag_started() && pressed.is_some_and(|at| handle.rect.contains(at));
    if begun {
        sight.loop_from = None;
    }
    let slipped = begun || sight.dragged.is_some_and(|(which, _)| which == end);
    let page = Some(page).filter(|_| slipped && !handle.dragged() && !handle.drag_stopped());
    let held = page.unwrap_or(handle);
    if held.dragged()
        && let Some(at) = held.interact_pointer_pos().and_then(under)
    {
        sight.dragged = Some((end, at));
    }
    if held.drag_stopped()
        && let Some((end, at)) = sight.dragged.take()
    {
        // Across the other end it becomes that one.
        let (from, to) = match end {
            End::Start => (at, region.1),
            End::Finish => (region.0, at),
        };
        let ends = if from < to { (from, to) } else { (to, from) };
        commands.push(Command::SetRegion(Some(ends)));
    }
}
