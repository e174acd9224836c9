//! `journal`: pages, progress, advice; export, backup, restore, merge, rescue.

use super::command::Command;
use super::outputs::OutputArguments;
use super::source;
use super::strings::text::wrapped;
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::{Context, Result, bail};
use clap::{Args, Subcommand};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use thumbline::journal::{
    self, Journal, JournalPage, KeptTake, Moment, PracticeRound, advice, chart,
};
use thumbline::report::file::Target;

/// Version of the JSON that `journal export` writes.
const SCHEMA: u32 = 1;

/// Practice rounds over the weeks: pages, progress, what to practise next.
#[derive(Args)]
pub struct JournalArguments {
    #[command(subcommand)]
    verb: Option<Verb>,
    /// The journal's file, when it is not in its usual place.
    #[arg(long, value_name = "FILE", global = true)]
    journal: Option<PathBuf>,
}

#[derive(Subcommand)]
enum Verb {
    /// List the pages, the one practised last first (this is also what `journal` alone does).
    List {
        /// As JSON.
        #[arg(long)]
        json: bool,
    },
    /// Show the latest rounds of a page.
    JournalPage {
        /// The recording's name or the beginning of its hash.
        name: String,
        /// How many rounds to show.
        #[arg(long, default_value_t = 20)]
        rounds: usize,
        /// As JSON.
        #[arg(long)]
        json: bool,
    },
    /// Chart the progress on a page, day by day.
    Chart {
        /// The recording's name or the beginning of its hash.
        name: String,
        /// Draw it into this file; `-` is standard output.
        #[arg(long, value_name = "FILE")]
        svg: Option<PathBuf>,
        #[command(flatten)]
        outputs: OutputArguments,
    },
    /// Say what to practise next, and by which rule.
    Next {
        /// As JSON.
        #[arg(long)]
        json: bool,
    },
    /// Write every round to a file.
    Export {
        /// JSON file; `-` is standard output.
        #[arg(long, value_name = "FILE")]
        json: Option<PathBuf>,
        /// CSV file; `-` is standard output.
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
        #[command(flatten)]
        outputs: OutputArguments,
    },
    /// Copy the journal to a file, even while it is in use.
    Backup {
        /// The copy; an older one of the same journal gives way.
        to: PathBuf,
        /// Replace any other file of that name.
        #[arg(long)]
        replace: bool,
    },
    /// Put a backup in the journal's place; what was there is kept beside it.
    Restore {
        /// The backup.
        from: PathBuf,
    },
    /// Take in the rounds of another machine's journal.
    Merge {
        /// The other journal.
        other: PathBuf,
    },
    /// Read what a damaged journal still gives into a new one.
    Rescue {
        /// The new journal; it must not exist yet.
        to: PathBuf,
    },
    /// List the takes whose sound is kept beside the journal.
    Takes {
        /// As JSON.
        #[arg(long)]
        json: bool,
    },
    /// Remove the sound of a take for good; the rounds measured on it stay.
    Discard {
        /// The beginning of the take's hash, as `journal takes` shows it.
        take: String,
        /// Say that you mean it.
        #[arg(long)]
        for_good: bool,
    },
    /// Remove a page and its rounds for good; its takes stay.
    Forget {
        /// The recording's name or the beginning of its hash.
        name: String,
        /// Say that you mean it.
        #[arg(long)]
        for_good: bool,
    },
}

impl Command for JournalArguments {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let path = match self.journal {
            Some(path) => path,
            None => Journal::usual_place()?,
        };
        // What a damaged or absent journal allows comes before opening it.
        match &self.verb {
            Some(Verb::Restore { from }) => {
                let aside = journal::restore(from, &path)?;
                terminal.say(&format!("restored {}", path.display()))?;
                if let Some(aside) = aside {
                    terminal.say(&format!(
                        "the previous journal is kept as {}",
                        aside.display()
                    ))?;
                }
                return Ok(());
            }
            Some(Verb::Rescue { to }) => return rescue(&path, to, terminal),
            _ => {}
        }
        let mut journal = Journal::open(&path)?;
        if let Some(why) = journal.read_only() {
            terminal.warn(&format!("this journal can only be read: {why}"));
        }
        act(
            self.verb.unwrap_or(Verb::List { json: false }),
            &mut journal,
            terminal,
        )
    }
}

