//! `drill`: practice audio, MIDI and MusicXML from a picking pattern, a scale or harmonics.

use super::command::Command;
use super::outputs::OutputArguments;
use super::terminal::Terminal;
use super::usage::usage;
use super::{source, strings};
use anyhow::Result;
use clap::Args;
use std::fmt::Write as _;
use std::path::PathBuf;
use thumbline::analysis::Options;
use thumbline::dsp::pluck::Guitar;
use thumbline::load::{Part, melody as files};
use thumbline::music::drill::{
    self, Session, Stage, Technique, WITHOUT_REST, harmonics_stage, lesson, ringing_stage,
    technique_stages,
};
use thumbline::music::grid::Grid;
use thumbline::music::picking::{Cell, Pattern, chords_heard, of_strokes};
use thumbline::music::progression::{self, HeldChord};
use thumbline::music::score::Score;
use thumbline::music::tuning::{HIGHEST_CAPO, Tuning};
use thumbline::preset::{Presets, read_meter, read_swing};
use thumbline::report::file::Target;
use thumbline::report::marks::{self, Cue};
use thumbline::report::wav::Depth;
use thumbline::report::{midi, musicxml, tab};
use thumbline::unit::Bpm;

/// Frames a second of the practice audio.
const RATE: u32 = 44_100;

/// Longest practice audio, in seconds.
const LONGEST: f64 = 3600.0;

/// Make a lesson of a pattern: thumb alone, said, together, off the beat; or of an arpeggio, a scale.
#[derive(Args)]
pub struct Drill {
    /// Picking pattern by name.
    #[arg(long, default_value = "off-beat melody", group = "what")]
    pattern: String,
    /// Practise what `patterns` finds in a recording, on the chords that it plays; or what a MIDI or
    /// MusicXML file repeats.
    #[arg(long, value_name = "REC", group = "what")]
    from: Option<PathBuf>,
    /// Practise a cell of your own: bars between "/", "1:65p 2:4p 2&:2i / 1:65p 2:4p 2&:1m".
    #[arg(long, value_name = "BARS", group = "what")]
    cell: Option<String>,
    /// Meter of your own cell.
    #[arg(long, default_value = "4/4", requires = "cell")]
    meter: String,
    /// Swing it: the first half of a beat against the second, "2:1".
    #[arg(long, value_name = "LONG:SHORT")]
    swing: Option<String>,
    /// Play the pattern on chords, one a bar: "C Am F G"; the bass strings follow them.
    #[arg(long, value_name = "CHORDS")]
    chords: Option<String>,
    /// Practise a technique of the left hand on a scale instead.
    #[arg(
        long,
        value_enum,
        conflicts_with_all = ["harmonics", "pattern", "from", "cell", "chords"]
    )]
    technique: Option<Left>,
    /// Practise a scale along its ringing path instead: "D major".
    #[arg(long, group = "what")]
    scale: Option<String>,
    /// Practise natural harmonics instead.
    #[arg(long, group = "what")]
    harmonics: bool,
    /// List the picking patterns.
    #[arg(long, group = "what")]
    list: bool,
    /// Tuning by name, or its strings from the lowest; DADGAD where nothing else is known. With --from, the
    /// recording's, guessed when left out.
    #[arg(long, value_name = "TUNING")]
    tuning: Option<String>,
    /// Fret of the capo.
    #[arg(long, default_value_t = 0)]
    capo: i32,
    /// Tempi in beats a minute, slowest first: "60,70,80".
    #[arg(
        long,
        value_name = "BPM",
        value_delimiter = ',',
        default_value = "60,72,84"
    )]
    tempo: Vec<f64>,
    /// Bars of each stage at each tempo.
    #[arg(long, default_value_t = 4)]
    bars: usize,
    /// Let the click go on after the count-in.
    #[arg(long)]
    click: bool,
    /// Everything that is chance in the sound follows from this.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write the practice audio as WAV, a cue point at every stage.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write the whole session as a MIDI file.
    #[arg(long, value_name = "FILE")]
    midi: Option<PathBuf>,
    /// Write the stages, once each, as MusicXML with notation and tablature.
    #[arg(long, value_name = "FILE")]
    musicxml: Option<PathBuf>,
    /// Write what is practised as JSON ("-" for standard output).
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    #[command(flatten)]
    outputs: OutputArguments,
}

