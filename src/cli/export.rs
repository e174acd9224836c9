//! `export`: what was heard in a recording, in formats that other programs read.

use super::arguments::bars;
use super::outputs::OutputArguments;
use super::patterns::given_tuning;
use super::terminal::Terminal;
use super::{Command, source, usage};
use anyhow::{Result, anyhow};
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::load::Part;
use thumbline::music::score::Score;
use thumbline::music::{guess, key, picking};
use thumbline::recording::Recording;
use thumbline::report::marks::{self, Cue};
use thumbline::report::sheet::{self, Ground, Piece};
use thumbline::report::wav::Depth;
use thumbline::report::{csv, jams, json, midi, musicxml, pdf, svg, tab};
use thumbline::timing::{self, Reference};

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
        let name = recording.title();
        let drift = || timing::of(heard, Reference::OwnTempo);
        Ok(match self.to {
            Format::Json => json::analysis(recording, heard, &drift()).into_bytes(),
            Format::Csv => csv::notes(heard, &drift()).into_bytes(),
            Format::Jams => jams::analysis(name, heard).into_bytes(),
            Format::Midi if self.quantised => midi::score(&page(name, heard)?.0)?,
            Format::Midi => midi::performance(name, &heard.notes, &heard.grid)?,
            Format::Musicxml => {
                let (score, before) = page(name, heard)?;
                let marked: Vec<i32> = drift().sections.iter().map(|s| s.first).collect();
                // One part alone needs no letter.
                let marked: &[i32] = if marked.len() > 1 { &marked } else { &[] };
                musicxml::with_bars(&score, musicxml::Bars { before, marked })?
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
            Format::Wav => self.wav(recording, heard)?,
        })
    }

    fn wav(&self, recording: &Recording, heard: &Analysis) -> Result<Vec<u8>> {
        let rate = recording.rate();
        let cues: Vec<Cue> = heard
            .grid
            .bars()
            .iter()
            .filter(|bar| bar.start.0 >= 0.0)
            .map(|bar| Cue {
                frame: bar.start.frame(rate).min(recording.frames() - 1),
                name: format!("bar {}", bar.number),
            })
            .collect();
        let repeat = match self.bars {
            None => None,
            Some((first, last)) => {
                let (from, to) = heard.grid.bar_range(first, last).ok_or_else(|| {
                    usage(format!(
                        "`{}` has no bars {first} to {last}: analyze shows which it has",
                        recording.name()
                    ))
                })?;
                Some(from.frame(rate)..to.frame(rate).min(recording.frames()))
            }
        };
        let mut out = Vec::new();
        marks::write(
            &mut out,
            rate,
            recording.channels(),
            Depth::Float32,
            repeat,
            &cues,
        )?;
        Ok(out)
    }
}

/// Tablature in the tuning that was told or is sure; under a line that says so where it was guessed, and
/// in the likeliest two where none is sure.
fn tablature(name: &str, heard: &Analysis) -> Result<String> {
    let page = |heard: &Analysis| Ok::<_, anyhow::Error>(tab::text(&page(name, heard)?.0, 80));
    if heard.tuning_known() {
        let said =
            source::tuning_said(heard).map_or_else(String::new, |s| format!("Tuning {s}\n\n"));
        return Ok(said + &page(heard)?);
    }
    let mut out = String::from("The tuning is not sure; here are the likeliest two.\n");
    for guess in heard.guesses.iter().take(2) {
        let sure = (100.0 * guess.odds).round();
        let shown = page(&heard.tuned(&guess.tuning))?;
        out += &[
            "\n",
            &guess.to_string(),
            ", ",
            &sure.to_string(),
            " %\n\n",
            &shown,
        ]
        .concat();
    }
    Ok(out)
}

/// What was heard, on the page, in its key, and how many bars it has before bar 1.
fn page(name: &str, heard: &Analysis) -> Result<(Score, usize)> {
    let placed = picking::place(&heard.notes, &heard.grid);
    let division = picking::division(&placed, heard.grid.meter);
    let (notes, grid, tuning) = (&heard.notes, &heard.grid, &heard.tuning);
    let (mut score, before) =
        Score::with_pickup(name, notes, grid, tuning, division).ok_or_else(|| {
            anyhow!(
                "`{name}` has no steady beat to write it down by: export json, csv or midi instead"
            )
        })?;
    if let Some(found) = key::of_notes(notes, heard.tuning_offset.unwrap_or_default()) {
        score.key = found.signature();
    }
    if !heard.tuning_known() {
        score.title = format!("{name} (tuning {})", guess::told(&heard.guesses));
    }
    Ok((score, before))
}
