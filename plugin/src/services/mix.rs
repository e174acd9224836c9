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
    /// A take's file and its round, to be heard so.
    Take(PathBuf, Box<Round>, Laid),
}

/// How a take is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Laid {
    /// The recording left, the take right.
    Beside,
    /// The take on both sides.
    Alone,
    /// A bar of the recording, a bar of the take.
    InTurn,
}

/// Fade where recording and take follow each other, seconds: short enough to keep a pluck.
const FADE: f64 = 0.004;

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
        Of::Take(path, round, how) => match read_whole(path, cancel) {
            Ok(Some(take)) => {
                let both = listen::beside(&job.sound, &take, round, go_on);
                let laid = both.map_err(|e| e.to_string());
                laid.and_then(|both| lay(&both, &job.heard, *how))
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

/// Of the recording on the left and the take on the right what is to be heard.
fn lay(both: &Recording, heard: &Analysis, how: Laid) -> Result<Recording, String> {
    let [recording, take] = both.channels() else {
        return Err("there are not two sides to choose from".to_owned());
    };
    let side = match how {
        Laid::Beside => vec![recording.clone(), take.clone()],
        Laid::Alone => vec![take.clone()],
        Laid::InTurn => vec![in_turn(recording, take, heard, both.rate())],
    };
    Recording::new(both.name(), both.rate(), side).map_err(|e| e.to_string())
}

/// Every second bar of the take, the others of the recording.
fn in_turn(recording: &[f32], take: &[f32], heard: &Analysis, rate: u32) -> Vec<f32> {
    let mut out = recording.to_vec();
    let fade = (FADE * f64::from(rate)).max(1.0);
    for bar in heard.grid.bars().iter().skip(1).step_by(2) {
        let (from, to) = (bar.start.frame(rate), bar.end.frame(rate).min(take.len()));
        for at in from..to {
            let edge = (at - from).min(to - 1 - at) as f64;
            let share = (edge / fade).min(1.0) as f32;
            out[at] += (take[at] - out[at]) * share;
        }
    }
    out
}