/// A technique of the left hand.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum Left {
    HammerOns,
    PullOffs,
    Slides,
}

impl From<Left> for Technique {
    fn from(left: Left) -> Self {
        match left {
            Left::HammerOns => Self::HammerOns,
            Left::PullOffs => Self::PullOffs,
            Left::Slides => Self::Slides,
        }
    }
}

impl Command for Drill {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let presets = source::presets(terminal);
        if self.list {
            for pattern in &presets.patterns {
                let meter = pattern.cell.meter;
                terminal.say(&format!("{} ({meter}): {}", pattern.name, pattern.about))?;
            }
            return Ok(());
        }
        let reports = [&self.out, &self.midi, &self.musicxml, &self.json].map(Option::as_ref);
        let [out, midi, musicxml, json] = self.outputs.targets(&[], reports)?;
        let to_output = [&out, &midi, &musicxml, &json]
            .iter()
            .any(|t| **t == Some(Target::Output));
        let tempi = self.tempi()?;
        let stages = self.stages(&presets, tempi[0], terminal)?;
        within_reach(&stages, &tempi)?;
        let session = Session::of(&stages, &tempi, self.click);
        if session.length.0 > LONGEST {
            return Err(usage(format!(
                "that would last {:.0} minutes: choose fewer bars or tempos",
                session.length.0 / 60.0
            )));
        }
        if let Some(target) = out {
            self.sound(&session, &target)?;
        }
        if let Some(target) = midi {
            target.write(|out| out.write_all(&session_midi(&stages[0].score, &session)?))?;
        }
        if let Some(target) = musicxml {
            let whole = drill::joined(&stages).ok_or_else(|| usage("there is nothing to write"))?;
            target.write(|out| out.write_all(&musicxml::score(&whole)?))?;
        }
        if let Some(target) = json {
            let report = report(&stages, &tempi, &session);
            target.write(|out| out.write_all(report.as_bytes()))?;
        }
        if !to_output {
            terminal.say(text(&stages, &session).trim_end())?;
            terminal.remark(drill::CAUTION);
        }
        Ok(())
    }
}

impl Drill {
    fn tempi(&self) -> Result<Vec<Bpm>> {
        if self.tempo.is_empty() || self.tempo.iter().any(|t| !(20.0..=300.0).contains(t)) {
            return Err(usage("choose a tempo from 20 to 300 beats a minute"));
        }
        if !(1..=64).contains(&self.bars) {
            return Err(usage("a stage has 1 to 64 bars"));
        }
        Ok(self.tempo.iter().map(|t| Bpm(*t)).collect())
    }

    fn stages(&self, presets: &Presets, tempo: Bpm, terminal: &Terminal) -> Result<Vec<Stage>> {
        let wrong = |e: thumbline::preset::PresetError| usage(e.to_string());
        if !(0..=HIGHEST_CAPO).contains(&self.capo) {
            return Err(usage(format!(
                "a capo sits between fret 0 and {HIGHEST_CAPO}"
            )));
        }
        let named = self.tuning.as_deref();
        let (_, tuning) = presets.tuning(named.unwrap_or("DADGAD")).map_err(wrong)?;
        let tuning = tuning.with_capo(self.capo);
        if self.harmonics {
            return Ok(vec![harmonics_stage(&tuning, tempo)]);
        }
        if let Some(technique) = self.technique {
            let scale = self.scale.as_deref().unwrap_or("D major");
            let scale = presets.scale(scale).map_err(wrong)?;
            return Ok(technique_stages(technique.into(), &scale, &tuning, tempo));
        }
        if let Some(name) = &self.scale {
            let scale = presets.scale(name).map_err(wrong)?;
            let stage = ringing_stage(&scale, &tuning, tempo);
            let stage =
                stage.ok_or_else(|| usage("the strings do not reach every note of that scale"))?;
            return Ok(vec![stage]);
        }
        let (mut pattern, tuning, heard) = match &self.from {
            Some(file) if is_written(file) => (written_pattern(file, &tuning)?, tuning, Vec::new()),
            Some(rec) => heard_pattern(rec, named.map(|_| tuning), presets, terminal)?,
            None => (self.pattern(presets)?, tuning, Vec::new()),
        };
        if let Some(text) = &self.swing {
            pattern.cell.swing = read_swing(text)
                .ok_or_else(|| usage("a swing is written 2:1 or 3:2, from 1:1 to 4:1"))?;
        }
        let chords = match &self.chords {
            Some(names) => progression::named(names, &tuning).map_err(|e| usage(e.to_string()))?,
            None => heard,
        };
        let cell = &pattern.cell;
        let stages = lesson(&pattern.name, cell, &tuning, tempo, self.bars, &chords);
        if stages.iter().all(|s| s.score.notes.is_empty()) {
            return Err(usage("this tuning has none of the pattern's strings"));
        }
        Ok(stages)
    }

