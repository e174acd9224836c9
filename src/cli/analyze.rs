//! `analyze`: what is played in a recording, and when.

use super::arguments::GuitarArguments;
use super::command::Command;
use super::outputs::OutputArguments;
use super::source::{self, Analysed};
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::Result;
use clap::Args;
use std::path::{Path, PathBuf};
use thumbline::analysis::Analysis;
use thumbline::load::Part;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::recording::Recording;
use thumbline::report::file::Target;
use thumbline::report::sheet::{self, Ground, Piece};
use thumbline::report::{bar_picture, csv, json, svg};
use thumbline::timing::Drift;

/// Find every note with its time, thumb or finger, pitch and string, and the beats, bars, tempo
/// and tuning.
///
/// Thumb and fingers are told by voice, repetition and the pattern of the bar, with the string as
/// evidence; in a single line, in strums and gripped chords only the string tells, and there "thumb" means
/// strings 4 to 6.
#[derive(Args)]
pub struct Analyze {
    /// The recording (most sound files and videos: thumbline manual files).
    rec: PathBuf,
    /// Write everything as JSON; - is standard output.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write one row a note for a spreadsheet; - is standard output.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Draw the bar sheet: thumb and fingers against the beat; - is standard output.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Draw it on a dark background.
    #[arg(long, requires = "svg")]
    dark: bool,
    /// Draw bars that play alike as one row.
    #[arg(long, requires = "svg")]
    fold: bool,
    /// Draw one bar close up: the waveform, where the sound rises, and every pluck; - is standard
    /// output.
    #[arg(long, value_name = "FILE")]
    close_up: Option<PathBuf>,
    /// The bar to draw close up.
    #[arg(long, value_name = "N", default_value_t = 2)]
    bar: i32,
    #[command(flatten)]
    outputs: OutputArguments,
    #[command(flatten)]
    guitar: GuitarArguments,
}

impl Command for Analyze {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let reports = [&self.json, &self.csv, &self.svg, &self.close_up].map(Option::as_ref);
        let [json_to, csv_to, svg_to, close_to] = self.outputs.targets(&[&self.rec], reports)?;
        let options = self.guitar.options()?;
        let recording = source::read_long(&self.rec, Part::WHOLE, terminal)?;
        let Analysed { found, drift } = source::hear(&recording, &options, terminal)?;
        let all = [&json_to, &csv_to, &svg_to, &close_to];
        let shown = all.contains(&&Some(Target::Output));
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
            let fold = if self.fold {
                sheet::Fold::Alike { open: 0 }
            } else {
                sheet::Fold::Never
            };
            let options = sheet::Options {
                fold,
                ..sheet::Options::default()
            };
            source::save(&target, &svg::write(&piece, options, ground))?;
        }
        if let Some(target) = close_to {
            source::save(&target, &close_up(&recording, (&found, &drift), self.bar)?)?;
        }
        if !shown {
            terminal.say(&summary(&found, &drift))?;
        }
        Ok(())
    }
}

/// One bar as it was heard.
fn close_up(
    recording: &Recording,
    (found, drift): (&Analysis, &Drift),
    number: i32,
) -> Result<String> {
    let piece = Piece::of(recording.title(), found, drift);
    let bars = found.grid.bars();
    let Some(bar) = bars.iter().find(|bar| bar.number == number) else {
        return Err(usage(match (bars.first(), bars.last()) {
            (Some(first), Some(last)) => format!(
                "there is no bar {number}: the recording holds bars {} to {}",
                first.number, last.number
            ),
            _ => "no bars were found in this recording".to_owned(),
        }));
    };
    Ok(bar_picture::draw(recording, &piece, bar.start, bar.end))
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
    let mut lines = vec![if found.solo.is_one_guitar() {
        format!(
            "{} thumb and {} finger notes in {:.1} s",
            count(Role::Bass),
            count(Role::Melody),
            found.end.0
        )
    } else {
        let notes = count(Role::Bass) + count(Role::Melody);
        format!("{notes} notes in {:.1} s", found.end.0)
    }];
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
    if let Some(said) = source::tuning_said(found) {
        lines.push(format!("tuning {said}"));
    }
    if let Some(offset) = found.tuning_offset {
        lines.push(format!("tuned {:+.0} cents from A = 440 Hz", offset.0));
    }
    lines.join("\n")
}

fn is_note_of(note: &Note, role: Role) -> bool {
    note.role == role && note.attack != Attack::Tap
}
