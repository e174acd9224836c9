//! `analyze`: what is played in a recording, and when.

use super::Command;
use super::arguments::{self, GuitarArguments};
use super::source::{self, Heard};
use super::terminal::Terminal;
use anyhow::Result;
use clap::Args;
use std::path::{Path, PathBuf};
use thumbline::analysis::Analysis;
use thumbline::load::Part;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::report::file::Target;
use thumbline::report::sheet::{self, Ground, Piece};
use thumbline::report::{csv, json, svg};
use thumbline::timing::Drift;

/// Find every note with its time, thumb or finger, pitch and string, and the beats, bars, tempo
/// and tuning.
#[derive(Args)]
pub struct Analyze {
    /// The recording (WAV, AIFF, FLAC, MP3, Ogg Vorbis, M4A).
    rec: PathBuf,
    /// Write everything as JSON; - is standard output.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write a row a note for a spreadsheet; - is standard output.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw the bar sheet: thumb and fingers against the beat; - is standard output.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Draw it on a dark ground.
    #[arg(long, requires = "svg")]
    dark: bool,
    #[command(flatten)]
    guitar: GuitarArguments,
}

impl Command for Analyze {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let reports = [self.json.as_ref(), self.csv.as_ref(), self.svg.as_ref()];
        let [json_to, csv_to, svg_to] = arguments::targets(reports)?;
        let options = self.guitar.options()?;
        let recording = source::read(&self.rec, Part::WHOLE, terminal)?;
        let Heard { found, drift } = source::hear(&recording, &options, terminal)?;
        let shown = [&json_to, &csv_to, &svg_to].contains(&&Some(Target::Output));
        if let Some(target) = json_to {
            source::save(&target, &json::analysis(&recording, &found, &drift))?;
        }
        if let Some(target) = csv_to {
            source::save(&target, &csv::notes(&found, &drift))?;
        }
        if let Some(target) = svg_to {
            let title = title(&self.rec);
            let piece = Piece::of(&title, &found, &drift);
            let ground = if self.dark {
                Ground::Dark
            } else {
                Ground::Paper
            };
            source::save(
                &target,
                &svg::write(&piece, sheet::Options::default(), ground),
            )?;
        }
        if !shown {
            terminal.say(&summary(&found, &drift))?;
        }
        Ok(())
    }
}

/// A recording's name without folder and ending.
fn title(path: &Path) -> String {
    let stem = path.file_stem().unwrap_or(path.as_os_str());
    stem.to_string_lossy().into_owned()
}

/// What was found, in a few lines.
fn summary(found: &Analysis, drift: &Drift) -> String {
    let count = |role| {
        let of_role = |n: &&_| -> bool { is_note_of(n, role) };
        found.notes.iter().filter(of_role).count()
    };
    let mut lines = vec![format!(
        "{} thumb and {} finger notes in {:.1} s",
        count(Role::Bass),
        count(Role::Melody),
        found.end.0
    )];
    lines.push(match (found.grid.tempo(), found.grid.bars().as_slice()) {
        (Some(tempo), [first, .., last]) => format!(
            "{:.1} beats a minute in {}, bars {} to {}",
            tempo.0, found.grid.meter, first.number, last.number
        ),
        (Some(tempo), _) => format!("{:.1} beats a minute", tempo.0),
        _ => "no steady beat".to_owned(),
    });
    if let Some(swing) = drift.swing.filter(|s| s.low > 1.0) {
        lines.push(format!("swing {:.2} to 1", swing.ratio));
    }
    if let Some(offset) = found.tuning_offset {
        lines.push(format!("tuned {:+.0} cents from A = 440 Hz", offset.0));
    }
    lines.join("\n")
}

fn is_note_of(note: &Note, role: Role) -> bool {
    note.role == role && note.attack != Attack::Tap
}
