//! What was heard, in every format that another program or a printer reads: of a whole recording or of
//! some bars.
//!
//! Owns the list of formats and what each is made of; how each is written is its own module's.

use super::marks::{self, Cue};
use super::sheet::{self, Ground, Piece};
use super::wav::Depth;
use super::{csv, jams, json, midi, musicxml, pdf, svg, tab};
use crate::analysis::Analysis;
use crate::music::score::Score;
use crate::music::{guess, key, picking};
use crate::recording::Recording;
use crate::timing::{self, Reference};
use std::io;
use std::ops::Range;

/// A format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// The sound, with a cue point at every bar.
    Wav,
    /// Notation and tablature, MusicXML 4.0.
    Musicxml,
    /// Tablature as text.
    Tab,
    /// The bar sheet as a picture.
    Svg,
    /// The bar sheet on A4 pages, for printing.
    Pdf,
    /// Standard MIDI File, every note where it was played.
    Midi,
    /// Standard MIDI File, every note on its slot at an even tempo.
    MidiEven,
    /// Everything that was heard, in this program's own schema.
    Json,
    /// A row a note.
    Csv,
    /// Onsets, beats, tempo and notes in JAMS.
    Jams,
}

impl Format {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Wav,
        Self::Musicxml,
        Self::Tab,
        Self::Svg,
        Self::Pdf,
        Self::Midi,
        Self::MidiEven,
        Self::Json,
        Self::Csv,
        Self::Jams,
    ];

    /// What a player calls it, and what it is for.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Wav => ("The sound", "WAV, a cue point at every bar"),
            Self::Musicxml => ("MusicXML", "notation and tablature, to edit elsewhere"),
            Self::Tab => ("Tablature", "as plain text"),
            Self::Svg => ("Bar sheet", "as a picture, SVG"),
            Self::Pdf => ("Bar sheet to print", "PDF, on A4 pages"),
            Self::Midi => (
                "MIDI as played",
                "every note where it was played, on its beats",
            ),
            Self::MidiEven => (
                "MIDI on the slots",
                "every note on its slot, at an even tempo",
            ),
            Self::Json => ("JSON", "everything that was heard"),
            Self::Csv => ("CSV", "a row a note, for tables"),
            Self::Jams => ("JAMS", "onsets, beats and notes for research"),
        }
    }

    /// The ending of its files.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Wav => "wav",
            Self::Musicxml => "musicxml",
            Self::Tab => "txt",
            Self::Svg => "svg",
            Self::Pdf => "pdf",
            Self::Midi | Self::MidiEven => "mid",
            Self::Json => "json",
            Self::Csv => "csv",
            Self::Jams => "jams",
        }
    }
}

/// Why there is nothing to write.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// It cannot be written in bars.
    #[error("`{0}` has no steady beat to write it down by: export json, csv or midi instead")]
    NoBeat(String),
    /// It has no such bars.
    #[error("`{name}` has no bars {first} to {last}: analyze shows which it has")]
    NoBars {
        /// The recording.
        name: String,
        /// First bar asked for.
        first: i32,
        /// Last bar.
        last: i32,
    },
    /// The format cannot hold it.
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// What was heard in `recording`, in `format`. In a WAV file, the bars `repeat` are marked as its loop.
///
/// # Errors
/// [`ExportError`] where there is no beat to write it by, no such bars, or more than the format holds.
pub fn bytes(
    format: Format,
    recording: &Recording,
    heard: &Analysis,
    repeat: Option<(i32, i32)>,
) -> Result<Vec<u8>, ExportError> {
    let name = recording.title();
    let drift = || timing::of(heard, Reference::OwnTempo);
    Ok(match format {
        Format::Json => json::analysis(recording, heard, &drift()).into_bytes(),
        Format::Csv => csv::notes(heard, &drift()).into_bytes(),
        Format::Jams => jams::analysis(name, heard).into_bytes(),
        Format::MidiEven => midi::score(&page(name, heard)?.0)?,
        Format::Midi => midi::performance(name, &heard.notes, &heard.grid)?,
        Format::Musicxml => {
            let (score, before) = page(name, heard)?;
            let marked: Vec<i32> = drift().sections.iter().map(|s| s.first).collect();
            // One part alone needs no letter.
            let marked: &[i32] = if marked.len() > 1 { &marked } else { &[] };
            let bars = musicxml::Bars {
                before,
                marked,
                pitches_alone: !heard.tuning_known(),
            };
            musicxml::with_bars(&score, bars)?
        }
        Format::Tab => tablature(name, heard)?.into_bytes(),
        Format::Svg => {
            let drift = drift();
            let piece = Piece::of(name, heard, &drift);
            svg::write(&piece, sheet::Options::default(), Ground::Paper).into_bytes()
        }
        Format::Pdf => {
            let drift = drift();
            let piece = Piece::of(name, heard, &drift);
            pdf::write(&piece, sheet::Options::default())
        }
        Format::Wav => wav(recording, heard, repeat)?,
    })
}

