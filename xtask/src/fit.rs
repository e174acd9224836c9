//! `fit`: trains again what listens. Each part ends in the file that is compiled in.
//!
//! Owns the order of the steps and where their results go; what they do is in `xtask/train` (Python)
//! and `benches/fit` (Rust).

mod beats;

use crate::run;
use anyhow::{Context, Result, bail};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What of the hearing is fitted, named as its modules in `src/analysis` and `src/music`, in the order in which
/// one part rests on another.
const HEARING: [&str; 5] = [
    "pluck-net",
    "one-guitar",
    "note-selection",
    "tuning",
    "hand",
];
/// Where the trainers are.
const TRAIN: &str = "xtask/train";

/// `fit beats …` ([`beats`]), or `fit hearing [PART…] --samples FILE [--python PYTHON] [--work FOLDER]
/// [--heard FOLDER] [--tuned FOLDER]`.
pub fn run(args: &[String]) -> Result<()> {
    match args.split_first() {
        Some((what, rest)) if what == "hearing" => Hearing::asked(rest)?.run(),
        Some((what, rest)) if what == "beats" => beats::run(rest),
        _ => bail!(
            "fit what? `beats`, or `hearing`, or some of that: {}",
            HEARING.join(", ")
        ),
    }
}

/// What was asked for.
struct Hearing {
    parts: Vec<String>,
    /// Single plucked sounds, as `xtask/train/README.md` describes the file.
    samples: PathBuf,
    python: PathBuf,
    work: PathBuf,
    /// Recordings with known hands that the hand is fitted on beside the invented ones.
    heard: Vec<PathBuf>,
    /// Recordings with known tunings (NAME.wav, NAME.tuning.json), likewise.
    tuned: Vec<PathBuf>,
}

impl Hearing {
    fn asked(args: &[String]) -> Result<Self> {
        let mut asked = Self {
            parts: Vec::new(),
            samples: PathBuf::new(),
            python: "python3".into(),
            work: run::target().join("fit"),
            heard: Vec::new(),
            tuned: Vec::new(),
        };
        let mut args = args.iter();
        while let Some(arg) = args.next() {
            let mut value = || args.next().map(PathBuf::from);
            let mut path = || value().with_context(|| format!("{arg} needs a path"));
            match arg.as_str() {
                "--samples" => asked.samples = path()?,
                "--python" => asked.python = path()?,
                "--work" => asked.work = path()?,
                "--heard" => asked.heard.push(path()?),
                "--tuned" => asked.tuned.push(path()?),
                part if HEARING.contains(&part) => asked.parts.push(part.to_owned()),
                other => bail!(
                    "no part of the hearing: {other} (there are {})",
                    HEARING.join(", ")
                ),
            }
        }
        if asked.parts.is_empty() {
            asked.parts = HEARING.map(str::to_owned).to_vec();
        }
        if asked.parts.iter().any(|p| p != "hand") && !asked.samples.is_file() {
            bail!("--samples FILE: single plucked sounds, as {TRAIN}/README.md describes them");
        }
        std::fs::create_dir_all(&asked.work)?;
        Ok(asked)
    }

    fn run(&self) -> Result<()> {
        for part in HEARING {
            if !self.parts.iter().any(|p| p == part) {
                continue;
            }
            println!("== {part}");
            match part {
                "pluck-net" => self.pluck_net()?,
                "one-guitar" => self.one_guitar()?,
                "note-selection" => self.weighed("note-selection", &[("pieces", 900, 74)], &[])?,
                "tuning" => {
                    let players = [("tunings", 1000, 180), ("arranged", 1200, 96)];
                    self.weighed("tuning", &players, &self.tuned)?;
                }
                _ => self.hand()?,
            }
        }
        println!("Now `cargo xtask test`, and the figures in {TRAIN}/README.md and DEVELOPERS.md.");
        Ok(())
    }

    /// A script of the trainers', and its standard output where it is wanted.
    fn script(&self, name: &str, args: &[&str], out: Option<&Path>) -> Result<()> {
        let mut command = Command::new(&self.python);
        command.arg(Path::new(TRAIN).join(name)).args(args);
        if let Some(out) = out {
            command.stdout(std::fs::File::create(out)?);
        }
        run::must(&mut command)
    }

    /// The network, trained from nothing.
    fn pluck_net(&self) -> Result<()> {
        let (samples, out) = (text(&self.samples)?, text(&self.work)?);
        let options = "--minutes 6.4 --render 4.9 --workers 15 --seed 41 --cap 18000000";
        let mut args = vec!["--samples", samples, "--out", out];
        args.extend(options.split(' '));
        self.script("check_features.py", &[], None)?;
        self.script("train.py", &args, None)?;
        let ear = "src/analysis/pluck_net/ear.f32";
        run::copy(&self.work.join("ear.f32"), Path::new(ear))?;
        self.script(
            "fixture.py",
            &[ear],
            Some(Path::new("tests/reference/net.json")),
        )
    }

    /// The judge of one guitar.
    fn one_guitar(&self) -> Result<()> {
        let (samples, out) = (text(&self.samples)?, text(&self.work)?);
        let options = "--render 2.9 --minutes 1.25 --workers 16 --seed 6";
        let mut args = vec!["--samples", samples, "--out", out];
        args.extend(options.split(' '));
        self.script("train_solo.py", &args, None)?;
        let solo = "src/analysis/one_guitar/solo.f32";
        run::copy(&self.work.join("solo.f32"), Path::new(solo))?;
        let fixture = Path::new("tests/reference/solo.json");
        self.script("fixture.py", &["--solo", solo], Some(fixture))
    }

    /// Weights that Rust fits on invented recordings of some kinds, of each so many from a seed on, and on those in
    /// `beside`.
    fn weighed(&self, part: &str, kinds: &[(&str, u32, u32)], beside: &[PathBuf]) -> Result<()> {
        let mut fit = run::cargo();
        fit.args(["bench", "--bench", "fit", "--", part]);
        for (kind, first, count) in kinds {
            let folder = self.work.join(kind);
            let (first, count) = (first.to_string(), count.to_string());
            let mut args = vec![*kind, text(&folder)?, "--samples", text(&self.samples)?];
            args.extend(["--first", &first, "--count", &count]);
            self.script("record.py", &args, None)?;
            fit.arg(folder);
        }
        run::must(fit.args(beside))
    }

    /// Thumb or fingers.
    fn hand(&self) -> Result<()> {
        let hand = "src/analysis/hand/hand.f32";
        let mut args = vec!["--out", hand, "--pieces", "250", "--seed", "81"];
        if !self.heard.is_empty() {
            args.push("--heard");
        }
        for folder in &self.heard {
            args.push(text(folder)?);
        }
        self.script("hand.py", &args, None)?;
        let fixture = Path::new("tests/reference/hand.json");
        self.script("hand.py", &["--fixture", hand], Some(fixture))
    }
}

fn text(path: &Path) -> Result<&str> {
    path.to_str()
        .with_context(|| format!("not a name in Unicode: {}", path.display()))
}
