//! `lesson`: one HTML file for a student, that plays some bars of a recording.

use super::arguments::{self, GuitarArguments};
use super::command::Command;
use super::drill::Left;
use super::outputs::OutputArguments;
use super::source;
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::{Context, Result};
use clap::Args;
use std::fs;
use std::path::{Path, PathBuf};
use thumbline::analysis::{Analysis, Options};
use thumbline::compare::{Model, SAME_TUNE, compare};
use thumbline::journal::{Journal, Moment, advice};
use thumbline::load::Part;
use thumbline::music::key;
use thumbline::music::note::Note;
use thumbline::music::progression;
use thumbline::preset::Presets;
use thumbline::recording::ContentHash;
use thumbline::report::file::Target;
use thumbline::report::lesson::{
    self, Asked, Drilled, Lesson as Sheet, LessonError, Phrase, PlanDay, Settings,
};
use thumbline::stretch::Speed;
use thumbline::timing::{Drift, Reference};

/// Most bytes of a page or of words that are read.
const MOST_BYTES: u64 = 64 << 20;

/// Make a page for a student: one HTML file that shows some bars, plays them slowly, loops them, and
/// records the student's take, without a network.
#[derive(Args)]
pub struct Lesson {
    /// The recording (most sound files and videos: thumbline manual files).
    #[arg(required_unless_present = "open")]
    rec: Option<PathBuf>,
    /// Bars to learn, as counted by analyze: 5-8, or one bar as 5. The first four when left out.
    #[arg(long, value_name = "BARS", value_parser = arguments::bars, allow_hyphen_values = true)]
    bars: Option<(i32, i32)>,
    /// Speeds, up to four: "50%,60%,75%,100%".
    #[arg(long, value_name = "SPEEDS", value_delimiter = ',', value_parser = arguments::speed)]
    speeds: Vec<Speed>,
    /// Heading; the recording's name when left out.
    #[arg(long)]
    title: Option<String>,
    /// Your words to the student: a text file, Markdown if you like.
    #[arg(long, value_name = "FILE")]
    words: Option<PathBuf>,
    /// Draw a take on the same bars, as hollow heads.
    #[arg(long, value_name = "FILE")]
    take: Option<PathBuf>,
    /// Add the drill of a picking pattern: thumb alone, melody with the thumb, off the beat. `found`
    /// is the pattern of the recording itself; `thumbline drill --list` names the others.
    #[arg(long, value_name = "PATTERN")]
    drill: Option<String>,
    /// Add a scale, open strings first: "D major".
    #[arg(long)]
    scale: Option<String>,
    /// Add chord shapes, and how one hand goes from each to the next: "C Am F G".
    #[arg(long)]
    chords: Option<String>,
    /// Add techniques of the left hand, on the scale that --scale names, or that the recording is in:
    /// "hammer-ons,slides".
    #[arg(long, value_name = "TECHNIQUES", value_delimiter = ',')]
    techniques: Vec<Left>,
    /// Add natural harmonics across the strings.
    #[arg(long)]
    harmonics: bool,
    /// Add what the journal plans for the next seven days with this recording.
    #[arg(long)]
    plan: bool,
    /// The journal's file, when it is not in its usual place.
    #[arg(long, value_name = "FILE", requires = "plan")]
    journal: Option<PathBuf>,
    #[command(flatten)]
    guitar: GuitarArguments,
    /// The page to write; - is standard output.
    #[arg(long, value_name = "FILE", required_unless_present = "open")]
    out: Option<PathBuf>,
    #[command(flatten)]
    outputs: OutputArguments,
    /// Say which settings a page was made with.
    #[arg(long, value_name = "PAGE", conflicts_with_all = ["rec", "out"])]
    open: Option<PathBuf>,
}

