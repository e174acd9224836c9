//! A melody, the recording's or a file's: moved against the beat, and put on the neck again.

use super::asked::{Asked, tuning};
use crate::page_state::{NeckPage, OffBeatPage};
use crate::services::sound::Sound;
use std::path::PathBuf;
use thumbline::analysis::Analysis;
use thumbline::dsp::pluck::Played;
use thumbline::load::melody as files;
use thumbline::music::fingering::Costs;
use thumbline::music::key;
use thumbline::music::melody::{Melody, Refingered};
use thumbline::music::moved::{self, Version};
use thumbline::music::neck::{Mark, path_marks};
use thumbline::music::performance::{Manner, Performance};
use thumbline::music::picking::{count, division, place};
use thumbline::music::pitch::Key;
use thumbline::music::tuning::Tuning;
use thumbline::unit::{Beats, Bpm, Span};

/// Which melody is meant: a file's, else the recording's.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// A MIDI or MusicXML file.
    pub file: Option<PathBuf>,
    /// Bars of the recording whose melody it is.
    pub bars: Option<(i32, i32)>,
    /// The recording's name.
    pub name: String,
}

impl Given {
    fn read(&self, heard: Option<&Analysis>) -> Result<Melody, String> {
        match (&self.file, heard) {
            (Some(file), _) => files::read(file).map_err(|e| e.to_string()),
            (None, Some(heard)) => melody_heard(heard, self.bars, &self.name),
            (None, None) => {
                Err("Open a recording, or a MIDI or MusicXML file of a melody".to_owned())
            }
        }
    }
}

/// What is asked of a melody.
#[derive(Debug, Clone, PartialEq)]
pub struct OfMelody {
    /// What the page remembers.
    pub page: OffBeatPage,
    /// The melody.
    pub given: Given,
}

/// A melody moved against the beat.
#[derive(Debug, Clone, PartialEq)]
pub struct OffBeatView {
    /// What it is called.
    pub title: String,
    /// Its tempo.
    pub tempo: Bpm,
    /// On the beat, half-way, off it; each with its strokes and their length, to be heard.
    pub versions: Vec<(Version, Vec<Played>, Span)>,
}

impl OffBeatView {
    /// Each version, round and round.
    pub fn sounds(&self) -> impl Iterator<Item = Sound> + '_ {
        self.versions
            .iter()
            .map(|(version, strokes, length)| Sound {
                name: format!("{}: {}", self.title, version.degree.name()),
                strokes: strokes.clone(),
                length: *length,
                again: true,
            })
    }
}

/// Answers what is asked of a melody.
pub fn off_beat(asked: &Asked<OfMelody>) -> Result<OffBeatView, String> {
    let heard = asked.heard.as_deref();
    let (_, tuning) = tuning(None, None, heard, &asked.presets)?;
    let melody = asked.page.given.read(heard)?;
    let tempo = asked.page.page.tempo.map_or(melody.tempo, Bpm);
    let way = asked.page.page.way;
    let versions = moved::versions(&melody, &tuning, tempo, way).map_err(|e| e.to_string())?;
    let versions = versions.into_iter().map(|version| {
        let score = &version.score;
        let beats = score.bars() as f64 * f64::from(score.meter.beats().max(1));
        let strokes = Performance::of(score, &Manner::exact(tempo, Span(0.02))).strokes;
        (version, strokes, Span(beats * tempo.beat().0))
    });
    Ok(OffBeatView {
        title: melody.title,
        tempo,
        versions: versions.collect(),
    })
}

/// A melody on the neck.
#[derive(Debug, Clone, PartialEq)]
pub struct MelodyView {
    /// It, as it was given.
    pub melody: Melody,
    /// Bar of the recording that its first bar is; 1 of a file's.
    pub first_bar: i32,
    /// Every note's places and the path through them.
    pub found: Refingered,
    /// The places of the path.
    pub marks: Vec<Mark>,
    /// Notes by their index that stand on the string which the player wants.
    pub wanted: Vec<usize>,
    /// By what the player's commands are known to be about this melody.
    pub of: String,
}

impl MelodyView {
    /// Where a note comes: `bar 5, 2&`.
    pub fn place(&self, note: usize) -> String {
        let (meter, at) = (self.melody.meter, self.melody.notes[note].at.0);
        let beats = f64::from(meter.beats().max(1));
        let bar = (at / beats).floor();
        let within = Beats(at - bar * beats);
        format!(
            "bar {}, {}",
            self.first_bar + bar as i32,
            count(meter, within)
        )
    }

    /// The whole, note after note, each ringing as long as its string does.
    pub fn sound(&self) -> Sound {
        let score = &self.found.score;
        let beats = score.bars() as f64 * f64::from(score.meter.beats().max(1));
        Sound {
            name: format!("{} on the neck", self.melody.title),
            strokes: Performance::of(score, &Manner::exact(score.tempo, Span(0.02))).strokes,
            length: Span(beats * score.tempo.beat().0),
            again: false,
        }
    }
}

/// Puts a melody on the neck, notes that the player wants on a string there.
pub(super) fn on_neck(
    given: &Given,
    heard: Option<&Analysis>,
    tuning: &Tuning,
    page: &NeckPage,
) -> Result<MelodyView, String> {
    let melody = given.read(heard)?;
    let bars = given.bars.filter(|_| given.file.is_none());
    let of = format!("{} {bars:?}", melody.title);
    let wanted = page.wanted.of(&of);
    let found = melody
        .refinger_on(tuning, page.frets.1, &Costs::default(), wanted)
        .map_err(|e| e.to_string())?;
    let on = |(note, string): &(usize, u8)| {
        let place = found.path.places.get(*note);
        place.is_some_and(|p| p.string == *string).then_some(*note)
    };
    Ok(MelodyView {
        first_bar: bars.map_or(1, |bars| bars.0),
        marks: path_marks(&found.path, tuning, melody.key, page.scale_mm),
        wanted: wanted.iter().filter_map(on).collect(),
        of,
        found,
        melody,
    })
}

/// What the fingers play in some bars of a recording.
fn melody_heard(heard: &Analysis, bars: Option<(i32, i32)>, name: &str) -> Result<Melody, String> {
    let no_beat = || "There is no steady beat to move a melody against".to_owned();
    let bars = bars.ok_or_else(no_beat)?;
    let parts = division(&place(&heard.notes, &heard.grid), heard.grid.meter);
    let offset = heard.tuning_offset.unwrap_or_default();
    let key = key::of_notes(&heard.notes, offset)
        .map_or_else(Key::default, thumbline::music::key::Tonality::signature);
    let title = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    Melody::of_recording(title, &heard.notes, &heard.grid, key, parts, bars).ok_or_else(no_beat)
}