fn act(verb: Verb, journal: &mut Journal, terminal: &Terminal) -> Result<()> {
    match verb {
        Verb::List { json } => list(&journal.pages()?, json, terminal),
        Verb::JournalPage { name, rounds, json } => {
            let page = find(journal, &name)?;
            let rounds = journal.rounds(Some(page.recording), rounds, 0)?;
            if json {
                say_json(
                    &serde_json::json!({ "page": page, "rounds": rounds }),
                    terminal,
                )
            } else {
                Ok(terminal.say(&page_text(&page, &rounds))?)
            }
        }
        Verb::Chart { name, svg, outputs } => {
            let [svg] = outputs.targets(&[journal.path()], [svg.as_ref()])?;
            let page = find(journal, &name)?;
            let sessions = journal.progress(page.recording)?;
            match svg {
                Some(target) => source::save(&target, &chart::svg(&page.name, &sessions)),
                None => Ok(terminal.say(chart::text(&sessions, 80).trim_end())?),
            }
        }
        Verb::Next { json } => next(journal, json, terminal),
        Verb::Export { json, csv, outputs } => {
            let to = outputs.targets(&[journal.path()], [json.as_ref(), csv.as_ref()])?;
            export(journal, to, terminal)
        }
        Verb::Backup { to, replace } => back_up(journal, &to, replace, terminal),
        Verb::Merge { other } => {
            let merged = journal.merge(&other)?;
            Ok(terminal.say(&format!(
                "{} rounds imported, {} were here already; {} takes copied",
                merged.added, merged.known, merged.takes
            ))?)
        }
        Verb::Takes { json } => takes(&journal.takes()?, json, terminal),
        Verb::Discard { take, for_good } => discard(journal, &take, for_good, terminal),
        Verb::Forget { name, for_good } => {
            let page = find(journal, &name)?;
            if !for_good {
                return Err(usage(format!(
                    "this would remove {} rounds of “{}” for good: say --for-good if you mean it",
                    page.rounds, page.name
                )));
            }
            let gone = journal.forget(page.recording)?;
            Ok(terminal.say(&format!("{gone} rounds of “{}” removed", page.name))?)
        }
        Verb::Restore { .. } | Verb::Rescue { .. } => Ok(()), // done before the journal was opened
    }
}

fn takes(takes: &[KeptTake], json: bool, terminal: &Terminal) -> Result<()> {
    if json {
        return say_json(&serde_json::json!({ "takes": takes }), terminal);
    }
    if takes.is_empty() {
        terminal.say("No take is kept yet. `thumbline compare … --keep` keeps one.")?;
        return Ok(());
    }
    let mut out = String::from("take      kept              rounds      size  file\n");
    for t in takes {
        let size = t.bytes.map_or_else(
            || "gone".to_owned(),
            |b| format!("{:.1} MB", b as f64 / 1e6),
        );
        let name = t.file.file_name().unwrap_or_default().to_string_lossy();
        let short: String = name.chars().take(16).collect();
        let _ = writeln!(
            out,
            "{}  {:<16}  {:>6}  {size:>8}  {short}…",
            &t.hash.to_string()[..8],
            t.at.local(),
            t.rounds
        );
    }
    if let Some(folder) = takes.first().and_then(|t| t.file.parent()) {
        let _ = write!(out, "in {}", folder.display());
    }
    Ok(terminal.say(&out)?)
}

fn discard(journal: &mut Journal, take: &str, for_good: bool, terminal: &Terminal) -> Result<()> {
    let found: Vec<KeptTake> = journal
        .takes()?
        .into_iter()
        .filter(|t| !take.is_empty() && t.hash.to_string().starts_with(&take.to_lowercase()))
        .collect();
    let [one] = found.as_slice() else {
        bail!(
            "{} takes begin with “{take}”: `thumbline journal takes` lists them",
            found.len()
        );
    };
    if !for_good {
        return Err(usage(format!(
            "this would remove the sound of the take of {} for good: say --for-good if you mean it",
            one.at.local()
        )));
    }
    journal.discard_take(one.hash)?;
    Ok(terminal.say("the take's sound is removed; its rounds are still in the journal")?)
}

fn find(journal: &Journal, name: &str) -> Result<JournalPage> {
    match journal.page(name)? {
        Some(page) => Ok(page),
        None => bail!(
            "there is no page for “{name}” in {}: `thumbline journal` lists them",
            journal.path().display()
        ),
    }
}

fn list(pages: &[JournalPage], json: bool, terminal: &Terminal) -> Result<()> {
    if json {
        return say_json(&serde_json::json!({ "pages": pages }), terminal);
    }
    if pages.is_empty() {
        terminal.say(
            "The journal is empty. A round is kept by `thumbline compare … --keep`, or in the window.",
        )?;
        return Ok(());
    }
    let mut out = String::from("last practised     rounds  fastest  recording\n");
    for p in pages {
        let _ = writeln!(
            out,
            "{:<17}  {:>6}  {:>6.0}%  {}",
            p.last.local(),
            p.rounds,
            p.top_speed * 100.0,
            p.name
        );
    }
    Ok(terminal.say(out.trim_end())?)
}

fn page_text(page: &JournalPage, rounds: &[PracticeRound]) -> String {
    let mut out = format!(
        "{} — {} rounds since {}\n",
        page.name,
        page.rounds,
        page.first.date()
    );
    out.push_str("when              speed  thumb ms    fingers ms  where\n");
    let part = |figure: Option<journal::HandFigure>| {
        figure.map_or_else(
            || "-".into(),
            |f| format!("{:+.0} ± {:.0}", f.drift_ms, f.spread_ms),
        )
    };
    for r in rounds {
        let _ = writeln!(
            out,
            "{:<16}  {:>4.0}%  {:<10}  {:<10}  {}{}",
            r.at.local(),
            r.speed * 100.0,
            part(r.thumb),
            part(r.fingers),
            r.region,
            if r.note.is_empty() {
                String::new()
            } else {
                format!(" — {}", r.note)
            },
        );
    }
    out.push_str("positive is behind the beat; ± is the spread");
    out
}

