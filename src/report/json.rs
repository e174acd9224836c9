//! Analysis and drift → JSON, in a versioned schema of this project.
//!
//! Every document begins with `"schema"` and `"version"`. Within one version fields are only
//! added, never renamed or given another meaning; whoever reads it ignores what it does not know.
//! What is not known is left out, never invented. Times are seconds after the recording's first
//! sample (`_s`), differences are milliseconds (`_ms`, positive is later); pitches are MIDI
//! numbers with fraction (69 is A4 = 440 Hz); strings count from 1, the highest; frets count from
//! the capo; confidences are probabilities from 0 to 1.
//!
//! | document | schema | made by |
//! |---|---|---|
//! | all that was heard: onsets, beats, bars, tuning, timing | `thumbline.analysis` | [`analysis`] |
//! | how a take stands to the beat: the same `timing`, no notes | `thumbline.check` | [`check`] |

pub(super) mod number;
mod timing;

use crate::analysis::Analysis;
use crate::music::guess::Guess;
use crate::music::note::{Attack, Note, Role};
use crate::music::tuning::Tuning;
use crate::recording::Recording;
use crate::timing::{Drift, NoteDrift, Standing};
use number::{ms, plain, round, seconds, share};
use serde::Serialize;
use timing::{SlotOut, TimingOut};

/// Version of both schemas.
pub const VERSION: u32 = 1;

/// The recording that a document is about.
#[derive(Debug, Serialize)]
struct About<'a> {
    /// Its file without folders: what is sent on tells nothing of this machine.
    name: &'a str,
    rate_hz: u32,
    channels: usize,
    seconds: f64,
    /// Identity of the sound (BLAKE3 of its samples), whatever the file is called.
    content_hash: String,
}

#[derive(Debug, Serialize)]
struct TuningOut {
    /// Open pitches without capo, lowest string first.
    open_midi: Vec<i32>,
    capo: i32,
    /// Where it was guessed: its probability. Below 0.6 it is not taken for known, and no strings and
    /// frets are given.
    #[serde(skip_serializing_if = "Option::is_none")]
    odds: Option<f64>,
    /// The next likely ones, most probable first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    others: Vec<OtherTuning>,
}

/// Another tuning that it may be.
#[derive(Debug, Serialize)]
struct OtherTuning {
    open_midi: Vec<i32>,
    capo: i32,
    odds: f64,
}

/// Open pitches without capo, lowest string first.
fn open_midi(tuning: &Tuning) -> Vec<i32> {
    (1..=tuning.strings())
        .rev()
        .filter_map(|string| tuning.open(string))
        .map(|open| open - tuning.capo())
        .collect()
}

fn tuning(found: &Analysis) -> TuningOut {
    let odds = |g: &Guess| plain(g.odds, 3);
    TuningOut {
        open_midi: open_midi(&found.tuning),
        capo: found.tuning.capo(),
        odds: found.guesses.first().map(odds),
        others: found
            .guesses
            .iter()
            .skip(1)
            .map(|g| OtherTuning {
                open_midi: open_midi(&g.tuning),
                capo: g.tuning.capo(),
                odds: odds(g),
            })
            .collect(),
    }
}

/// How the guitar stands to A4 = 440 Hz around one time.
#[derive(Debug, Serialize)]
struct TuningAt {
    time_s: f64,
    cents: f64,
}

fn tuning_course(found: &Analysis) -> Vec<TuningAt> {
    let course = found.tuning_course.iter();
    course
        .filter_map(|at| {
            Some(TuningAt {
                time_s: round(at.time.0, 3)?,
                cents: round(at.offset.0, 2)?,
            })
        })
        .collect()
}

#[derive(Debug, Serialize)]
struct OnsetOut {
    time_s: f64,
    end_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    role: Option<Role>,
    role_confidence: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    midi: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    string: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fret: Option<u8>,
    attack: Attack,
    strength_db: f64,
    confidence: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    bar: Option<i32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    slot: Option<SlotOut>,
    #[serde(skip_serializing_if = "Option::is_none")]
    standing: Option<Standing>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drift_ms: Option<f64>,
    /// Drift within ± this is not heard, or not measured for certain.
    #[serde(skip_serializing_if = "Option::is_none")]
    floor_ms: Option<f64>,
}

/// A knock on the guitar's body or a tap of the foot: heard, but no note.
#[derive(Debug, Serialize)]
struct TapOut {
    time_s: f64,
    strength_db: f64,
    confidence: f64,
}

#[derive(Debug, Serialize)]
struct BarOut {
    number: i32,
    start_s: f64,
    end_s: f64,
    beats: usize,
    confidence: f64,
}

#[derive(Debug, Serialize)]
struct FreeOut {
    from_s: f64,
    to_s: f64,
}

/// Another reading of the beat.
#[derive(Debug, Serialize)]
struct AlternativeOut<'a> {
    reading: &'a str,
    odds: f64,
}

/// The figures that both documents give at their top level.
#[derive(Debug, Serialize)]
struct Figures {
    #[serde(skip_serializing_if = "Option::is_none")]
    bpm: Option<f64>,
    /// Melody minus bass, net of the slots; positive is melody behind.
    #[serde(skip_serializing_if = "Option::is_none")]
    melody_lateness_ms: Option<f64>,
    /// Long over short eighth: 1 is straight, 2 is triplets.
    #[serde(skip_serializing_if = "Option::is_none")]
    swing_ratio: Option<f64>,
}

