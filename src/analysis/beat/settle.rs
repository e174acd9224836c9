//! A grid known from elsewhere, settled on the notes that were played to it.

use super::{events, measure};
use crate::music::grid::{Beat, Grid};
use crate::music::note::Note;
use crate::unit::Seconds;

/// The beats of `rough` (within about an eighth of where they should be), moved to where `notes`
/// (in order of time) put them, as every measuring grid is; bars and places stay as they are.
pub fn settle_on(rough: &Grid, notes: &[Note]) -> Grid {
    let times: Vec<f64> = rough.beats().iter().map(|b| b.time.0).collect();
    let run = measure::Run::fit(&times, &events::collect(notes), &[]);
    let beats = rough
        .beats()
        .iter()
        .zip(&run.curve.beats)
        .map(|(beat, &time)| Beat {
            time: Seconds(time),
            ..*beat
        })
        .collect();
    Grid::from_parts(rough.meter, beats, rough.free_time().to_vec()).swung(rough.off_beat)
}
