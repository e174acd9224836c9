//! What the window sees: one plain value, made anew by the desk and drawn by the views.
//!
//! A snapshot holds no lock and no way back to the audio thread; large parts are shared (`Arc`) and
//! change their pointer when their content changes. What a player wants done is an
//! [`Wish`](crate::wish::Wish).

mod opened;
mod practice;
mod sounding;
mod taped;

pub use opened::{AnalysisView, Peaks, RecordingView};
pub use practice::{ClickRate, Hear, Ladder, PracticeView, RegionView, Snap};
pub use sounding::{DialsView, LevelView, TransportView};
pub use taped::{Answer, CaptureSource, CaptureView, PageView, TakeView};

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::PathBuf;
use std::sync::Arc;
use thumbline::report::sheet::Ground;

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
            AnalysisView::Working {
                progress,
                onsets,
                so_far,
            } => {
                let drawn = so_far.as_ref().map_or(0, |a| Arc::as_ptr(a).addr());
                1 + percent(*progress) + (onsets.len() as u64) * 101 + drawn as u64
            }
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
