//! Analysis → JSON, in a versioned schema of this project.
//!
//! Every document begins with `"schema"` and `"version"`. Within one version fields are only
//! added, never renamed or given another meaning; whoever reads it ignores what it does not know.
//! What is not known is left out, never invented. Times are seconds after the recording's first
//! sample (`_s`), milliseconds for differences (`_ms`, positive is later); pitches are MIDI
//! numbers with fraction (69 is A4 = 440 Hz); strings count from 1, the highest; confidences are
//! probabilities from 0 to 1.

use crate::analysis::Analysis;
use crate::music::note::{Attack, Note, Role};
use crate::recording::Recording;
use crate::unit::Seconds;
use serde::Serialize;

/// Version of the schema `thumbline.analysis`.
pub const ANALYSIS_VERSION: u32 = 1;

/// The recording that a document is about.
#[derive(Debug, Serialize)]
struct About<'a> {
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
}

#[derive(Debug, Serialize)]
struct OnsetOut {
    time_s: f64,
    end_s: f64,
    role: Role,
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
}

#[derive(Debug, Serialize)]
struct AnalysisOut<'a> {
    schema: &'static str,
    version: u32,
    recording: About<'a>,
    tuning: TuningOut,
    #[serde(skip_serializing_if = "Option::is_none")]
    tuning_cents: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bpm: Option<f64>,
    meter: String,
    beats_s: Vec<f64>,
    beats_confidence: Vec<f64>,
    downbeats_s: Vec<f64>,
    bars: Vec<BarOut>,
    onsets: Vec<OnsetOut>,
    taps: Vec<TapOut>,
    warnings: &'a [String],
}

/// The analysis of `recording` as one JSON document, ending in a newline.
pub fn analysis(recording: &Recording, found: &Analysis) -> String {
    let (taps, notes): (Vec<&Note>, Vec<&Note>) = found
        .notes
        .iter()
        .partition(|note| note.attack == Attack::Tap);
    let beats = found.grid.beats();
    let tuning = &found.tuning;
    text(&AnalysisOut {
        schema: "thumbline.analysis",
        version: ANALYSIS_VERSION,
        recording: about(recording),
        tuning: TuningOut {
            open_midi: (1..=tuning.strings())
                .rev()
                .filter_map(|string| tuning.open(string))
                .map(|open| open - tuning.capo())
                .collect(),
            capo: tuning.capo(),
        },
        tuning_cents: found.tuning_offset.map(|cents| round(cents.0, 2)),
        bpm: found.grid.tempo().map(|tempo| round(tempo.0, 3)),
        meter: found.grid.meter.to_string(),
        beats_s: beats.iter().map(|beat| seconds(beat.time)).collect(),
        beats_confidence: beats
            .iter()
            .map(|beat| round(f64::from(beat.confidence), 3))
            .collect(),
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
            })
            .collect(),
        onsets: notes.into_iter().map(onset).collect(),
        taps: taps
            .into_iter()
            .map(|note| TapOut {
                time_s: seconds(note.time),
                strength_db: round(note.strength.0, 2),
                confidence: round(f64::from(note.confidence), 3),
            })
            .collect(),
        warnings: &found.warnings,
    })
}

fn onset(note: &Note) -> OnsetOut {
    OnsetOut {
        time_s: seconds(note.time),
        end_s: seconds(note.end),
        role: note.role,
        role_confidence: round(f64::from(note.role_confidence), 3),
        midi: note.pitch.map(|pitch| round(pitch.0, 3)),
        string: note.string,
        fret: note.fret,
        attack: note.attack,
        strength_db: round(note.strength.0, 2),
        confidence: round(f64::from(note.confidence), 3),
    }
}

fn about(recording: &Recording) -> About<'_> {
    About {
        name: recording.name(),
        rate_hz: recording.rate(),
        channels: recording.channels().len(),
        seconds: seconds(recording.end()),
        content_hash: recording.hash().to_string(),
    }
}

/// To the microsecond: finer than any sample rate here.
fn seconds(time: Seconds) -> f64 {
    round(time.0, 6)
}

fn round(value: f64, places: i32) -> f64 {
    let scale = 10f64.powi(places);
    (value * scale).round() / scale
}

/// Pretty-printed, ending in a newline.
fn text(document: &impl Serialize) -> String {
    // Numbers, strings and lists under fixed names always serialise.
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}
