//! The ends of the loop under a hand, on the sheet and on the overview alike.

use super::keys::Deed;
use super::sight::Sight;
use crate::snapshot::{End, PracticeView};
use crate::wish::Wish;
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

/// An end of the loop under the hand: shown where it is, wished for when it is let go.
pub fn drag(
    handle: &egui::Response,
    end: End,
    under: Option<Seconds>,
    region: (Seconds, Seconds),
    sight: &mut Sight,
    wishes: &mut Vec<Wish>,
) {
    if handle.dragged()
        && let Some(at) = under
    {
        sight.dragged = Some((end, at));
    }
    if handle.drag_stopped()
        && let Some((end, at)) = sight.dragged.take()
    {
        // Across the other end it becomes that one.
        let (from, to) = match end {
            End::Start => (at, region.1),
            End::Finish => (region.0, at),
        };
        let ends = if from < to { (from, to) } else { (to, from) };
        wishes.push(Wish::SetRegion(Some(ends)));
    }
}
