//! What a slot of the bar is called, and where it stands inside its beat.

use crate::timing::{Drift, Slot};

/// What a player calls a slot: `beat 2`, `the and of 2`.
pub fn name(slot: Slot) -> String {
    let beat = slot.beat;
    match (slot.part, slot.parts) {
        (0, _) => format!("beat {beat}"),
        (1, 4) => format!("the e of {beat}"),
        (3, 4) => format!("the a of {beat}"),
        (part, parts) if 2 * u16::from(part) == u16::from(parts) => format!("the and of {beat}"),
        (part, 3) => format!("triplet {} of {beat}", u16::from(part) + 1),
        (part, parts) => format!("part {} of {parts} of beat {beat}", u16::from(part) + 1),
    }
}

/// Share of the beat that lies before part `part` of `parts`: even, but for the off-beat of two
/// parts, which stands where it was measured from.
pub(super) fn share(drift: &Drift, part: u8, parts: u8) -> f64 {
    match (part, parts) {
        (1, 2) => drift.off_beat(),
        _ => f64::from(part) / f64::from(parts.max(1)),
    }
}
