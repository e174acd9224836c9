//! Folders of pieces whose beats are known.

use serde::Deserialize;
use std::path::{Path, PathBuf};
use thumbline::analysis::beat::evaluation::Piece;
use thumbline::analysis::{Options, analyze};
use thumbline::music::note::{Attack, Note, Role};
use thumbline::unit::{Decibels, MidiNote, Seconds};

#[derive(Deserialize)]
struct Truth {
    beats: Vec<f64>,
    downbeats: Vec<f64>,
    /// From here on there is a pulse.
    #[serde(default)]
    grid_from: Option<f64>,
}

/// What is read of an analysis.
#[derive(Deserialize)]
struct Heard {
    recording: Length,
    onsets: Vec<Onset>,
}

#[derive(Deserialize)]
struct Length {
    seconds: f64,
}

#[derive(Deserialize)]
struct Onset {
    time_s: f64,
    end_s: f64,
    role: Option<String>,
    role_confidence: f32,
    midi: Option<f64>,
    attack: String,
    strength_db: f64,
    confidence: f32,
}

impl From<Onset> for Note {
    fn from(o: Onset) -> Self {
        Self {
            time: Seconds(o.time_s),
            end: Seconds(o.end_s),
            role: if o.role.as_deref() == Some("bass") {
                Role::Bass
            } else {
                Role::Melody
            },
            role_confidence: o.role_confidence,
            pitch: o.midi.map(MidiNote),
            string: None,
            fret: None,
            attack: match o.attack.as_str() {
                "hammer_on" => Attack::HammerOn,
                "pull_off" => Attack::PullOff,
                "slide" => Attack::Slide,
                "tap" => Attack::Tap,
                _ => Attack::Pluck,
            },
            strength: Decibels(o.strength_db),
            confidence: o.confidence,
        }
    }
}

/// The pieces of a folder by name: NAME.truth.json beside NAME.json or NAME.wav. Others, and what is
/// not taken for one guitar, are left out.
pub fn read(folder: &Path) -> Vec<Piece> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut truths: Vec<PathBuf> = entries
        .map(|entry| entry.path())
        .filter(|p| p.to_string_lossy().ends_with(".truth.json"))
        .collect();
    truths.sort();
    truths.iter().filter_map(|truth| piece(truth)).collect()
}

fn piece(path: &Path) -> Option<Piece> {
    let truth: Truth = serde_json::from_str(&std::fs::read_to_string(path).ok()?).ok()?;
    let stem = path.to_string_lossy();
    let stem = stem.strip_suffix(".truth.json")?;
    let (notes, end) = if let Ok(text) = std::fs::read_to_string(format!("{stem}.json")) {
        let heard: Heard = serde_json::from_str(&text).ok()?;
        let whole = heard.onsets.iter().any(|o| o.role.is_some());
        let notes = heard.onsets.into_iter().map(Note::from).collect();
        (
            if whole { notes } else { Vec::new() },
            Seconds(heard.recording.seconds),
        )
    } else {
        let recording = thumbline::load::load(Path::new(&format!("{stem}.wav"))).ok()?;
        let found = analyze(&recording, &Options::default(), &mut ()).ok()?;
        (found.notes, recording.end())
    };
    let from = truth.grid_from.unwrap_or(f64::MIN) - 0.05;
    let after = |times: Vec<f64>| times.into_iter().filter(|t| *t >= from).collect();
    (notes.len() >= 12 && truth.beats.len() >= 6).then(|| Piece {
        name: Path::new(stem)
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        notes,
        end,
        beats: after(truth.beats),
        downbeats: after(truth.downbeats),
    })
}
