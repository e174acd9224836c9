//! The services: each owns its data, does jobs that have a number and a token to cancel them by, and
//! answers; none knows who asked.

pub mod analyse;
pub mod ask;
pub mod decode;
pub mod folder;
pub mod journal;
pub mod mix;
pub mod page;
pub mod reel;
pub mod shelf;
pub mod tape;

use crate::job::{Cancel, Urgency};

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
    /// Recording.
    Tape(tape::Answer),
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
    /// Lesson pages.
    Page,
}

impl Lane {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Decode,
        Self::Analyse,
        Self::Mix,
        Self::Journal,
        Self::Page,
    ];

    /// Name of its thread.
    pub fn name(self) -> &'static str {
        match self {
            Self::Decode => "thumbline reads",
            Self::Analyse => "thumbline listens",
            Self::Mix => "thumbline mixes",
            Self::Journal => "thumbline writes",
            Self::Page => "thumbline teaches",
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
            Self::Page(_) | Self::Folder(_) => Lane::Page,
        }
    }

    /// How urgent it is.
    pub fn urgency(&self) -> Urgency {
        match self {
            Self::Analyse(analyse::Job::Correct { .. } | analyse::Job::Judge(_))
            | Self::Decode(_)
            | Self::Mix(_) => Urgency::Sound,
            Self::Analyse(_) | Self::Journal(_) | Self::Page(_) | Self::Folder(_) => Urgency::Sight,
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
            Self::Journal(job) => Box::new(move |_, say| {
                journal::run(&job, &mut |a| say(Said::Journal(a)));
                false
            }),
        }
    }
}
