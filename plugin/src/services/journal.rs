//! The journal: takes are kept in it, a recording's page is read from it. A process has one such
//! thread, so the journal has one writer here.

use crate::data::write_whole;
use crate::session::Session;
use crate::snapshot::PageView;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};
use thumbline::journal::{Journal, JournalError, Moment, PracticeRound, advice};
use thumbline::recording::{ContentHash, Recording};

/// Latest rounds that a page shows.
const LATEST: usize = 40;

/// How long a take waits for another program that holds the journal.
const PATIENCE: Duration = Duration::from_mins(1);

/// What can be asked.
#[derive(Debug, Clone)]
pub enum Job {
    /// Keep a take's rounds and its sound.
    Keep {
        /// The rounds.
        rounds: Vec<PracticeRound>,
        /// The take.
        sound: Arc<Recording>,
        /// The take's file, to know it by.
        take: PathBuf,
    },
    /// Read a recording's page.
    Read(ContentHash),
    /// Write the program's own settings.
    Settings(Box<Settings>),
}

/// What the program of its own keeps.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The file.
    pub file: PathBuf,
    /// The session.
    pub session: Session,
    /// The parameters by their ids.
    pub dials: Value,
}

impl Settings {
    /// Writes them, whole or not at all.
    ///
    /// # Errors
    /// Why they could not be written.
    pub fn write(&self) -> Result<(), String> {
        let all = json!({ "session": self.session.to_value(), "dials": self.dials });
        let text = serde_json::to_vec_pretty(&all).map_err(|e| e.to_string())?;
        write_whole(&self.file, &text).map_err(|e| e.to_string())
    }
}

/// What comes of it.
#[derive(Debug, Clone)]
pub enum Answer {
    /// A take is kept; what is to be said about it.
    Kept {
        /// The take's file.
        take: PathBuf,
        /// What went wrong, in a sentence.
        fault: Option<String>,
    },
    /// A page.
    Page(ContentHash, Arc<PageView>),
    /// The settings could not be written: why.
    NoSettings(String),
}

/// Does a job that was `begun` then in one go; true where another program holds the journal and it is
/// to be tried again. It is not given up halfway: what it keeps is whole or not there.
pub fn run(job: &Job, begun: Instant, say: &mut dyn FnMut(Answer)) -> bool {
    match job {
        Job::Keep {
            rounds,
            sound,
            take,
        } => {
            let journal = Journal::usual_place().and_then(|file| Journal::open(&file));
            let kept = journal.and_then(|mut j| j.keep_with_sound(sound, rounds.clone()));
            let fault = match kept {
                Err(JournalError::Busy(_)) if begun.elapsed() < PATIENCE => return true,
                Ok(kept) => kept.soundless.map(|why| {
                    format!("The take's figures are in the journal, its sound is not: {why}")
                }),
                Err(error) => Some(format!("Not in the journal: {error}")),
            };
            say(Answer::Kept {
                take: take.clone(),
                fault,
            });
        }
        Job::Read(recording) => {
            let page = read(*recording).unwrap_or_else(|error| PageView {
                fault: Some(error.to_string()),
                ..PageView::default()
            });
            say(Answer::Page(*recording, Arc::new(page)));
        }
        Job::Settings(settings) => {
            if let Err(why) = settings.write() {
                say(Answer::NoSettings(why));
            }
        }
    }
    false
}

/// The page of a recording; an empty one where there is no journal yet (none is made to look).
fn read(recording: ContentHash) -> Result<PageView, JournalError> {
    let file = Journal::usual_place()?;
    if !file.is_file() {
        return Ok(PageView::default());
    }
    let journal = Journal::open(&file)?;
    let next = advice::suggest(&journal, Moment::now())?;
    Ok(PageView {
        sessions: journal.progress(recording)?,
        rounds: journal.rounds(Some(recording), LATEST, 0)?,
        next: next.iter().map(advice::Suggestion::words).collect(),
        fault: None,
    })
}