    /// The pattern by its name, or the player's own cell.
    fn pattern(&self, presets: &Presets) -> Result<Pattern> {
        let Some(text) = &self.cell else {
            let known = presets.pattern(&self.pattern);
            return Ok(known.map_err(|e| usage(e.to_string()))?.clone());
        };
        let meter = read_meter(&self.meter)
            .ok_or_else(|| usage(format!("`{}` is not a meter like 4/4 or 6/8", self.meter)))?;
        let bars: Vec<&str> = text.split('/').map(str::trim).collect();
        let cell = Cell::parse(meter, &bars)
            .map_err(|word| usage(format!("`{word}` is not a stroke like `2&:2m`")))?;
        if cell.notes.is_empty() || cell.notes.iter().any(|n| n.at.0 >= cell.beats()) {
            return Err(usage("the strokes of your cell do not fit its bars"));
        }
        Ok(Pattern {
            name: "your own cell".to_owned(),
            about: String::new(),
            cell,
        })
    }

    fn sound(&self, session: &Session, target: &Target) -> Result<()> {
        let guitar = Guitar {
            rate: RATE,
            stereo: true,
            noise: None,
            seed: self.seed,
        };
        let mut channels = guitar.play(&session.strokes, session.length).channels;
        for click in &session.clicks {
            tick(&mut channels, click.at.frame(RATE), click.accent);
        }
        let cues: Vec<Cue> = session
            .marks
            .iter()
            .map(|(at, name)| Cue {
                frame: at.frame(RATE),
                name: name.clone(),
            })
            .collect();
        target.write(|out| marks::write(out, RATE, &channels, Depth::Int24, None, &cues))?;
        Ok(())
    }
}

/// Is it MIDI or MusicXML rather than sound?
fn is_written(file: &std::path::Path) -> bool {
    use std::io::Read;
    let mut start = Vec::new();
    let read = std::fs::File::open(file).and_then(|f| f.take(64).read_to_end(&mut start));
    read.is_ok() && files::is_melody(&start)
}

/// What a written file repeats.
fn written_pattern(file: &std::path::Path, tuning: &Tuning) -> Result<Pattern> {
    let plucked = files::plucked(file)?;
    let cell = of_strokes(&plucked.strokes, plucked.meter, tuning)
        .ok_or_else(|| usage(format!("`{}` has no pattern", file.display())))?;
    Ok(Pattern {
        name: format!("the pattern of {}", plucked.title),
        about: String::new(),
        cell,
    })
}

/// What a recording repeats, its tuning, and the first chords that it plays it on.
fn heard_pattern(
    rec: &std::path::Path,
    told: Option<Tuning>,
    presets: &Presets,
    terminal: &Terminal,
) -> Result<(Pattern, Tuning, Vec<HeldChord>)> {
    let recording = source::read(rec, Part::WHOLE, terminal)?;
    let options = told.map_or_else(Options::default, Options::tuned);
    let heard = source::analyze(&recording, &options, terminal)?;
    let found = super::patterns::read(&heard, presets, recording.name())?.found;
    let held = chords_heard(&heard.notes, &heard.grid, &heard.tuning, found.cell.bars);
    let pattern = Pattern {
        name: format!("the pattern of {}", recording.title()),
        about: String::new(),
        cell: found.cell,
    };
    Ok((pattern, heard.tuning, held))
}

