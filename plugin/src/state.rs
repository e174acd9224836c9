//! One instance as plain data: what is kept, what is open, what was heard, what is recorded. Only
//! [`update`](crate::update::update) changes it.

use crate::control::Control;
use crate::data::name_of;
use crate::job::JobId;
use crate::page_state::{DrillsPage, PageState, PatternPage, TuningsPage};
use crate::practice::SetUp;
use crate::services::decode::Part;
use crate::services::study::{
    Asked, DrillsView, NeckQuestion, NeckView, OfMelody, OffBeatView, PatternView, TuningsView,
};
use crate::session::{Marks, Session, TakeRef};
use crate::snapshot::{
    About, AlongView, AnalysisView, Answer, CaptureSource, ClickRate, DialsView, FolderView, Hear,
    Notice, PageView, Peaks,
};
use crate::sound::SoundView;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::deck;
use thumbline::journal::Moment;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::recording::{ContentHash, Recording};
use thumbline::report::lesson;
use thumbline::stretch::OnsetTable;
use thumbline::unit::{MidiNote, Seconds, Span};

/// Most notices kept.
const NOTICES: usize = 20;

/// One instance.
#[derive(Debug, Clone, Default)]
pub struct State {
    /// Rises whenever anything that a window shows has changed.
    pub revision: u64,
    /// Rises with it, but not where only time and levels went on: those are painted at their own pace.
    pub news: u64,
    /// What is kept.
    pub session: Session,
    /// Frames a second that the host runs at; 0 before the first activation.
    pub rate: u32,
    /// What the host can automate.
    pub dials: DialsView,
    /// Is the plug-in bypassed?
    pub bypassed: bool,
    /// Is the loop on?
    pub loop_on: bool,
    /// What is being learnt.
    pub learning: Option<Control>,
    /// What the audio thread does; none before the first activation.
    pub sounding: Option<deck::State>,
    /// Do messages still wait for the audio thread?
    pub waiting: bool,
    /// The recording.
    pub open: Opened,
    /// What was heard in it.
    pub hearing: Hearing,
    /// What is made of it to be heard.
    pub mix: Mix,
    /// The stretch that is heard once, while it is.
    pub once: Option<Once>,
    /// Takes of the recording.
    pub takes: Vec<Take>,
    /// The journal's page of the recording.
    pub page: Arc<PageView>,
    /// What is being recorded.
    pub capture: Capture,
    /// What the pages ask.
    pub study: Study,
    /// What sounds beside the recording.
    pub beside: Option<Beside>,
    /// Sentences for the player.
    pub notices: VecDeque<Notice>,
    /// A folder that is looked through.
    pub folder: Option<Arc<FolderView>>,
    /// Practice set-ups.
    pub set_ups: Arc<[SetUp]>,
    /// The program of its own, where this is one.
    pub program: Option<Program>,
    /// Is the window open?
    pub window: bool,
    last_notice: u64,
    last_job: u64,
}

/// What is open.
#[derive(Debug, Clone, Default)]
pub struct Opened {
    /// How far it has come.
    pub stage: Stage,
    /// Why it was opened.
    pub why: Why,
    /// The job that reads it.
    pub job: Option<JobId>,
    /// The job that looks for it, writes the demo or reads it once more.
    pub errand: Option<JobId>,
    /// Has the audio thread got the first part of it?
    pub begun: bool,
    /// As much of it as there is, at the host's rate.
    pub part: Option<Part>,
    /// All of it at its own rate, while it is analysed.
    pub original: Option<Arc<Recording>>,
    /// Identity of its sound.
    pub hash: Option<ContentHash>,
    /// Marks made before its identity was known.
    pub pending: Marks,
}

