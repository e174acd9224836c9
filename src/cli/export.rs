//! `export`: what was heard in a recording, in formats that other programs read.

use super::arguments::bars;
use super::command::Command;
use super::outputs::OutputArguments;
use super::patterns::given_tuning;
use super::source;
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::Result;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::load::Part;
use thumbline::recording::Recording;
use thumbline::report::export::{self, ExportError};

/// A format to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Everything that was heard, in this program's own schema.
    Json,
    /// A row a note.
    Csv,
    /// Onsets, beats, tempo and notes in JAMS.
    Jams,
    /// Standard MIDI File, thumb and fingers apart, on the recording's own beats.
    Midi,
    /// MusicXML 4.0: notation and tablature, two voices.
    Musicxml,
    /// Tablature as text.
    Tab,
    /// The bar sheet.
    Svg,
    /// The bar sheet on A4 pages, for printing.
    Pdf,
    /// The sound, with a cue point at every bar and, with --bars, a loop.
    Wav,
}

/// Write what was heard in a recording for other programs.
#[derive(Args)]
pub struct Export {
    /// The recording (most sound files and videos: thumbline manual files).
    rec: PathBuf,
    /// Format to write.
    #[arg(long, value_name = "FORMAT")]
    to: Format,
    /// File to write; - is standard output.
    #[arg(long, value_name = "FILE", default_value = "-")]
    out: PathBuf,
    /// In MIDI, put every note on its slot at an even tempo instead of where it was played.
    #[arg(long)]
    quantised: bool,
    /// In WAV, the bars to loop.
    #[arg(long, value_name = "FIRST-LAST", value_parser = bars)]
    bars: Option<(i32, i32)>,
    /// Tuning by name, or its strings from the lowest; guessed without it.
    #[arg(long)]
    tuning: Option<String>,
    /// Fret of the capo; only with --tuning.
    #[arg(long, requires = "tuning", default_value_t = 0)]
    capo: i32,
    #[command(flatten)]
    outputs: OutputArguments,
}

impl Command for Export {
    fn run(self, terminal: &Terminal) -> Result<()> {
        if self.quantised && self.to != Format::Midi {
            return Err(usage("--quantised is for --to midi"));
        }
        if self.bars.is_some() && self.to != Format::Wav {
            return Err(usage("--bars is for --to wav"));
        }
        let target = self.outputs.target(&[&self.rec], &self.out)?;
        let presets = source::presets(terminal);
        let options = Options {
            tuning: given_tuning(&presets, self.tuning.as_deref(), self.capo)?,
            tunings: presets.tunings.clone(),
        };
        let recording = match self.to {
            Format::Wav => source::read(&self.rec, Part::WHOLE, terminal)?,
            _ => source::read_long(&self.rec, Part::WHOLE, terminal)?,
        };
        let heard = source::analyze(&recording, &options, terminal)?;
        if matches!(self.to, Format::Tab | Format::Musicxml) {
            source::tell_tuning(&heard, terminal);
        }
        let bytes = self.bytes(&recording, &heard)?;
        target.write(|out| out.write_all(&bytes))?;
        Ok(())
    }
}

impl Export {
    fn bytes(&self, recording: &Recording, heard: &Analysis) -> Result<Vec<u8>> {
        let bytes = export::bytes(self.format(), recording, heard, self.bars);
        bytes.map_err(|error| match error {
            ExportError::NoBars { .. } => usage(error.to_string()),
            other => other.into(),
        })
    }

    fn format(&self) -> export::Format {
        match self.to {
            Format::Json => export::Format::Json,
            Format::Csv => export::Format::Csv,
            Format::Jams => export::Format::Jams,
            Format::Midi if self.quantised => export::Format::MidiEven,
            Format::Midi => export::Format::Midi,
            Format::Musicxml => export::Format::Musicxml,
            Format::Tab => export::Format::Tab,
            Format::Svg => export::Format::Svg,
            Format::Pdf => export::Format::Pdf,
            Format::Wav => export::Format::Wav,
        }
    }
}
