//! What the window sees: one plain value, made anew by the desk and drawn by the views.
//!
//! A snapshot holds no lock and no way back to the audio thread; large parts are shared (`Arc`) and
//! change their pointer when their content changes. What a player wants done is an
//! [`Action`](crate::action::Action).

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::analysis::Analysis;
use thumbline::compare::Comparison;
use thumbline::journal::{Round, Session};
use thumbline::recording::{ContentHash, Recording};
use thumbline::report::sheet::Ground;
use thumbline::unit::{Seconds, Span};

/// Everything a view may draw.
#[derive(Debug, Clone, Default)]
pub struct Snapshot {
    /// Which recording is open, and how far it has come.
    pub recording: RecordingView,
    /// What was heard in it, with the player's corrections applied.
    pub analysis: AnalysisView,
    /// What sounds now.
    pub transport: TransportView,
    /// Outline of the sound, for a strip to click into; empty while nothing is open.
    pub peaks: Arc<Peaks>,
    /// What the host can automate, as it stands now.
    pub dials: DialsView,
    /// The settings of practice: loop, ladder, click, count-in.
    pub practice: PracticeView,
    /// Own takes of this recording, newest last.
    pub takes: Arc<[TakeView]>,
    /// The journal's page of the recording.
    pub page: Arc<PageView>,
    /// What is being recorded now, and from where.
    pub capture: CaptureView,
    /// Recordings opened lately, newest first.
    pub recent: Arc<[PathBuf]>,
    /// Output level and what the limiter takes away.
    pub level: LevelView,
    /// Plain sentences the player should read, newest last.
    pub notices: Arc<[Notice]>,
    /// The host's sample rate in Hz; 0 before the first activation.
    pub host_rate: u32,
    /// Names of the practice set-ups that can be used.
    pub set_ups: Arc<[String]>,
    /// Is this the program of its own, without a host around it?
    pub standalone: bool,
    /// How the window looks.
    pub look: Look,
}

impl Snapshot {
    /// A number that changes when anything a window shows changes by itself: while it stays, the
    /// window need not be painted again.
    pub fn stamp(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        let mut put = |word: u64| word.hash(&mut hasher);
        let real = |x: f64| x.to_bits();
        put(match &self.recording {
            RecordingView::Empty => 0,
            RecordingView::Loading { progress, .. } => 1 + percent(progress.unwrap_or(0.0)),
            RecordingView::Ready { sound, .. } => Arc::as_ptr(sound).addr() as u64,
            RecordingView::Missing { .. } => 2000,
            RecordingView::Failed { .. } => 2001,
        });
        put(match &self.analysis {
            AnalysisView::None => 0,
            AnalysisView::Working { progress } => 1 + percent(*progress),
            AnalysisView::Ready(analysis) => Arc::as_ptr(analysis).addr() as u64,
            AnalysisView::Failed(_) => 2000,
        });
        let transport = &self.transport;
        put(real(transport.position.0));
        put(real(transport.speed));
        put(u64::from(transport.count_in.unwrap_or(999)));
        put(u64::from(transport.playing) + 2 * u64::from(transport.resting));
        put(Arc::as_ptr(&self.peaks).addr() as u64);
        let (dials, practice) = (&self.dials, &self.practice);
        for x in [dials.speed, dials.pitch, dials.gain_db, dials.click_db] {
            put(real(x));
        }
        put(u64::from(dials.click) + 2 * u64::from(dials.through) + 4 * u64::from(dials.follow));
        put(dials.channels as u64);
        put(u64::from(practice.loop_on) + 2 * practice.undoable as u64);
        put(practice.redoable as u64);
        let ends = practice
            .region
            .as_ref()
            .map_or((0.0, 0.0), |r| (r.from.0, r.to.0));
        put(real(ends.0));
        put(real(ends.1));
        put(practice.regions.len() as u64);
        put(u64::from(practice.mixing));
        put(match practice.hear {
            Hear::Balance(dial) => real(dial),
            Hear::Beside(index) => index as u64,
        });
        put(practice.learning.map_or(99, |c| c as u64));
        for take in self.takes.iter() {
            put(2 * u64::from(take.shown) + u64::from(take.analysis.is_some()));
            let answer = take.answer.as_ref();
            put(answer.map_or(0, |a| Arc::as_ptr(a).addr() as u64));
        }
        put(Arc::as_ptr(&self.page).addr() as u64);
        put(match self.capture {
            CaptureView::Off => 0,
            CaptureView::Armed(_) => 1,
            CaptureView::Calibrating => 2,
            CaptureView::Running { length, .. } => 3 + length.0 as u64,
        });
        put(u64::from(self.level.peak.to_bits()));
        for notice in self.notices.iter() {
            put(notice.id);
        }
        hasher.finish()
    }
}

