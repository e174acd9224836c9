//! The onsets that the stretch engine keeps sharp: those heard, or until then its own reading.

use crate::job::Cancel;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::recording::Recording;
use thumbline::stretch::{OnsetTable, transient};

/// Where the notes that were heard begin.
pub fn of_notes(heard: &Analysis, sound: &Recording) -> Arc<OnsetTable> {
    let frames = heard.notes.iter().map(|n| n.time.frame(sound.rate()));
    Arc::new(OnsetTable::cleaned(frames.collect(), sound.frames()))
}

/// The engine's own reading; it goes through the whole sound. None where it was given up.
pub fn read(sound: &Recording, cancel: &Cancel) -> Option<Arc<OnsetTable>> {
    transient::onsets_while(sound, || !cancel.is_cancelled()).map(Arc::new)
}
