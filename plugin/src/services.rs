//! The services: each owns its data, does jobs that have a number and a token to cancel them by, and
//! answers; none knows who asked.

pub mod analyse;
pub mod ask;
pub mod cache;
pub mod decode;
pub mod drill;
pub mod export;
pub mod folder;
pub mod journal;
pub mod mix;
pub mod page;
pub mod sound;
pub mod study;
pub mod take_file;
pub mod take_writer;

use crate::job::{Cancel, Urgency};
use std::time::Instant;

/// A job for one of the services that have a queue.
#[derive(Debug, Clone)]
pub enum Job {
    /// Reading.
    Decode(decode::Job),
    /// Listening.
    Analyse(analyse::Job),
    /// Mixing.
    Mix(mix::Job),
    /// The journal.
    Journal(journal::Job),
    /// A lesson page.
    Page(page::Job),
    /// A folder.
    Folder(folder::Job),
    /// A question of a page.
    Study(study::Job),
    /// A sound beside the recording.
    Sound(sound::Job),
    /// A drill as a recording.
    Drill(Box<drill::Job>),
    /// A file for another program.
    Export(export::Job),
}

/// What a service says about a job.
#[derive(Debug, Clone)]
pub enum Said {
    /// Reading.
    Decode(decode::Answer),
    /// Listening.
    Analyse(analyse::Answer),
    /// Mixing.
    Mix(mix::Answer),
    /// The journal.
    Journal(journal::Answer),
    /// A lesson page.
    Page(page::Answer),
    /// A folder.
    Folder(folder::Answer),
    /// A question of a page.
    Study(study::Answer),
    /// A sound beside the recording.
    Sound(sound::Answer),
    /// A drill as a recording.
    Drill(drill::Answer),
    /// A file for another program.
    Export(export::Answer),
    /// Recording.
    TakeWriter(take_writer::Answer),
    /// The job met a fault inside the program and was given up.
    Broke(String),
}

/// The queues; each has a thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lane {
    /// Reading.
    Decode,
    /// Listening.
    Analyse,
    /// Mixing.
    Mix,
    /// The journal.
    Journal,
    /// Lesson pages and drills.
    Page,
    /// Questions of the pages, and sounds beside the recording.
    Study,
}

impl Lane {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Decode,
        Self::Analyse,
        Self::Mix,
        Self::Journal,
        Self::Page,
        Self::Study,
    ];

    /// Name of its thread.
    pub fn name(self) -> &'static str {
        match self {
            Self::Decode => "thumbline reads",
            Self::Analyse => "thumbline listens",
            Self::Mix => "thumbline mixes",
            Self::Journal => "thumbline writes",
            Self::Page => "thumbline teaches",
            Self::Study => "thumbline studies",
        }
    }
}

/// One step of a job; true while there are more.
pub type Work = Box<dyn FnMut(&Cancel, &mut dyn FnMut(Said)) -> bool + Send>;

impl Job {
    /// Who does it.
    pub fn lane(&self) -> Lane {
        match self {
            Self::Decode(_) => Lane::Decode,
            Self::Analyse(_) => Lane::Analyse,
            Self::Mix(_) => Lane::Mix,
            Self::Journal(_) => Lane::Journal,
            Self::Page(_) | Self::Folder(_) | Self::Drill(_) | Self::Export(_) => Lane::Page,
            Self::Study(_) | Self::Sound(_) => Lane::Study,
        }
    }

    /// How urgent it is.
    pub fn urgency(&self) -> Urgency {
        match self {
            Self::Analyse(analyse::Job::Correct { .. } | analyse::Job::Judge(_))
            | Self::Decode(_)
            | Self::Mix(_)
            | Self::Sound(_)
            | Self::Drill(_) => Urgency::Sound,
            Self::Analyse(_)
            | Self::Journal(_)
            | Self::Page(_)
            | Self::Folder(_)
            | Self::Export(_)
            | Self::Study(_) => Urgency::Sight,
        }
    }

    /// The steps that do it.
    pub fn work(self) -> Work {
        match self {
            Self::Decode(job) => {
                let mut reader = decode::Reader::new(job);
                Box::new(move |cancel, say| reader.step(cancel, &mut |a| say(Said::Decode(a))))
            }
            Self::Analyse(job) => Box::new(move |cancel, say| {
                analyse::run(&job, cancel, &mut |a| say(Said::Analyse(a)));
                false
            }),
            Self::Mix(job) => Box::new(move |cancel, say| {
                mix::run(&job, cancel, &mut |a| say(Said::Mix(a)));
                false
            }),
            Self::Page(job) => Box::new(move |cancel, say| {
                page::run(&job, cancel, &mut |a| say(Said::Page(a)));
                false
            }),
            Self::Folder(job) => Box::new(move |_, say| {
                folder::run(&job, &mut |a| say(Said::Folder(a)));
                false
            }),
            Self::Export(job) => Box::new(move |cancel, say| {
                export::run(&job, cancel, &mut |a| say(Said::Export(a)));
                false
            }),
            Self::Drill(job) => Box::new(move |cancel, say| {
                drill::run(&job, cancel, &mut |a| say(Said::Drill(a)));
                false
            }),
            Self::Study(job) => Box::new(move |_, say| {
                study::run(&job, &mut |a| say(Said::Study(a)));
                false
            }),
            Self::Sound(job) => Box::new(move |_, say| {
                sound::run(&job, &mut |a| say(Said::Sound(a)));
                false
            }),
            Self::Journal(job) => {
                let mut begun = None;
                Box::new(move |_, say| {
                    let begun = *begun.get_or_insert_with(Instant::now);
                    journal::run(&job, begun, &mut |a| say(Said::Journal(a)))
                })
            }
        }
    }
}