/// A share in whole percent.
fn percent(share: f32) -> u64 {
    (share.clamp(0.0, 1.0) * 100.0) as u64
}

/// How the window looks, as the player left it.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Look {
    /// Paper or dark.
    pub ground: Ground,
    /// Size of the bar sheet, 0.5 to 4.
    pub zoom: f64,
    /// Size of everything, 1 to 2.5.
    pub scale: f32,
    /// How much drift is stretched, 1 to 16; none chooses what fits.
    pub magnifier: Option<u8>,
    /// Bars side by side, 1 to 8.
    pub bars_a_row: u8,
    /// A row of tablature under each bar?
    pub strings: bool,
    /// Does the page follow the sound?
    pub follow: bool,
    /// Were the cautions read?
    pub cautioned: bool,
    /// Width and height of the window in points.
    pub size: (f32, f32),
}

impl Default for Look {
    fn default() -> Self {
        Self {
            ground: Ground::Paper,
            zoom: 1.0,
            scale: 1.0,
            magnifier: None,
            bars_a_row: 1,
            strings: false,
            follow: true,
            cautioned: false,
            size: (1180.0, 760.0),
        }
    }
}

impl Look {
    /// The same with every number in its range.
    pub fn mended(self) -> Self {
        let within = |x: f64, low: f64, high: f64, or: f64| {
            if x.is_finite() {
                x.clamp(low, high)
            } else {
                or
            }
        };
        let side = |x: f32, low: f64, or: f64| within(f64::from(x), low, 8000.0, or) as f32;
        Self {
            zoom: within(self.zoom, 0.5, 4.0, 1.0),
            scale: within(f64::from(self.scale), 1.0, 2.5, 1.0) as f32,
            magnifier: self.magnifier.map(|m| m.clamp(1, 16)),
            bars_a_row: self.bars_a_row.clamp(1, 8),
            size: (
                side(self.size.0, 320.0, 1180.0),
                side(self.size.1, 200.0, 760.0),
            ),
            ..self
        }
    }
}

/// The state of the open recording.
#[derive(Debug, Clone, Default)]
pub enum RecordingView {
    /// Nothing is open.
    #[default]
    Empty,
    /// Being decoded; what is decoded already plays.
    Loading {
        /// File name.
        name: String,
        /// Share decoded, 0 to 1; none when the length is unknown.
        progress: Option<f32>,
    },
    /// Open and whole.
    Ready {
        /// File name.
        name: String,
        /// Where it lies; none for a recording that was never a file.
        path: Option<PathBuf>,
        /// The sound, at the host's rate.
        sound: Arc<Recording>,
    },
    /// The saved state names a recording that is not there; the rest of the state is kept until it
    /// is located.
    Missing {
        /// File name it had.
        name: String,
        /// Where it was.
        path: PathBuf,
        /// Identity of its sound, to recognise it by.
        hash: Option<ContentHash>,
    },
    /// It could not be opened.
    Failed {
        /// File name.
        name: String,
        /// One plain sentence.
        reason: String,
    },
}

impl RecordingView {
    /// Its name, where there is one.
    pub fn name(&self) -> Option<&str> {
        match self {
            Self::Empty => None,
            Self::Loading { name, .. }
            | Self::Ready { name, .. }
            | Self::Missing { name, .. }
            | Self::Failed { name, .. } => Some(name),
        }
    }
}