/// How far the recording has come.
#[derive(Debug, Clone, Default)]
pub enum Stage {
    /// Nothing is open.
    #[default]
    Empty,
    /// It is read, or waits for the host to tell its rate.
    Loading {
        /// Where it lies.
        path: PathBuf,
        /// Share read.
        progress: Option<f32>,
    },
    /// It is whole.
    Ready(PathBuf),
    /// It is not where it was.
    Missing {
        /// The name it had.
        name: String,
        /// Where it was.
        path: PathBuf,
        /// Identity of its sound.
        hash: Option<ContentHash>,
    },
    /// It could not be opened.
    Failed {
        /// Its name.
        name: String,
        /// One plain sentence.
        reason: String,
    },
}

impl Stage {
    /// The recording's name, where there is one.
    pub fn name(&self) -> Option<String> {
        match self {
            Self::Empty => None,
            Self::Loading { path, .. } | Self::Ready(path) => Some(name_of(path)),
            Self::Missing { name, .. } | Self::Failed { name, .. } => Some(name.clone()),
        }
    }
}

/// Why a file is opened.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Why {
    /// The player chose it: from the start.
    #[default]
    Chosen,
    /// The saved state names it: to its place.
    Restored,
    /// The host changed its rate: go on as before.
    Refitted,
}

/// What was heard in the recording.
#[derive(Debug, Clone)]
pub struct Hearing {
    /// The job that listens.
    pub job: Option<JobId>,
    /// The job that applies corrections.
    pub correcting: Option<JobId>,
    /// As it was heard, without corrections.
    pub heard: Option<Arc<Analysis>>,
    /// With them, or as far as it has come.
    pub view: AnalysisView,
    /// Slots the player named: index of the note, the slot's instant.
    pub pins: Arc<[(usize, Seconds)]>,
    /// How the off-beats swing.
    pub swing: f64,
}

impl Default for Hearing {
    fn default() -> Self {
        Self {
            job: None,
            correcting: None,
            heard: None,
            view: AnalysisView::None,
            pins: Arc::from([]),
            swing: 0.5,
        }
    }
}

/// What is heard of the recording.
#[derive(Debug, Clone, Default)]
pub struct Mix {
    /// What the player asked for.
    pub hear: Hear,
    /// The job that makes it.
    pub job: Option<JobId>,
    /// What was made, and for what.
    pub made: Option<Mixed>,
}

/// Another sound in the recording's place.
#[derive(Debug, Clone)]
pub struct Mixed {
    /// What was asked for.
    pub hear: Hear,
    /// As long as the recording, at its rate.
    pub sound: Arc<Recording>,
    /// Where the stretch engine keeps it sharp.
    pub onsets: Arc<OnsetTable>,
}

/// A stretch that is heard once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Once {
    /// It was asked for.
    Asked(Seconds, Seconds),
    /// It sounds.
    Heard(Seconds, Seconds),
}

/// A take.
#[derive(Debug, Clone)]
pub struct Take {
    /// What is kept of it.
    pub take: TakeRef,
    /// As it was heard in its own time.
    pub heard: Option<Arc<Analysis>>,
    /// Its rate in Hz, where it was heard.
    pub rate: u32,
    /// What was heard, on the recording's timeline.
    pub moved: Option<Arc<Analysis>>,
    /// How it answers the recording.
    pub answer: Option<Arc<Answer>>,
    /// What the journal is to keep, where the take is new.
    pub unkept: Option<Unkept>,
    /// Is it drawn over the sheet?
    pub shown: bool,
    /// Is its file gone?
    pub gone: bool,
    /// The job that hears or compares it.
    pub job: Option<JobId>,
}

impl Take {
    /// One of which only the marks are known.
    pub fn new(take: TakeRef) -> Self {
        Self {
            take,
            heard: None,
            rate: 0,
            moved: None,
            answer: None,
            unkept: None,
            shown: true,
            gone: false,
            job: None,
        }
    }
}

/// A take that is not in the journal yet.
#[derive(Debug, Clone)]
pub struct Unkept {
    /// When it ended.
    pub ended: Moment,
    /// Its sound, once it was read.
    pub sound: Option<Arc<Recording>>,
    /// Where in it the player kept a round.
    pub kept: Vec<Span>,
}

