//! `analyze`: what is played in a recording, and when.

use super::terminal::Terminal;
use super::{Command, arguments, source};
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::load::Part;
use thumbline::music::note::{Attack, Role};
use thumbline::report::file::Target;
use thumbline::report::{csv, json};
use thumbline::timing::{self, Drift, Reference};

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
}

impl Command for Analyze {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let [json_to, csv_to] = arguments::targets([self.json.as_ref(), self.csv.as_ref()])?;
        let recording = source::read(&self.rec, Part::WHOLE, terminal)?;
        let found = source::analyze(&recording, &Options::default(), terminal)?;
        let drift = timing::measure(&found.notes, &found.grid, Reference::OwnTempo);
        let shown = [&json_to, &csv_to].contains(&&Some(Target::Output));
        if let Some(target) = json_to {
            source::save(&target, &json::analysis(&recording, &found, &drift))?;
        }
        if let Some(target) = csv_to {
            source::save(&target, &csv::notes(&found, &drift))?;
        }
        if !shown {
            terminal.say(&summary(&found, &drift))?;
        }
        Ok(())
    }
}

/// What was found, in a few lines.
pub fn summary(found: &Analysis, drift: &Drift) -> String {
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

fn is_note_of(note: &thumbline::music::note::Note, role: Role) -> bool {
    note.role == role && note.attack != Attack::Tap
}