/// The state of the analysis.
#[derive(Debug, Clone, Default)]
pub enum AnalysisView {
    /// Not asked for yet.
    #[default]
    None,
    /// Under way.
    Working {
        /// Share done, 0 to 1.
        progress: f32,
    },
    /// Done.
    Ready(Arc<Analysis>),
    /// It failed; the recording still plays.
    Failed(String),
}

impl AnalysisView {
    /// The result, where there is one.
    pub fn ready(&self) -> Option<&Arc<Analysis>> {
        match self {
            Self::Ready(analysis) => Some(analysis),
            _ => None,
        }
    }
}

/// What sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TransportView {
    /// Is it running (count-in and rest included)?
    pub playing: bool,
    /// Place in the recording.
    pub position: Seconds,
    /// Speed that sounds now, 1 = as recorded; a ladder changes it.
    pub speed: f64,
    /// Beats left of the count-in, while it counts.
    pub count_in: Option<u32>,
    /// Is it the silence between two rounds?
    pub resting: bool,
    /// Rounds of the loop begun since it started, 1 for the first.
    pub round: u32,
    /// Does the host's transport drive it?
    pub follows_host: bool,
    /// Is the plug-in bypassed?
    pub bypassed: bool,
}

impl Default for TransportView {
    fn default() -> Self {
        Self {
            playing: false,
            position: Seconds(0.0),
            speed: 1.0,
            count_in: None,
            resting: false,
            round: 0,
            follows_host: false,
            bypassed: false,
        }
    }
}

/// What the host can automate, as it stands now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DialsView {
    /// Speed asked for, 0.25 to 1.5 (a ladder may sound another: [`TransportView::speed`]).
    pub speed: f64,
    /// Pitch shift in semitones, −12 to 12, fine tuning included.
    pub pitch: f64,
    /// Output gain in dB, −24 to 24.
    pub gain_db: f64,
    /// Is the click on?
    pub click: bool,
    /// Its level in dB, −40 to 6.
    pub click_db: f64,
    /// Which channels are heard.
    pub channels: crate::params::Channels,
    /// Is the track's own sound (the standalone's input) heard too?
    pub through: bool,
    /// Does the host's transport drive the recording?
    pub follow: bool,
}

impl Default for DialsView {
    fn default() -> Self {
        Self {
            speed: 1.0,
            pitch: 0.0,
            gain_db: 0.0,
            click: false,
            click_db: -12.0,
            channels: crate::params::Channels::Stereo,
            through: true,
            follow: false,
        }
    }
}

/// Outline of a recording: the lowest and highest sample of each of equal stretches.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Peaks {
    /// Length of one stretch.
    pub step: Span,
    /// Lowest and highest sample (mean of the channels), −1 to 1, in order of time.
    pub range: Vec<(f32, f32)>,
}

/// A stretch of the recording with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionView {
    /// What the player calls it.
    pub name: String,
    /// Start.
    pub from: Seconds,
    /// End, after `from`.
    pub to: Seconds,
}

/// What loop ends hold on to while they are dragged.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Snap {
    /// Whole bars.
    #[default]
    Bar,
    /// Beats.
    Beat,
    /// The nearest note's start.
    Onset,
    /// Nothing.
    Free,
}

/// How often the click sounds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ClickRate {
    /// On beats.
    #[default]
    Beat,
    /// Twice a beat, swung as the recording is.
    Half,
    /// Three times a beat.
    Third,
    /// Four times a beat.
    Quarter,
}

/// A loop that speeds up step by step.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Ladder {
    /// Is it in force?
    pub on: bool,
    /// Speed of the first rounds, 0.25 to 1.5.
    pub start: f64,
    /// What each step adds, 0.01 to 0.5.
    pub step: f64,
    /// Rounds on each step, at least 1.
    pub rounds: u32,
    /// Highest speed, up to 1.5.
    pub top: f64,
    /// Step only when the last round's drift stayed inside this many milliseconds; none steps
    /// always.
    pub within_ms: Option<f64>,
}

impl Default for Ladder {
    fn default() -> Self {
        Self {
            on: false,
            start: 0.6,
            step: 0.05,
            rounds: 4,
            top: 1.0,
            within_ms: None,
        }
    }
}