/// No stage goes on for longer than the hands may without a rest.
fn within_reach(stages: &[Stage], tempi: &[Bpm]) -> Result<()> {
    let slowest = tempi.iter().map(|t| t.beat().0).fold(0.0, f64::max);
    let longest = stages
        .iter()
        .map(|s| s.score.bars() as f64 * f64::from(s.score.meter.beats().max(1)) * slowest)
        .fold(0.0, f64::max);
    if longest > WITHOUT_REST {
        return Err(usage(format!(
            "a stage would go on for {:.0} minutes without a rest: take fewer bars",
            (longest / 60.0).ceil()
        )));
    }
    Ok(())
}

/// A short tick: a decaying tone of 1.2 kHz, an octave higher on the first beat of a bar.
fn tick(channels: &mut [Vec<f32>], frame: usize, accent: bool) {
    let rate = RATE as f32;
    let (hz, level) = if accent {
        (2400.0, 0.30)
    } else {
        (1200.0, 0.22)
    };
    for channel in channels {
        for (i, sample) in channel
            .iter_mut()
            .skip(frame)
            .take(RATE as usize / 20)
            .enumerate()
        {
            let t = i as f32 / rate;
            let tone = (std::f32::consts::TAU * hz * t).sin() * (-t / 0.008).exp();
            *sample = (*sample + level * tone).clamp(-1.0, 1.0);
        }
    }
}

fn session_midi(of: &Score, session: &Session) -> std::io::Result<Vec<u8>> {
    let notes: Vec<_> = session.notes.iter().map(|n| n.note.clone()).collect();
    let grid = Grid::from_beats(&session.beats, 0, of.meter);
    midi::performance(&of.title, &notes, &grid)
}

fn text(stages: &[Stage], session: &Session) -> String {
    let mut out = String::new();
    for (i, stage) in stages.iter().enumerate() {
        let _ = writeln!(out, "{}. {}", i + 1, stage.title); // writing to a string cannot fail
        let told = stage.sentences().join(" ");
        let width = strings::text::WIDTH - 2;
        let _ = writeln!(out, "  {}", strings::text::wrapped(&told, width));
        let mut once = stage.score.clone();
        // One or two bars show a pattern; a scale or a harmonics drill is shown whole.
        if stages.len() > 1 {
            let two = 2.0 * f64::from(once.meter.beats().max(1));
            once.notes.retain(|n| n.at.0 < two - 1e-6);
        }
        out += &tab::text(&once, strings::text::WIDTH);
    }
    let _ = writeln!(
        out,
        "The whole session lasts {}; the longest stretch without a minute's rest is {}.",
        minutes(session.length.0),
        minutes(session.longest_without_rest())
    );
    for stage in session.long_rests() {
        let rest = format!("Rest a minute before “{stage}”: hands down, shoulders loose.");
        let _ = writeln!(
            out,
            "{}",
            strings::text::wrapped(&rest, strings::text::WIDTH)
        );
    }
    out
}

/// `4:07 minutes`.
fn minutes(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    format!("{}:{:02} minutes", whole / 60, whole % 60)
}

fn report(stages: &[Stage], tempi: &[Bpm], session: &Session) -> String {
    let document = serde_json::json!({
        "schema": "thumbline.drill",
        "version": 1,
        "tempi_bpm": tempi.iter().map(|t| t.0).collect::<Vec<_>>(),
        "stages": stages.iter().map(|s| serde_json::json!({
            "title": s.title,
            "goal": s.goal,
            "say": s.say,
            "tempo_rule": s.tempo_rule,
            "rest_s": s.rest.0,
            "swing": s.swing,
            "meter": s.score.meter.to_string(),
            "bars": s.score.bars(),
            "notes": s.score.notes.iter().map(|n| serde_json::json!({
                "beat": n.at.0,
                "role": n.role,
                "string": n.string,
                "fret": n.fret,
                "finger": n.finger,
                "attack": n.attack,
                "midi": s.score.pitch(n).map(|p| p.0),
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "session": session.marks.iter().map(|(at, name)| serde_json::json!({
            "time_s": at.0,
            "what": name,
        })).collect::<Vec<_>>(),
        "seconds": session.length.0,
        "longest_without_rest_s": session.longest_without_rest(),
        "caution": drill::CAUTION,
    });
    format!("{document:#}\n")
}
