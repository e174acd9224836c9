//! `compare`: a take against the recording it learns from.

use super::arguments::GuitarArguments;
use super::command::Command;
use super::outputs::OutputArguments;
use super::terminal::Terminal;
use super::usage::usage;
use super::{arguments, sound, source};
use anyhow::{Result, bail};
use clap::Args;
use std::path::PathBuf;
use thumbline::analysis::{Analysis, Options};
use thumbline::compare::listen::{self, Order};
use thumbline::compare::{Comparison, Model, compare};
use thumbline::journal::{self, Journal, Moment, Practised};
use thumbline::load::Part;
use thumbline::recording::Recording;
use thumbline::report::compare as report;
use thumbline::report::file::Target;
use thumbline::report::sheet::{self, Ground, Piece};
use thumbline::report::svg;
use thumbline::timing::{self, Drift, Reference};

/// Compare a take with the recording you learn from: note by note, against the beat, your own
/// thumb, and the player on the recording.
#[derive(Args)]
pub struct Compare {
    /// The recording you learn from.
    recording: PathBuf,
    /// Your take: any tempo, any number of times through.
    take: PathBuf,
    /// Write everything as JSON; - is standard output.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Draw the recording's bar sheet with the take's notes as hollow heads; - is standard output.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Write both as sound, beat for beat together: recording left, take right.
    #[arg(long, value_name = "FILE")]
    hear: Option<PathBuf>,
    /// With --hear: each bar twice, the recording's first, instead of left and right.
    #[arg(long, requires = "hear")]
    in_turn: bool,
    /// With --hear: which time through.
    #[arg(long, requires = "hear", default_value_t = 1)]
    round: usize,
    /// With --hear: speed of the recording; the take follows. By default the take keeps its own.
    #[arg(long, requires = "hear", value_parser = arguments::speed)]
    speed: Option<thumbline::stretch::Speed>,
    #[command(flatten)]
    guitar: GuitarArguments,
    /// Keep each time through in the journal, and the take's sound beside it.
    #[arg(long)]
    keep: bool,
    /// The journal's file, when it is not in its usual place.
    #[arg(long, value_name = "FILE", requires = "keep")]
    journal: Option<PathBuf>,
    /// With --keep: a note to yourself.
    #[arg(long, requires = "keep", default_value = "")]
    note: String,
    #[command(flatten)]
    outputs: OutputArguments,
}

/// One side: its sound and what was heard in it.
struct Side {
    sound: Recording,
    heard: Analysis,
    drift: Drift,
}

impl Side {
    fn read(path: &std::path::Path, options: &Options, terminal: &Terminal) -> Result<Self> {
        let sound = source::read(path, Part::WHOLE, terminal)?;
        let heard = source::analyze(&sound, options, terminal)?;
        let drift = timing::of(&heard, Reference::OwnTempo);
        Ok(Self {
            sound,
            heard,
            drift,
        })
    }

    fn model(&self) -> Model<'_> {
        Model {
            notes: &self.heard.notes,
            grid: &self.heard.grid,
            drifts: &self.drift.notes,
        }
    }
}

impl Command for Compare {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let targets = [self.json.as_ref(), self.svg.as_ref(), self.hear.as_ref()];
        let mut read = vec![self.recording.as_path(), self.take.as_path()];
        read.extend(self.journal.as_deref());
        let [json_to, svg_to, hear_to] = self.outputs.targets(&read, targets)?;
        let model = Side::read(&self.recording, &self.guitar.options()?, terminal)?;
        source::tell_tuning(&model.heard, terminal);
        // The take is played in the recording's tuning: a few bars would not tell it again.
        let same = Options::tuned(model.heard.tuning.clone());
        let take = Side::read(&self.take, &same, terminal)?;
        let found = compare(model.model(), &take.heard.notes);
        found.warnings.iter().for_each(|w| terminal.warn(w));
        let shown = [&json_to, &svg_to, &hear_to].contains(&&Some(Target::Output));
        if !shown {
            terminal.say(&report::words(&found))?;
        }
        if let Some(target) = json_to {
            let text = report::json(&found, &model.heard.notes, &take.heard.notes);
            source::save(&target, &text)?;
        }
        if let Some(target) = svg_to {
            source::save(&target, &picture(&model, &take, &found))?;
        }
        if let Some(fault) = found.fault {
            if hear_to.is_some() || self.keep {
                bail!("there is nothing to hear together or to keep: {fault}");
            }
            return Ok(());
        }
        if let Some(target) = hear_to {
            self.hear(&target, &model, &take, &found, terminal)?;
        }
        if self.keep {
            self.keep(&model, &take, &found, terminal)?;
        }
        Ok(())
    }
}

impl Compare {
    fn hear(
        &self,
        target: &Target,
        model: &Side,
        take: &Side,
        found: &Comparison,
        terminal: &Terminal,
    ) -> Result<()> {
        let Some(round) = self.round.checked_sub(1).and_then(|i| found.rounds.get(i)) else {
            return Err(usage(format!(
                "the take goes through {n} times: choose --round from 1 to {n}",
                n = found.rounds.len()
            )));
        };
        let order = if self.in_turn {
            Order::InTurn
        } else {
            Order::SideBySide
        };
        // As slow as the slower of the two, so that neither is hurried.
        let speed = self.speed.map_or(
            round.tempo_ratio.clamp(0.25, 1.0),
            thumbline::stretch::Speed::get,
        );
        let progress = terminal.progress("laying them together");
        let channels = listen::together(&model.sound, &take.sound, round, speed, order, || true)?;
        drop(progress);
        sound::write(target, model.sound.rate(), channels, false, terminal)
    }

    fn keep(
        &self,
        model: &Side,
        take: &Side,
        found: &Comparison,
        terminal: &Terminal,
    ) -> Result<()> {
        let path = match &self.journal {
            Some(path) => path.clone(),
            None => Journal::usual_place()?,
        };
        let rounds = journal::rounds_of(
            found,
            &Practised {
                recording: model.sound.hash(),
                name: model.sound.title(),
                grid: &model.heard.grid,
                tuning: None,
                at: Moment::now(),
                note: &self.note,
            },
        );
        let kept = Journal::open(&path)?.keep_with_sound(&take.sound, rounds)?;
        let with = match kept.soundless {
            None => " with the take's sound",
            Some(why) => {
                terminal.warn(&format!(
                    "the take's sound was not kept, its figures were: {why}"
                ));
                ""
            }
        };
        let said = match kept.new {
            0 => "this take is in the journal already".to_owned(),
            1 => format!("one round kept in the journal{with}"),
            n => format!("{n} rounds kept in the journal{with}"),
        };
        terminal.remark(&said);
        Ok(())
    }
}

/// The recording's bar sheet with the take's answers as hollow heads.
fn picture(model: &Side, take: &Side, found: &Comparison) -> String {
    let (notes, drift) = found.page(model.model(), &take.heard.notes, Reference::Recording);
    let mut piece = Piece::of(model.sound.title(), &model.heard, &model.drift);
    piece.second = Some(sheet::Take {
        notes: &notes,
        drift: &drift,
    });
    svg::write(&piece, sheet::Options::default(), Ground::Paper)
}
