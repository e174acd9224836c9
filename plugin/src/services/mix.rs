//! Mixing: one hand held back, or a take beside the recording, as another sound on the recording's
//! own timeline.

use super::decode::read_whole;
use crate::job::Cancel;
use crate::onsets;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::{Round, listen};
use thumbline::recording::Recording;
use thumbline::separate::{Balance, SeparateError, balanced};
use thumbline::stretch::OnsetTable;

/// What is to be made of a recording.
#[derive(Debug, Clone)]
pub struct Job {
    /// The recording, at the host's rate.
    pub sound: Arc<Recording>,
    /// What was heard in it.
    pub heard: Arc<Analysis>,
    /// What it is made from.
    pub of: Of,
}

/// What a mix is made from.
#[derive(Debug, Clone)]
pub enum Of {
    /// Thumb against fingers, −1 to 1.
    Balance(f64),
    /// A take's file and its round, to be heard on the right.
    Beside(PathBuf, Box<Round>),
}

/// What comes of it: as long as the recording, at its rate, with the onsets to keep sharp; or why
/// not.
pub type Answer = Result<(Arc<Recording>, Arc<OnsetTable>), String>;

/// Does a job in one go; says nothing when it was given up.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    let go_on = || !cancel.is_cancelled();
    let made = match &job.of {
        Of::Balance(dial) => {
            match balanced(&job.sound, &job.heard.notes, Balance::at(*dial), go_on) {
                Ok(made) => Ok(made),
                Err(SeparateError::Cancelled) => return,
                Err(why) => Err(why.to_string()),
            }
        }
        Of::Beside(path, round) => match read_whole(path, cancel) {
            Ok(Some(take)) => {
                listen::beside(&job.sound, &take, round, go_on).map_err(|e| e.to_string())
            }
            Ok(None) => return,
            Err(error) => Err(error.to_string()),
        },
    };
    if cancel.is_cancelled() {
        return;
    }
    say(made.map(|sound| {
        let onsets = onsets::of_notes(&job.heard, &sound);
        (Arc::new(sound), onsets)
    }));
}