#[derive(Debug, Serialize)]
struct AnalysisOut<'a> {
    schema: &'static str,
    version: u32,
    recording: About<'a>,
    /// Probability that one plucked guitar is what sounds; below 0.5 neither roles nor drift are given.
    confidence: f64,
    tuning: TuningOut,
    #[serde(skip_serializing_if = "Option::is_none")]
    tuning_cents: Option<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tuning_course: Vec<TuningAt>,
    #[serde(flatten)]
    figures: Figures,
    meter: String,
    beats_s: Vec<f64>,
    beats_confidence: Vec<f64>,
    downbeats_s: Vec<f64>,
    bars: Vec<BarOut>,
    free_time: Vec<FreeOut>,
    /// Most probable first; odds are against the beat that was chosen.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    alternatives: Vec<AlternativeOut<'a>>,
    onsets: Vec<OnsetOut>,
    taps: Vec<TapOut>,
    timing: TimingOut,
    warnings: &'a [String],
}

#[derive(Debug, Serialize)]
struct CheckOut<'a> {
    schema: &'static str,
    version: u32,
    recording: About<'a>,
    /// Probability that one plucked guitar is what sounds; below 0.5 nothing is measured.
    confidence: f64,
    #[serde(flatten)]
    figures: Figures,
    meter: String,
    timing: TimingOut,
    warnings: &'a [String],
}

/// The analysis of `recording` and its `drift` as one JSON document, ending in a newline.
pub fn analysis(recording: &Recording, found: &Analysis, drift: &Drift) -> String {
    let with_drift = || {
        let drifts = drift.notes.iter().chain(std::iter::repeat(&None));
        found.notes.iter().zip(drifts)
    };
    let beats = found.grid.beats();
    text(&AnalysisOut {
        schema: "thumbline.analysis",
        version: VERSION,
        recording: about(recording),
        confidence: share(found.solo.odds),
        tuning: tuning(found),
        tuning_cents: found.tuning_offset.and_then(|cents| round(cents.0, 2)),
        tuning_course: tuning_course(found),
        figures: figures(found, drift),
        meter: found.grid.meter.to_string(),
        beats_s: beats.iter().map(|beat| seconds(beat.time)).collect(),
        beats_confidence: beats.iter().map(|beat| share(beat.confidence)).collect(),
        downbeats_s: beats
            .iter()
            .filter(|beat| beat.place == 1)
            .map(|beat| seconds(beat.time))
            .collect(),
        bars: found
            .grid
            .bars()
            .iter()
            .map(|bar| BarOut {
                number: bar.number,
                start_s: seconds(bar.start),
                end_s: seconds(bar.end),
                beats: bar.beats,
                confidence: share(bar.confidence),
            })
            .collect(),
        free_time: found
            .grid
            .free_time()
            .iter()
            .map(|free| FreeOut {
                from_s: seconds(free.from),
                to_s: seconds(free.to),
            })
            .collect(),
        alternatives: found
            .alternatives
            .iter()
            .map(|other| AlternativeOut {
                reading: &other.label,
                odds: share(other.odds),
            })
            .collect(),
        onsets: with_drift()
            .filter(|(note, _)| note.attack != Attack::Tap)
            .map(|(note, drift)| onset(note, drift.as_ref(), found))
            .collect(),
        taps: found
            .notes
            .iter()
            .filter(|note| note.attack == Attack::Tap)
            .map(|note| TapOut {
                time_s: seconds(note.time),
                strength_db: plain(note.strength.0, 2),
                confidence: share(note.confidence),
            })
            .collect(),
        timing: timing::out(drift),
        warnings: &found.warnings,
    })
}

/// How a take stands to the beat, as one JSON document, ending in a newline.
pub fn check(recording: &Recording, found: &Analysis, drift: &Drift) -> String {
    text(&CheckOut {
        schema: "thumbline.check",
        version: VERSION,
        recording: about(recording),
        confidence: share(found.solo.odds),
        figures: figures(found, drift),
        meter: found.grid.meter.to_string(),
        timing: timing::out(drift),
        warnings: &found.warnings,
    })
}

fn figures(found: &Analysis, drift: &Drift) -> Figures {
    Figures {
        bpm: found.grid.tempo().and_then(|tempo| round(tempo.0, 3)),
        melody_lateness_ms: drift.lateness.and_then(|l| round(l.centre.ms(), 3)),
        swing_ratio: drift.swing.and_then(|s| round(s.ratio, 4)),
    }
}

fn onset(note: &Note, drift: Option<&NoteDrift>, found: &Analysis) -> OnsetOut {
    let placed = found.tuning_known() && found.solo.is_one_guitar();
    OnsetOut {
        time_s: seconds(note.time),
        end_s: seconds(note.end),
        role: found.solo.is_one_guitar().then_some(note.role),
        role_confidence: share(note.role_confidence),
        midi: note.pitch.and_then(|pitch| round(pitch.0, 3)),
        string: note.string.filter(|_| placed),
        fret: note.fret.filter(|_| placed),
        attack: note.attack,
        strength_db: plain(note.strength.0, 2),
        confidence: share(note.confidence),
        bar: drift.map(|d| d.bar),
        slot: drift
            .filter(|d| d.standing != Standing::Between)
            .map(|d| d.slot.into()),
        standing: drift.map(|d| d.standing),
        drift_ms: drift.and_then(|d| d.drift).and_then(ms),
        floor_ms: drift.and_then(|d| ms(d.floor)),
    }
}

fn about(recording: &Recording) -> About<'_> {
    About {
        name: recording.title(),
        rate_hz: recording.rate(),
        channels: recording.width(),
        seconds: seconds(recording.end()),
        content_hash: recording.hash().to_string(),
    }
}

/// Pretty-printed, ending in a newline.
pub(super) fn text(document: &impl Serialize) -> String {
    // Numbers, strings and lists under fixed names always serialise.
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}