impl Command for Lesson {
    fn run(self, terminal: &Terminal) -> Result<()> {
        if let Some(page) = &self.open {
            return open(page, terminal);
        }
        let (Some(rec), Some(out)) = (&self.rec, &self.out) else {
            return Err(usage("give a recording and --out"));
        };
        let read: Vec<&Path> = [Some(rec), self.take.as_ref(), self.words.as_ref()]
            .into_iter()
            .flatten()
            .map(PathBuf::as_path)
            .collect();
        let target = self.outputs.target(&read, out)?;
        let presets = source::presets(terminal);
        let recording = source::read(rec, Part::WHOLE, terminal)?;
        let source::Analysed { found, drift } =
            source::hear(&recording, &self.guitar.options()?, terminal)?;
        source::tell_tuning(&found, terminal);
        let bars = self
            .bars
            .or_else(|| lesson::usual_bars(&found))
            .unwrap_or((1, 1));
        let take = self.take(&found, &drift, terminal)?;
        let asked = self.asked(&presets, &found)?;
        let settings = self.settings(&recording, bars, &asked)?;
        let page = Sheet {
            settings: &settings,
            phrase: Phrase {
                recording: &recording,
                heard: &found,
                drift: &drift,
                bars,
                take: take.as_ref().map(|(notes, drift)| (&notes[..], drift)),
            },
            tuning_name: presets.tuning_name(&found.tuning),
            practice: lesson::practice(&found, &asked).map_err(refused)?,
            chords: asked.chords,
            week: self.week(recording.hash())?,
        };
        let progress = terminal.progress("making the page");
        let html = lesson::page(&page, &|| true).map_err(refused)?;
        drop(progress);
        source::save(&target, &html)?;
        if target != Target::Output {
            terminal.remark(&format!(
                "{}: {:.1} MB; it opens in any browser, without a network",
                out.display(),
                html.len() as f64 / 1e6
            ));
        }
        Ok(())
    }
}

impl Lesson {
    fn settings(
        &self,
        recording: &thumbline::recording::Recording,
        bars: (i32, i32),
        asked: &Asked,
    ) -> Result<Settings> {
        let title = recording.title();
        let stem = title.rsplit_once('.').map_or(title, |(stem, _)| stem);
        let mut speeds: Vec<f64> = self.speeds.iter().map(|s| s.get()).collect();
        if speeds.is_empty() {
            speeds = lesson::SPEEDS.to_vec();
        }
        speeds.sort_by(f64::total_cmp);
        speeds.dedup();
        Ok(Settings {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            recording: title.to_owned(),
            hash: recording.hash().to_string(),
            bars,
            speeds,
            title: self.title.clone().unwrap_or_else(|| stem.to_owned()),
            words: match &self.words {
                Some(path) => text(path)?,
                None => String::new(),
            },
            tuning: self.guitar.tuning().map(str::to_owned),
            capo: self.guitar.capo(),
            take: self.take.as_deref().and_then(name),
            drill: self.drill.clone(),
            scale: self.scale.clone(),
            chords: asked.chords.iter().map(|h| h.chord.name.clone()).collect(),
            techniques: asked.technique_names(),
            harmonics: self.harmonics,
            plan: self.plan,
        })
    }

    /// The take's notes where they would lie in the recording.
    fn take(
        &self,
        model: &thumbline::analysis::Analysis,
        drift: &Drift,
        terminal: &Terminal,
    ) -> Result<Option<(Vec<Note>, Drift)>> {
        let Some(path) = &self.take else {
            return Ok(None);
        };
        let sound = source::read(path, Part::WHOLE, terminal)?;
        let heard = source::analyze(&sound, &Options::tuned(model.tuning.clone()), terminal)?;
        let model = Model {
            notes: &model.notes,
            grid: &model.grid,
            drifts: &drift.notes,
        };
        let found = compare(model, &heard.notes);
        if found.same_tune < SAME_TUNE {
            return Err(usage(format!(
                "`{}` seems to be another tune: leave --take out, or give a take of these bars",
                sound.name()
            )));
        }
        Ok(Some(found.page(model, &heard.notes, Reference::Recording)))
    }

    /// What is practised besides the bars.
    fn asked(&self, presets: &Presets, found: &Analysis) -> Result<Asked> {
        let tuning = &found.tuning;
        let wrong = |e: thumbline::preset::PresetError| usage(e.to_string());
        let drill = match self.drill.as_deref() {
            None => None,
            Some("found") => Some(Drilled::Found),
            Some(name) => {
                let known = presets.pattern(name).map_err(wrong)?;
                Some(Drilled::Known(known.name.clone(), known.cell.clone()))
            }
        };
        let scale = self.scale.as_deref().map(|name| presets.scale(name));
        let scale = scale.transpose().map_err(wrong)?;
        let techniques = if self.techniques.is_empty() {
            Vec::new()
        } else {
            let likely = || {
                let heard = key::suggestions(
                    &found.notes,
                    found.tuning_offset.unwrap_or_default(),
                    &presets.scales,
                );
                heard.into_iter().next().map(|(scale, _)| scale)
            };
            let on = scale.clone().or_else(likely).ok_or_else(|| {
                usage("too few notes to tell a scale: name one with --scale".to_owned())
            })?;
            let techniques = self.techniques.iter();
            techniques
                .map(|left| ((*left).into(), on.clone()))
                .collect()
        };
        let chords = self
            .chords
            .as_deref()
            .map(|names| progression::named(names, tuning).map_err(|e| usage(e.to_string())));
        Ok(Asked {
            drill,
            scale,
            chords: chords.transpose()?.unwrap_or_default(),
            techniques,
            harmonics: self.harmonics,
        })
    }

