//! `drill`: practice audio, MIDI and MusicXML from a picking pattern, a scale or harmonics.

use super::outputs::OutputArguments;
use super::terminal::Terminal;
use super::{Command, source, usage};
use anyhow::Result;
use clap::Args;
use std::fmt::Write as _;
use std::path::PathBuf;
use thumbline::dsp::pluck::Guitar;
use thumbline::music::drill::{Session, Stage, harmonics_stage, pattern_stages, scale_stage};
use thumbline::music::fingering::{Costs, paths};
use thumbline::music::grid::Grid;
use thumbline::music::score::Score;
use thumbline::music::tuning::{HIGHEST_CAPO, Tuning};
use thumbline::preset::Presets;
use thumbline::report::file::Target;
use thumbline::report::marks::{self, Cue};
use thumbline::report::wav::Depth;
use thumbline::report::{midi, musicxml, tab};
use thumbline::unit::Bpm;

/// Frames a second of the practice audio.
const RATE: u32 = 44_100;

/// Longest practice audio, in seconds.
const LONGEST: f64 = 3600.0;

/// Said once, before practice.
const CAUTION: &str = "Warm up first, rest every ten minutes or so, and stop when anything \
hurts; if it stays, see a professional. Keep the level moderate.";

/// Make practice pieces: thumb alone, melody with the thumb, then off the beat step by step.
#[derive(Args)]
pub struct Drill {
    /// Picking pattern by name.
    #[arg(long, default_value = "off-beat melody", group = "what")]
    pattern: String,
    /// Practise a scale along its open-string path instead: "D major".
    #[arg(long, group = "what")]
    scale: Option<String>,
    /// Practise natural harmonics instead.
    #[arg(long, group = "what")]
    harmonics: bool,
    /// Name the picking patterns there are.
    #[arg(long, group = "what")]
    list: bool,
    /// Tuning by name, or its strings from the lowest.
    #[arg(long, default_value = "DADGAD")]
    tuning: String,
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
        let stages = self.stages(&presets, tempi[0])?;
        let session = Session::of(&stages, &tempi, self.click);
        if session.length.0 > LONGEST {
            return Err(usage(format!(
                "that would last {:.0} minutes: take fewer bars or tempi",
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
            let whole = joined(&stages);
            target.write(|out| out.write_all(&musicxml::score(&whole)?))?;
        }
        if let Some(target) = json {
            let report = report(&stages, &tempi, &session);
            target.write(|out| out.write_all(report.as_bytes()))?;
        }
        if !to_output {
            terminal.say(text(&stages, &session).trim_end())?;
            terminal.remark(CAUTION);
        }
        Ok(())
    }
}

impl Drill {
    fn tempi(&self) -> Result<Vec<Bpm>> {
        if self.tempo.is_empty() || self.tempo.iter().any(|t| !(20.0..=300.0).contains(t)) {
            return Err(usage("a tempo lies between 20 and 300 beats a minute"));
        }
        if !(1..=64).contains(&self.bars) {
            return Err(usage("a stage has 1 to 64 bars"));
        }
        Ok(self.tempo.iter().map(|t| Bpm(*t)).collect())
    }

    fn stages(&self, presets: &Presets, tempo: Bpm) -> Result<Vec<Stage>> {
        let wrong = |e: thumbline::preset::PresetError| usage(e.to_string());
        if !(0..=HIGHEST_CAPO).contains(&self.capo) {
            return Err(usage(format!(
                "a capo sits between fret 0 and {HIGHEST_CAPO}"
            )));
        }
        let (_, tuning) = presets.tuning(&self.tuning).map_err(wrong)?;
        let tuning = tuning.with_capo(self.capo);
        if self.harmonics {
            return Ok(vec![harmonics_stage(&tuning, tempo)]);
        }
        if let Some(name) = &self.scale {
            let scale = presets.scale(name).map_err(wrong)?;
            return scale_stages(&scale, &tuning, tempo);
        }
        let pattern = presets.pattern(&self.pattern).map_err(wrong)?;
        let stages = pattern_stages(&pattern.name, &pattern.cell, &tuning, tempo, self.bars);
        if stages.iter().all(|s| s.score.notes.is_empty()) {
            return Err(usage("this tuning has none of the pattern's strings"));
        }
        Ok(stages)
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

/// A scale as practice: its open-string path.
pub fn scale_stages(
    scale: &thumbline::music::scale::Scale,
    tuning: &Tuning,
    tempo: Bpm,
) -> Result<Vec<Stage>> {
    const HIGHEST: i32 = 12;
    let (lowest, highest) = tuning.range().unwrap_or((40, 64));
    let tonic = lowest + (scale.tonic - lowest).rem_euclid(12);
    let line = scale.notes(tonic, (tonic + 24).min(highest + HIGHEST));
    let found = paths(tuning, &line, HIGHEST, &Costs::default(), 1);
    let path = found
        .first()
        .ok_or_else(|| usage("the strings do not reach every note of that scale"))?;
    let title = format!("{}, open strings first", scale.name);
    Ok(vec![scale_stage(&title, path, tuning, scale.key, tempo)])
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

/// All stages one after the other as one piece, in whole bars.
fn joined(stages: &[Stage]) -> Score {
    let mut whole = stages[0].score.clone();
    whole.title = match stages {
        [one] => one.title.clone(),
        _ => whole
            .title
            .split(": ")
            .next()
            .unwrap_or_default()
            .to_owned(),
    };
    whole.notes.clear();
    let mut bars = 0;
    for stage in stages {
        let start = bars as f64 * f64::from(whole.meter.beats().max(1));
        for note in &stage.score.notes {
            let mut note = note.clone();
            note.at.0 += start;
            whole.notes.push(note);
        }
        bars += stage.score.bars();
    }
    whole
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
        let mut once = stage.score.clone();
        // One or two bars show a pattern; a scale or a harmonics drill is shown whole.
        if stages.len() > 1 {
            let two = 2.0 * f64::from(once.meter.beats().max(1));
            once.notes.retain(|n| n.at.0 < two - 1e-6);
        }
        out += &tab::text(&once, super::strings::text::WIDTH);
    }
    let _ = writeln!(
        out,
        "The whole session lasts {:.0}:{:02.0} minutes.",
        (session.length.0 / 60.0).floor(),
        session.length.0.rem_euclid(60.0).floor()
    );
    out
}

fn report(stages: &[Stage], tempi: &[Bpm], session: &Session) -> String {
    let document = serde_json::json!({
        "schema": "thumbline.drill",
        "version": 1,
        "tempi_bpm": tempi.iter().map(|t| t.0).collect::<Vec<_>>(),
        "stages": stages.iter().map(|s| serde_json::json!({
            "title": s.title,
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
        "caution": CAUTION,
    });
    format!("{document:#}\n")
}
