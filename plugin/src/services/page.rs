//! The lesson page of some bars, written where the player said.

use crate::job::Cancel;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::preset::Presets;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report::file::Target;
use thumbline::report::lesson::{self, Lesson, LessonError, Phrase, Settings};
use thumbline::timing::{self, Reference};

/// A page to be made.
#[derive(Debug, Clone)]
pub struct Job {
    /// The recording, at any rate.
    pub sound: Arc<Recording>,
    /// What was heard in it, as corrected.
    pub heard: Arc<Analysis>,
    /// Identity of the recording as its file has it.
    pub hash: Option<ContentHash>,
    /// Name of its file.
    pub name: String,
    /// First and last bar.
    pub bars: (i32, i32),
    /// Where the page goes.
    pub to: PathBuf,
}

/// Where the page lies, or why it does not.
pub type Answer = Result<PathBuf, String>;

/// Does a job in one go; says nothing when it was given up.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    let heard = &job.heard;
    let drift = timing::measure(&heard.notes, &heard.grid, Reference::OwnTempo);
    let title = job
        .name
        .rsplit_once('.')
        .map_or(&*job.name, |(stem, _)| stem);
    let settings = Settings {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        recording: job.name.clone(),
        hash: job.hash.map(|h| h.to_string()).unwrap_or_default(),
        bars: job.bars,
        speeds: lesson::SPEEDS.to_vec(),
        title: title.to_owned(),
        ..Settings::default()
    };
    let lesson = Lesson {
        settings: &settings,
        phrase: Phrase {
            recording: &job.sound,
            heard,
            drift: &drift,
            bars: job.bars,
            take: None,
        },
        tuning_name: Presets::built_in().tuning_name(&heard.tuning),
        practice: lesson::pattern_alone(heard).into_iter().collect(),
        grips: Vec::new(),
    };
    let page = match lesson::page(&lesson, &|| !cancel.is_cancelled()) {
        Ok(page) => page,
        Err(LessonError::Cancelled) => return,
        Err(why) => return say(Err(why.to_string())),
    };
    let target = Target::of(&job.to);
    let written = target.write(|out| out.write_all(page.as_bytes()));
    say(written.map(|()| job.to.clone()).map_err(|e| e.to_string()));
}