/// The same of the bars `first` to `last` alone, as a piece that begins with them.
///
/// # Errors
/// Those of [`bytes`].
pub fn phrase(
    format: Format,
    recording: &Recording,
    heard: &Analysis,
    (first, last): (i32, i32),
) -> Result<Vec<u8>, ExportError> {
    let none = || ExportError::NoBars {
        name: recording.name().to_owned(),
        first,
        last,
    };
    let (cut, from, to) = heard.phrase(first, last).ok_or_else(none)?;
    let rate = recording.rate();
    let frames = from.frame(rate)..to.frame(rate).min(recording.frames());
    let channels = (0..recording.width()).map(|c| recording.part(c, frames.clone()).into_owned());
    let sound = Recording::new(recording.name(), rate, channels.collect()).map_err(|_| none())?;
    bytes(format, &sound, &cut, None)
}

fn wav(
    recording: &Recording,
    heard: &Analysis,
    repeat: Option<(i32, i32)>,
) -> Result<Vec<u8>, ExportError> {
    let rate = recording.rate();
    let bars = heard.grid.bars();
    let cues = bars.iter().filter(|bar| bar.start.0 >= 0.0).map(|bar| Cue {
        frame: bar.start.frame(rate).min(recording.frames() - 1),
        name: format!("bar {}", bar.number),
    });
    let cues: Vec<Cue> = cues.collect();
    let repeat: Option<Range<usize>> = match repeat {
        None => None,
        Some((first, last)) => {
            let none = || ExportError::NoBars {
                name: recording.name().to_owned(),
                first,
                last,
            };
            let (from, to) = heard.grid.bar_range(first, last).ok_or_else(none)?;
            Some(from.frame(rate)..to.frame(rate).min(recording.frames()))
        }
    };
    let channels: Vec<Vec<f32>> = (0..recording.width())
        .map(|c| recording.part(c, 0..recording.frames()).into_owned())
        .collect();
    let mut out = Vec::new();
    marks::write(&mut out, rate, &channels, Depth::Float32, repeat, &cues)?;
    Ok(out)
}

/// Tablature in the tuning that was told or is sure; in the likeliest two where none is sure.
fn tablature(name: &str, heard: &Analysis) -> Result<String, ExportError> {
    /// Columns.
    const WIDTH: usize = 80;
    let page = |heard: &Analysis| Ok::<_, ExportError>(tab::text(&page(name, heard)?.0, WIDTH));
    if heard.tuning_known() {
        let said = guess::told(&heard.guesses);
        let said = if said.is_empty() {
            String::new()
        } else {
            format!("Tuning {said}\n\n")
        };
        return Ok(said + &page(heard)?);
    }
    let mut out = String::from("The tuning is not sure; here are the likeliest two.\n");
    for guess in heard.guesses.iter().take(2) {
        let tuned = page(&heard.tuned(&guess.tuning))?;
        out += &[
            "\n",
            &guess.to_string(),
            ", ",
            &guess.percent().to_string(),
            " %\n\n",
            &tuned,
        ]
        .concat();
    }
    Ok(out)
}

/// What was heard, on the page, in its key, and how many bars it has before bar 1.
fn page(name: &str, heard: &Analysis) -> Result<(Score, usize), ExportError> {
    let placed = picking::place(&heard.notes, &heard.grid);
    let division = picking::division(&placed, heard.grid.meter);
    let (notes, grid, tuning) = (&heard.notes, &heard.grid, &heard.tuning);
    let found = Score::with_pickup(name, notes, grid, tuning, division);
    let (mut score, before) = found.ok_or_else(|| ExportError::NoBeat(name.to_owned()))?;
    if let Some(found) = key::of_notes(notes, heard.tuning_offset.unwrap_or_default()) {
        score.key = found.signature();
    }
    if !heard.tuning_known() {
        score.title = format!("{name} (tuning {})", guess::told(&heard.guesses));
    }
    Ok((score, before))
}