/// What is heard of the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hear {
    /// Thumb against fingers: −1 the thumb alone, 0 both as recorded, 1 the fingers alone.
    Balance(f64),
    /// The recording left and this take right, bar for bar together.
    Beside(usize),
}

impl Default for Hear {
    fn default() -> Self {
        Self::Balance(0.0)
    }
}

/// The settings of practice.
#[derive(Debug, Clone, Default)]
pub struct PracticeView {
    /// What is heard of the recording.
    pub hear: Hear,
    /// Is that being made?
    pub mixing: bool,
    /// Is the loop on?
    pub loop_on: bool,
    /// The loop's ends; none = the whole recording.
    pub region: Option<RegionView>,
    /// Kept regions, in the order of the recording.
    pub regions: Arc<[RegionView]>,
    /// Which of `regions` is looped now.
    pub current_region: Option<usize>,
    /// What loop ends hold on to.
    pub snap: Snap,
    /// Bars counted before the start, 0 to 2.
    pub count_in_bars: u8,
    /// Silent beats between rounds, 0 to 16.
    pub rest_beats: u8,
    /// The ladder.
    pub ladder: Ladder,
    /// How often the click sounds.
    pub click_rate: ClickRate,
    /// Round-trip latency taken off own takes.
    pub latency: Span,
    /// A MIDI control being learnt, by the control's name.
    pub learning: Option<crate::action::Control>,
    /// Number of corrections that can be taken back.
    pub undoable: usize,
    /// Number of corrections that can be done again.
    pub redoable: usize,
    /// Slots the player named: index of the note in the analysis, and the slot's instant.
    pub pins: Arc<[(usize, Seconds)]>,
}

/// One take.
#[derive(Debug, Clone)]
pub struct TakeView {
    /// What the list shows: "take 3, bars 5–8 at 60 %".
    pub name: String,
    /// Where it was saved.
    pub path: Option<PathBuf>,
    /// Stretch of the recording's timeline it covers.
    pub from: Seconds,
    /// Its end on the recording's timeline.
    pub to: Seconds,
    /// What was heard in it, its times on the recording's timeline; none until it is analysed.
    pub analysis: Option<Arc<Analysis>>,
    /// How it answers the recording; none until both are analysed.
    pub answer: Option<Arc<Answer>>,
    /// Is it drawn over the sheet?
    pub shown: bool,
    /// Is its file gone?
    pub gone: bool,
}

/// How a take answers the recording.
#[derive(Debug)]
pub struct Answer {
    /// Note against note.
    pub found: Comparison,
    /// What it comes to, in plain sentences.
    pub words: Vec<String>,
    /// The reading of the recording that it speaks of.
    pub to: Arc<Analysis>,
}

/// The journal's page of a recording.
#[derive(Debug, Default)]
pub struct PageView {
    /// Progress, a session a day, oldest first.
    pub sessions: Vec<Session>,
    /// The latest rounds, newest first.
    pub rounds: Vec<Round>,
    /// What to practise next, over all pages, in plain sentences.
    pub next: Vec<String>,
    /// Why the journal could not be read, where that is so.
    pub fault: Option<String>,
}

/// What is being recorded.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum CaptureView {
    /// Nothing.
    #[default]
    Off,
    /// Waits for the host (or the deck) to run.
    Armed(CaptureSource),
    /// Records.
    Running {
        /// From where.
        source: CaptureSource,
        /// Length so far.
        length: Span,
    },
    /// Plays clicks and listens for them, to measure the round-trip latency.
    Calibrating,
}

/// Where recorded sound comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CaptureSource {
    /// The track's own sound: it becomes the recording.
    Track,
    /// The side input (the standalone's input): an own take against the recording.
    Take,
}

/// Levels of the output over the last moments.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LevelView {
    /// Peak of the output, linear, 0 to 1.
    pub peak: f32,
    /// What the limiter takes away, in dB, 0 or more.
    pub reduction_db: f32,
}

/// A sentence for the player.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Number, to dismiss it by.
    pub id: u64,
    /// The sentence.
    pub text: String,
    /// Is something lost or impossible (not merely worth knowing)?
    pub grave: bool,
}
