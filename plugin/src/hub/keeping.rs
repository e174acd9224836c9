//! What takes come to: each is compared with the recording, kept in the journal once, and the
//! recording's page of the journal is read for the window.
//!
//! All of it runs on the listening thread, of which a process has one: the journal has one writer.

use super::{Desk, Hub, locked};
use crate::jobs::Urgency;
use crate::snapshot::{Answer, PageView};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::{Comparison, Model, compare};
use thumbline::journal::{Journal, JournalError, Moment, Practised, Round, advice, rounds_of};
use thumbline::music::note::Note;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report;
use thumbline::timing::{self, Reference};

/// Latest rounds that a page shows.
const LATEST: usize = 40;

/// A take as it was heard, in its own time.
#[derive(Clone)]
pub(super) struct Heard {
    pub analysis: Arc<Analysis>,
    /// What the journal is to keep, where it was only just recorded.
    pub unkept: Option<Unkept>,
}

/// A take that is not in the journal yet: when it ended, and its sound.
#[derive(Clone)]
pub(super) struct Unkept {
    pub ended: Moment,
    pub sound: Arc<Recording>,
}

/// A take that waits for its answer.
struct Waiting {
    path: PathBuf,
    heard: Heard,
}

/// A take's notes, in its own time, against what is heard in the recording.
pub(super) fn against(model: &Analysis, take: &[Note]) -> Comparison {
    let measured = timing::measure(&model.notes, &model.grid, Reference::default());
    compare(
        Model {
            notes: &model.notes,
            grid: &model.grid,
            drifts: &measured.notes,
        },
        take,
    )
}

impl Hub {
    /// Compares every take that was heard with what is heard in the recording now.
    pub(super) fn answer_takes(&self) {
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sight, move || {
            hub.upgrade().is_some_and(|hub| hub.answer_next())
        });
    }

    /// One take's answer; is there another to come?
    fn answer_next(&self) -> bool {
        let (model, next) = {
            let desk = locked(&self.desk);
            let Some(model) = desk.analysis.ready().cloned() else {
                return false;
            };
            let next = desk.unanswered(&model);
            (model, next)
        };
        let Some(waiting) = next else {
            return false;
        };
        let found = against(&model, &waiting.heard.analysis.notes);
        let mut desk = locked(&self.desk);
        let rounds = desk.practised(&waiting.heard, &model, &found);
        let known = desk.takes.iter_mut().find(|t| t.take.path == waiting.path);
        if let Some(take) = known {
            take.answer = Some(Arc::new(Answer {
                words: report::compare::sentences(&found),
                found,
                to: model,
            }));
            if let Some(heard) = &mut take.heard {
                heard.unkept = None;
            }
        }
        drop(desk);
        if let Some(unkept) = waiting.heard.unkept.filter(|_| !rounds.is_empty()) {
            let journal = Journal::usual_place().and_then(|file| Journal::open(&file));
            let kept = journal.and_then(|mut j| j.keep_with_sound(&unkept.sound, rounds));
            let said = match kept {
                Ok(kept) => kept.soundless.map(|why| {
                    format!("The take's figures are in the journal, its sound is not: {why}")
                }),
                Err(error) => Some(format!("Not in the journal: {error}")),
            };
            if let Some(said) = said {
                locked(&self.desk).notice(said, true);
            }
            self.read_page();
        }
        true
    }

    /// Reads the recording's page of the journal again.
    pub(super) fn read_page(&self) {
        let hub = self.me.clone();
        self.crew.listen(Urgency::Sight, move || {
            let Some(hub) = hub.upgrade() else {
                return false;
            };
            let Some(hash) = locked(&hub.desk).hash else {
                return false;
            };
            let page = read(hash).unwrap_or_else(|error| PageView {
                fault: Some(error.to_string()),
                ..PageView::default()
            });
            let mut desk = locked(&hub.desk);
            if desk.hash == Some(hash) {
                desk.page = Arc::new(page);
            }
            false
        });
    }
}

/// The page of a recording; an empty one where there is no journal yet (none is made to look).
fn read(hash: ContentHash) -> Result<PageView, JournalError> {
    let file = Journal::usual_place()?;
    if !file.is_file() {
        return Ok(PageView::default());
    }
    let journal = Journal::open(&file)?;
    let next = advice::suggest(&journal, Moment::now())?;
    Ok(PageView {
        sessions: journal.progress(hash)?,
        rounds: journal.rounds(Some(hash), LATEST, 0)?,
        next: next.iter().map(advice::Suggestion::words).collect(),
        fault: None,
    })
}

impl Desk {
    /// A take whose answer is missing, or speaks of another reading of the recording.
    fn unanswered(&self, model: &Arc<Analysis>) -> Option<Waiting> {
        self.takes.iter().find_map(|t| {
            let answered = t.answer.as_ref().is_some_and(|a| Arc::ptr_eq(&a.to, model));
            let heard = t.heard.clone().filter(|_| !answered)?;
            Some(Waiting {
                path: t.take.path.clone(),
                heard,
            })
        })
    }

    /// The rounds of a take that is new to the journal.
    fn practised(&mut self, heard: &Heard, model: &Analysis, found: &Comparison) -> Vec<Round> {
        let (Some(recording), Some(unkept)) = (self.hash, &heard.unkept) else {
            return Vec::new();
        };
        let name = self.recording_view().name().unwrap_or_default().to_owned();
        let tuning = self.marks(|m| m.tuning.as_ref().map(ToString::to_string));
        rounds_of(
            found,
            &Practised {
                recording,
                name: &name,
                grid: &model.grid,
                tuning: tuning.as_deref(),
                at: unkept.ended,
                note: "",
            },
        )
    }
}
