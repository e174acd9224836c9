//! What the window sees: one plain value, made anew from the state and drawn by the views.
//!
//! A snapshot holds no lock and no way back to the audio thread; large parts are shared (`Arc`) and
//! change their pointer when their content changes. What a player wants done is an
//! [`Command`](crate::command::Command).

mod along;
mod folder;
mod opened;
mod practice;
mod sounding;
mod study;
mod takes;

pub use along::AlongView;
pub use folder::{FolderView, For};
pub use opened::{AnalysisView, Peaks, RecordingView};
pub use practice::{ClickRate, End, Hear, Ladder, PracticeView, RegionView, Snap};
pub use sounding::{DialsView, LevelView, TransportView};
pub use study::{BesideView, StudyView};
pub use takes::{Answer, CaptureSource, CaptureView, PageView, TakeView};

use crate::page_state::PageState;
use crate::sound::SoundView;
use serde_json::{Map, Value};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::report::sheet::Ground;
use thumbline::unit::Seconds;

/// Everything a view may draw.
#[derive(Debug, Clone, Default)]
pub struct Snapshot {
    /// Rises whenever anything of what follows has changed.
    pub revision: u64,
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
    /// What is heard of the take while it is played.
    pub along: Arc<AlongView>,
    /// A folder that is looked through for a file, where no desktop dialog does it.
    pub folder: Option<Arc<FolderView>>,
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
    /// Its sound devices; none in a host.
    pub sound: Option<Arc<SoundView>>,
    /// How the window looks.
    pub look: Look,
    /// The pages: which is open, and what each remembers.
    pub page_state: Arc<PageState>,
    /// What they asked for.
    pub study: StudyView,
    /// What sounds beside the recording.
    pub beside: Option<BesideView>,
    /// What each page of the window remembers, by the page's name, in the page's own form.
    pub pages: Arc<Map<String, Value>>,
}

impl Snapshot {
    /// Length of the open recording; none while nothing is open.
    pub fn end(&self) -> Option<Seconds> {
        let end = match &self.recording {
            RecordingView::Ready { sound, .. } => sound.end(),
            _ => Seconds(self.peaks.step.0 * self.peaks.range.len() as f64),
        };
        (end.0.is_finite() && end.0 > 0.0).then_some(end)
    }

    /// Does the ladder lead the speed?
    pub fn climbs(&self) -> bool {
        self.practice.ladder.on && self.practice.loop_on && !self.dials.follow
    }

    /// The speed that is heard: as it was asked for, or where the ladder or the host has brought it.
    pub fn heard_speed(&self) -> f64 {
        if self.climbs() || self.dials.follow {
            self.transport.speed
        } else {
            self.dials.speed
        }
    }
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
    /// Bars side by side, 1 to 8; 0 as many as the width holds.
    pub bars_a_row: u8,
    /// A row of tablature under each bar?
    pub strings: bool,
    /// Bars that play alike in one row?
    pub fold: bool,
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
            fold: false,
            follow: true,
            cautioned: false,
            size: (1180.0, 760.0),
        }
    }
}

impl Look {
    /// The same with notes `by` times as large.
    pub fn larger(self, by: f64) -> Self {
        Self {
            zoom: (self.zoom * by).clamp(0.5, 4.0),
            ..self
        }
    }

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
            bars_a_row: self.bars_a_row.min(8),
            size: (
                side(self.size.0, 320.0, 1180.0),
                side(self.size.1, 200.0, 760.0),
            ),
            ..self
        }
    }
}

/// What a sentence for the player is about: it is said beside it, and goes when it works.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum About {
    /// Nothing in particular.
    #[default]
    Anything,
    /// The file that is opened.
    File,
    /// Recording, and the sound that comes in.
    Take,
    /// The journal and what else is kept.
    Keeping,
}

/// A sentence for the player.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Number, to dismiss it by.
    pub id: u64,
    /// The sentence.
    pub text: String,
    /// What it is about.
    pub about: About,
    /// Is something lost or impossible (not merely worth knowing)?
    pub grave: bool,
}