    /// What the journal plans for this recording.
    fn week(&self, recording: ContentHash) -> Result<Vec<PlanDay>> {
        if !self.plan {
            return Ok(Vec::new());
        }
        let path = match &self.journal {
            Some(path) => path.clone(),
            None => Journal::usual_place()?,
        };
        let journal = Journal::open(&path)?;
        let week = advice::week(&journal, Some(recording), Moment::now())?;
        if week.iter().all(|day| day.tasks.is_empty()) {
            return Err(usage(
                "the journal has no rounds of this recording to plan with: leave --plan out, or keep \
                 rounds of it first (thumbline compare --keep)",
            ));
        }
        let days = week.into_iter().map(|day| PlanDay {
            date: day.at.date(),
            tasks: day.tasks,
            minutes: day.minutes,
        });
        Ok(days.collect())
    }
}

/// What a player can mend by asking otherwise.
fn refused(error: LessonError) -> anyhow::Error {
    match error {
        LessonError::NoBeat(_)
        | LessonError::Bars { .. }
        | LessonError::Long { .. }
        | LessonError::NoPattern
        | LessonError::Scale(_)
        | LessonError::Speeds(_) => usage(error.to_string()),
        LessonError::Tuning => usage(format!("{error} with --tuning")),
        other => other.into(),
    }
}

/// Says what a page was made with, and the command that makes it again.
fn open(page: &Path, terminal: &Terminal) -> Result<()> {
    let settings = lesson::read(&text(page)?).with_context(|| format!("`{}`", page.display()))?;
    let mut said = vec![
        format!("Lesson page of Thumbline {}", settings.version),
        format!("title      {}", settings.title),
        format!("recording  {}", settings.recording),
        format!("sound      {}", settings.hash),
    ];
    let mut words = vec!["thumbline lesson".to_owned(), quoted(&settings.recording)];
    let mut option = |name: &str, value: String| {
        said.push(format!("{name:<10} {value}"));
        words.push(format!("--{name} {}", quoted(&value)));
    };
    option("bars", format!("{}-{}", settings.bars.0, settings.bars.1));
    let speeds: Vec<String> = settings
        .speeds
        .iter()
        .map(|s| format!("{}%", (s * 1000.0).round() / 10.0))
        .collect();
    option("speeds", speeds.join(","));
    for (name, value) in [
        ("take", &settings.take),
        ("drill", &settings.drill),
        ("scale", &settings.scale),
        ("tuning", &settings.tuning),
    ] {
        if let Some(value) = value {
            option(name, value.clone());
        }
    }
    if settings.capo > 0 {
        option("capo", settings.capo.to_string());
    }
    if !settings.chords.is_empty() {
        option("chords", settings.chords.join(" "));
    }
    if !settings.techniques.is_empty() {
        option("techniques", settings.techniques.join(","));
    }
    if settings.harmonics {
        words.push("--harmonics".to_owned());
    }
    if settings.plan {
        words.push("--plan".to_owned());
    }
    words.push(format!("--title {}", quoted(&settings.title)));
    if !settings.words.is_empty() {
        words.push("--words WORDS.md".to_owned());
    }
    words.push("--out lesson.html".to_owned());
    said.push(format!("again      {}", words.join(" ")));
    if !settings.words.is_empty() {
        said.push(format!("words\n{}", settings.words.trim_end()));
    }
    terminal.say(&said.join("\n"))?;
    Ok(())
}

/// A word of a command line, quoted where a shell would take it apart.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_.,/%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

/// A text file.
fn text(path: &Path) -> Result<String> {
    let about = || format!("`{}` cannot be read", path.display());
    let size = fs::metadata(path).with_context(about)?.len();
    if size > MOST_BYTES {
        return Err(usage(format!(
            "`{}` is too large for a text",
            path.display()
        )));
    }
    let bytes = fs::read(path).with_context(about)?;
    String::from_utf8(bytes).map_err(|_| {
        usage(format!(
            "`{}` is not UTF-8 text: save it as UTF-8",
            path.display()
        ))
    })
}

fn name(path: &Path) -> Option<String> {
    Some(path.file_name()?.to_string_lossy().into_owned())
}