/// What is being recorded.
#[derive(Debug, Clone, Default)]
pub struct Capture {
    /// The recording under way.
    pub recording: Option<Recorded>,
    /// The job that measures the round trip.
    pub calibrating: Option<JobId>,
    /// The job that judges a round of the loop.
    pub judging: Option<JobId>,
    /// The job that hears how high a string sounds, and what it heard last.
    pub tuning: Option<(JobId, Option<MidiNote>)>,
    /// What is heard of a take while it is played.
    pub along: Arc<AlongView>,
    /// Where in the take its player kept a round.
    pub kept: Vec<Span>,
}

/// A recording under way.
#[derive(Debug, Clone, Copy)]
pub struct Recorded {
    /// Its job.
    pub job: JobId,
    /// From where.
    pub source: CaptureSource,
    /// Length so far.
    pub length: Span,
    /// Is every round of the loop judged?
    pub judged: bool,
    /// Did it begin to play with it, and does it end with the playing?
    pub plays: bool,
    /// Times round the loop after which it ends by itself; none goes on until it is stopped.
    pub rounds: Option<u32>,
    /// Has the loop come to its end?
    pub over: bool,
}

/// What the pages ask.
#[derive(Debug, Clone, Default)]
pub struct Study {
    /// Tunings, scales and patterns by name.
    pub presets: Arc<Presets>,
    /// The job that reads them.
    pub reading: Option<JobId>,
    /// The neck.
    pub neck: Sought<Asked<NeckQuestion>, NeckView>,
    /// The picking pattern.
    pub pattern: Sought<Asked<PatternPage>, PatternView>,
    /// Tunings.
    pub tunings: Sought<Asked<TuningsPage>, TuningsView>,
    /// Drills.
    pub drills: Sought<Asked<DrillsPage>, DrillsView>,
    /// A melody moved against the beat.
    pub off_beat: Sought<Asked<OfMelody>, OffBeatView>,
    /// Files that were written for other programs, the last one last.
    pub written: Vec<PathBuf>,
    /// Jobs that write such files, and whether each is to be shown.
    pub writing: Vec<(JobId, bool)>,
    /// Desks before a page was changed, that page open; the last change last.
    pub changes: Vec<PageState>,
    /// Desks before a change was taken back, the last one last.
    pub undone: Vec<PageState>,
    /// The job that writes a drill, the speed it begins at, and the tuning it is in.
    pub drill: Option<(JobId, f64, Tuning, ClickRate)>,
}

/// A question and the answer to it, or to the one before.
#[derive(Debug, Clone)]
pub struct Sought<Q, A> {
    /// What was asked last.
    pub asked: Option<Q>,
    /// The job that answers it.
    pub job: Option<JobId>,
    /// The last answer that was one.
    pub answer: Option<Arc<A>>,
    /// Why the last question has none.
    pub fault: Option<String>,
}

impl<Q, A> Default for Sought<Q, A> {
    fn default() -> Self {
        Self {
            asked: None,
            job: None,
            answer: None,
            fault: None,
        }
    }
}

impl<Q, A> Sought<Q, A> {
    /// It is answered.
    pub fn take(&mut self, answer: Result<Arc<A>, String>) {
        self.job = None;
        match answer {
            Ok(answer) => {
                self.answer = Some(answer);
                self.fault = None;
            }
            Err(why) => self.fault = Some(why),
        }
    }
}

/// A sound beside the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// What it is.
    pub name: String,
    /// Again and again?
    pub again: bool,
    /// Its length.
    pub length: Span,
    /// The job that makes it, while it does.
    pub job: Option<JobId>,
}

/// The program of its own.
#[derive(Debug, Clone)]
pub struct Program {
    /// Where its settings lie.
    pub file: PathBuf,
    /// The revision that was written last.
    pub saved: u64,
    /// Ticks since it was looked whether something changed.
    pub ticks: u32,
    /// Was it said that nothing can be written?
    pub told: bool,
    /// Its sound devices.
    pub sound: Arc<SoundView>,
}

