//! Masked partials: they ring on, but something louder hides their peak.
//!
//! Next to an onset a window is short on one side, and what is loud leaks over what is soft: a
//! string that rang evenly before has no peak there for some frames, and its bins would turn with
//! a neighbour's. Where the spectrum at its bin still has the level that it had, its peak is kept.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::continuation::MOST_GROWTH;
use super::peaks::Peak;
use super::spectra::Spectra;

/// Bins from a partial within which a peak is its own.
const OWN: u32 = 2;
/// The level at its bin may have fallen to this factor of amplitude.
const LEAST_REST: f64 = 0.4;

/// Adds to the peaks of `new` the even ones of `old` that show none. `spare` is working space.
#[allow(clippy::disallowed_methods, reason = "room was made for all of it")]
pub(super) fn keep(new: &mut Spectra, old: &Spectra, spare: &mut Vec<Peak>) {
    spare.clear();
    let mut kept = false;
    let mut rest = new.peaks.all();
    for from in old.peaks.all().iter().filter(|p| p.is_even()) {
        let before = rest.partition_point(|p| p.bin + OWN < from.bin);
        spare.extend_from_slice(&rest[..before]);
        rest = &rest[before..];
        let own = rest.first().is_some_and(|p| p.bin <= from.bin + OWN);
        let k = from.bin as usize;
        let ratio = new.level(k) / old.level(k).max(1e-30);
        let room = spare.capacity() > spare.len() + rest.len() + 1;
        if own || !room || !(LEAST_REST..=MOST_GROWTH).contains(&ratio) {
            continue;
        }
        spare.push(Peak { end: 0, ..*from });
        kept = true;
    }
    if !kept {
        return;
    }
    spare.extend_from_slice(rest);
    // The bins between a kept peak and the next one are shared half and half.
    for i in 1..spare.len() {
        let (bin, end) = (spare[i].bin, spare[i].end);
        let before = &mut spare[i - 1];
        if end == 0 || before.end == 0 || before.end > bin {
            before.end = (before.bin + bin).div_ceil(2);
        }
    }
    let bins = new.bins[0].len() as u32;
    if let Some(last) = spare.last_mut() {
        last.end = bins;
    }
    new.peaks.swap(spare);
}
