//! The lesson page of some bars, written where the player said.

use super::study::{self, NeckQuestion};
use crate::job::Cancel;
use crate::page_state::{LessonPage, NeckPage};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::journal::{Journal, JournalError, Moment, advice};
use thumbline::music::drill::Technique;
use thumbline::music::progression;
use thumbline::preset::Presets;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report::file::Target;
use thumbline::report::lesson::{
    self, Asked, Drilled, Lesson, LessonError, Phrase, PlanDay, Settings,
};
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
    /// What it holds besides.
    pub besides: LessonPage,
    /// The neck's page, whose scale and chords may be among that.
    pub neck: NeckPage,
    /// Scales and tunings by name.
    pub presets: Arc<Presets>,
    /// Where the page goes.
    pub to: PathBuf,
}

/// Where the page lies, or why it does not.
pub type Answer = Result<PathBuf, String>;

/// Does a job in one go; says nothing when it was given up.
pub fn run(job: &Job, cancel: &Cancel, say: &mut dyn FnMut(Answer)) {
    match made(job, cancel) {
        Ok(Some(page)) => {
            let target = Target::of(&job.to);
            let written = target.write(|out| out.write_all(page.as_bytes()));
            say(written.map(|()| job.to.clone()).map_err(|e| e.to_string()));
        }
        Ok(None) => {}
        Err(why) => say(Err(why)),
    }
}

/// The page; none where it was given up.
fn made(job: &Job, cancel: &Cancel) -> Result<Option<String>, String> {
    let heard = &job.heard;
    let asked = asked(job)?;
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
        drill: job.besides.steps.then(|| "found".to_owned()),
        scale: asked.scale.as_ref().map(|s| s.name.clone()),
        chords: asked.chords.iter().map(|h| h.chord.name.clone()).collect(),
        techniques: asked.technique_names(),
        harmonics: asked.harmonics,
        plan: job.besides.plan,
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
        tuning_name: job.presets.tuning_name(&heard.tuning),
        practice: lesson::practice(heard, &asked).map_err(|e| e.to_string())?,
        week: week(job)?,
        chords: asked.chords,
    };
    match lesson::page(&lesson, &|| !cancel.is_cancelled()) {
        Ok(page) => Ok(Some(page)),
        Err(LessonError::Cancelled) => Ok(None),
        Err(why) => Err(why.to_string()),
    }
}

/// What is practised besides the bars: the neck's scale and chords in the recording's tuning.
fn asked(job: &Job) -> Result<Asked, String> {
    let besides = job.besides;
    let mut asked = Asked {
        drill: besides.steps.then_some(Drilled::Found),
        harmonics: besides.harmonics,
        ..Asked::default()
    };
    if besides.scale || besides.chords || besides.techniques {
        let page = NeckPage {
            tuning: None,
            capo: None,
            ..job.neck.clone()
        };
        let neck = study::neck(&study::Asked {
            page: NeckQuestion { page, melody: None },
            heard: Some(Arc::clone(&job.heard)),
            presets: Arc::clone(&job.presets),
        })?;
        if besides.chords {
            let names: Vec<&str> = neck.chords.iter().map(|(c, _)| c.name.as_str()).collect();
            let held = progression::named(&names.join(" "), &job.heard.tuning);
            asked.chords = held.map_err(|e| e.to_string())?;
        }
        let scale = neck.neck.scale;
        if besides.techniques {
            let on = |technique| (technique, scale.clone());
            asked.techniques = Technique::ALL.map(on).into();
        }
        asked.scale = besides.scale.then_some(scale);
    }
    Ok(asked)
}

/// What the journal plans for the next days with this recording.
fn week(job: &Job) -> Result<Vec<PlanDay>, String> {
    let Some(hash) = job.hash.filter(|_| job.besides.plan) else {
        return Ok(Vec::new());
    };
    let read = || -> Result<Vec<PlanDay>, JournalError> {
        let journal = Journal::open(&Journal::usual_place()?)?;
        let week = advice::week(&journal, Some(hash), Moment::now())?;
        let days = week.into_iter().map(|day| PlanDay {
            date: day.at.date(),
            tasks: day.tasks,
            minutes: day.minutes,
        });
        Ok(days.collect())
    };
    read().map_err(|e| e.to_string())
}