impl State {
    /// Nothing is open; with these practice set-ups, as the program of its own where it is one.
    pub fn new(set_ups: Arc<[SetUp]>, program: Option<Program>) -> Self {
        Self {
            set_ups,
            program,
            study: Study {
                presets: Arc::new(Presets::built_in()),
                ..Study::default()
            },
            ..Self::default()
        }
    }

    /// A number for another job.
    pub fn job(&mut self) -> JobId {
        self.last_job += 1;
        JobId(self.last_job)
    }

    /// Says a sentence about nothing in particular.
    pub fn notice(&mut self, text: impl Into<String>, grave: bool) {
        self.tell(About::Anything, text, grave);
    }

    /// What this is about works: what was said to be wrong with it is not said any more.
    pub fn works(&mut self, about: About) {
        self.notices.retain(|n| n.about != about || !n.grave);
    }

    /// Says a sentence, unless it stands there already.
    pub fn tell(&mut self, about: About, text: impl Into<String>, grave: bool) {
        let text = text.into();
        if self.notices.iter().any(|n| n.text == text) {
            return;
        }
        self.last_notice += 1;
        self.notices.push_back(Notice {
            id: self.last_notice,
            text,
            about,
            grave,
        });
        while self.notices.len() > NOTICES {
            self.notices.pop_front();
        }
    }

    /// The marks of what is open, to look at.
    pub fn marks(&self) -> Option<&Marks> {
        match self.open.hash {
            Some(hash) => self.session.marks.get(&hash.to_string()),
            None => Some(&self.open.pending),
        }
    }

    /// The marks of what is open, to change.
    pub fn marks_mut(&mut self) -> &mut Marks {
        match self.open.hash {
            Some(hash) => self.session.marks.entry(hash.to_string()).or_default(),
            None => &mut self.open.pending,
        }
    }

    /// Bars of which the loop holds the middle; without a loop, those that a phrase usually has. None
    /// without a beat.
    pub fn bars(&self) -> Option<(i32, i32)> {
        let heard = self.hearing.view.ready()?;
        let region = self.marks().and_then(|m| m.region.as_ref());
        let held = region.and_then(|region| {
            let all = heard.grid.bars();
            let held = all.iter().filter(|bar| {
                let middle = 0.5 * (bar.start.0 + bar.end.0);
                (region.from.0..region.to.0).contains(&middle)
            });
            let numbers: Vec<i32> = held.map(|bar| bar.number).collect();
            Some((*numbers.iter().min()?, *numbers.iter().max()?))
        });
        held.or_else(|| lesson::usual_bars(heard))
    }

    /// The folder that files for other programs go into.
    pub fn folder(&self) -> PathBuf {
        let chosen = self.session.page_state.take_away.folder.clone();
        chosen.unwrap_or_else(crate::data::taken_away)
    }

    /// Does it sound now, or is it looked at? Its jobs come before others then.
    pub fn is_heard(&self) -> bool {
        self.window
            || self
                .sounding
                .is_some_and(|s| s.phase != deck::Phase::Stopped)
    }

    /// What is still to come before everything sounds as it was asked for; none when a render may
    /// begin.
    pub fn pending(&self) -> Option<&'static str> {
        if matches!(self.open.stage, Stage::Loading { .. }) || self.open.errand.is_some() {
            Some("the recording is still being read")
        } else if self.hearing.job.is_some() || self.hearing.correcting.is_some() {
            Some("the recording is still being listened to")
        } else if self.mix.job.is_some() {
            Some("what is to be heard is still being made")
        } else if self.waiting {
            Some("the audio thread still has to be told")
        } else {
            None
        }
    }

    /// Outline of what is open.
    pub fn peaks(&self) -> Arc<Peaks> {
        let part = self.open.part.as_ref();
        part.map_or_else(Arc::default, |part| Arc::clone(&part.peaks))
    }
}