fn next(journal: &Journal, json: bool, terminal: &Terminal) -> Result<()> {
    let told = advice::suggest(journal, Moment::now())?;
    let week = advice::week(journal, None, Moment::now())?;
    if json {
        return say_json(
            &serde_json::json!({ "rule": advice::RULE, "next": told, "week": week }),
            terminal,
        );
    }
    if told.is_empty() {
        terminal.say("Nothing is due today. Rest is practice too.")?;
    }
    for suggestion in &told {
        terminal.say(&wrapped(&suggestion.words(), 78))?;
    }
    if week.iter().any(|day| !day.tasks.is_empty()) {
        terminal.say("\nThe next seven days")?;
        for day in &week {
            let tasks = if day.tasks.is_empty() {
                "rest".to_owned()
            } else {
                format!("{} ({} minutes)", day.tasks.join("; "), day.minutes)
            };
            let line = format!("{}  {tasks}", day.at.date());
            terminal.say(&wrapped(&line, 78))?;
        }
    }
    let rule = format!("The rule: {}", advice::RULE);
    terminal.say(&format!("\n{}", wrapped(&rule, 78)))?;
    Ok(terminal.say(
        "Warm up first and stop when something hurts. Numbness, tingling or weakness means\n  stop and seek help.",
    )?)
}

/// Copies the journal to `to`, unless that would lose something.
fn back_up(journal: &Journal, to: &Path, replace: bool, terminal: &Terminal) -> Result<()> {
    let name = to.display();
    if to.is_file() && !replace {
        match journal.lacks(to) {
            Ok(0) => {}
            Ok(more) => {
                return Err(usage(format!(
                    "`{name}` is a journal with {more} rounds that this one lacks: name another \
                     file, or say --replace to lose them"
                )));
            }
            Err(_) => {
                return Err(usage(format!(
                    "`{name}` is there already and is not a backup of this journal: name another \
                     file, or say --replace to lose it"
                )));
            }
        }
    }
    journal.back_up(to)?;
    Ok(terminal.say(&format!("backed up to {name}"))?)
}

fn export(journal: &Journal, [json, csv]: [Option<Target>; 2], terminal: &Terminal) -> Result<()> {
    if json.is_none() && csv.is_none() {
        return Err(usage(
            "say where to: --json FILE or --csv FILE (`-` is standard output)",
        ));
    }
    let rounds = journal.rounds(None, usize::MAX, 0)?;
    if let Some(target) = json {
        let document = serde_json::json!({ "schema": "thumbline-journal", "version": SCHEMA, "rounds": rounds });
        let text = serde_json::to_string_pretty(&document).context("the journal as JSON")?;
        target.write(|out| writeln!(out, "{text}"))?;
    }
    if let Some(target) = csv {
        let text = csv_text(&rounds);
        target.write(|out| out.write_all(text.as_bytes()))?;
    }
    terminal.remark(&format!("{} rounds exported", rounds.len()));
    Ok(())
}

/// One line a round, with a heading; RFC 4180 quoting.
fn csv_text(rounds: &[PracticeRound]) -> String {
    let mut out = String::from(
        "recording,name,when_utc_ms,tuning,from_s,to_s,region,speed,thumb_notes,thumb_drift_ms,\
         thumb_spread_ms,fingers_notes,fingers_drift_ms,fingers_spread_ms,take,note\r\n",
    );
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let figure = |f: Option<journal::HandFigure>| {
        f.map_or_else(
            || ",,".into(),
            |f| format!("{},{},{}", f.notes, f.drift_ms, f.spread_ms),
        )
    };
    for r in rounds {
        let _ = write!(
            out,
            "{},{},{},{},{},{},{},{},{},{},{},{}\r\n",
            r.recording,
            quoted(&r.name),
            r.at.0,
            quoted(r.tuning.as_deref().unwrap_or("")),
            r.from_s,
            r.to_s,
            quoted(&r.region),
            r.speed,
            figure(r.thumb),
            figure(r.fingers),
            r.take.map(|t| t.to_string()).unwrap_or_default(),
            quoted(&r.note)
        );
    }
    out
}

fn rescue(from: &Path, to: &Path, terminal: &Terminal) -> Result<()> {
    if to.exists() {
        return Err(usage(format!(
            "{} exists already: name a new file",
            to.display()
        )));
    }
    let saved = journal::salvage(from)?;
    Journal::open(to)?.keep_all(&saved.rounds)?;
    terminal.say(&format!(
        "{} rounds rescued into {}",
        saved.rounds.len(),
        to.display()
    ))?;
    if saved.incomplete {
        terminal.say("some rounds lay on damaged pages and could not be read; the damaged file was left as it is")?;
    }
    Ok(())
}

fn say_json(document: &serde_json::Value, terminal: &Terminal) -> Result<()> {
    let text = serde_json::to_string_pretty(document).context("as JSON")?;
    Ok(terminal.say(&text)?)
}
