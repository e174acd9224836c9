//! Arguments that several commands share, and how they are read.

use super::usage::usage;
use anyhow::Result;
use clap::Args;
use thumbline::analysis::Options;
use thumbline::home;
use thumbline::load::Part;
use thumbline::music::tuning::HIGHEST_CAPO;
use thumbline::preset::Presets;
use thumbline::stretch::Speed;
use thumbline::unit::{Cents, Seconds};

/// A speed as a factor (`0.6`) or in percent (`60%`).
pub fn speed(text: &str) -> Result<Speed, String> {
    let value = match text.strip_suffix('%') {
        Some(percent) => number(percent)? / 100.0,
        None => number(text)?,
    };
    Speed::new(value).map_err(|error| error.to_string())
}

/// A change of pitch in semitones with fraction, an octave either way.
pub fn semitones(text: &str) -> Result<Cents, String> {
    let value = number(text)?;
    if value.abs() <= 12.0 {
        Ok(Cents(100.0 * value))
    } else {
        Err("choose a pitch change from -12 to 12 semitones".to_owned())
    }
}

/// An instant in seconds, 0 or later.
pub fn seconds(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if value >= 0.0 {
        Ok(value)
    } else {
        Err("seconds count from 0, the beginning of the recording".to_owned())
    }
}

/// Bars `first-last`, or one bar.
pub fn bars(text: &str) -> Result<(i32, i32), String> {
    let wrong = || "give bars as 5-6, or one bar as 5".to_owned();
    let bar = |t: &str| t.trim().parse::<i32>().map_err(|_| wrong());
    let (first, last) = match text.split_once('-') {
        Some((first, last)) => (bar(first)?, bar(last)?),
        None => (bar(text)?, bar(text)?),
    };
    if first <= last {
        Ok((first, last))
    } else {
        Err(format!(
            "bar {last} comes before bar {first}: give them in order"
        ))
    }
}

fn number(text: &str) -> Result<f64, String> {
    let value: f64 = text
        .parse()
        .map_err(|_| format!("`{text}` is not a number"))?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err("that number cannot be used".to_owned())
    }
}

/// A part of a recording as a player names it.
pub enum Cut {
    /// By seconds.
    Seconds(Part),
    /// From the start of one bar to the end of another.
    Bars(i32, i32),
}

/// Which part of a recording: by bars or by seconds; without either, all of it.
#[derive(Args)]
pub struct PartArguments {
    /// First bar, as counted by analyze.
    #[arg(long, value_name = "BAR", allow_negative_numbers = true)]
    #[arg(conflicts_with_all = ["from_s", "to_s"], requires = "to")]
    from: Option<i32>,
    /// Last bar, included.
    #[arg(long, value_name = "BAR", allow_negative_numbers = true)]
    #[arg(conflicts_with_all = ["from_s", "to_s"], requires = "from")]
    to: Option<i32>,
    /// Begin at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    from_s: Option<f64>,
    /// End at this second of the recording.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    to_s: Option<f64>,
}

impl PartArguments {
    /// What was asked for.
    pub fn choice(&self) -> Result<Cut> {
        match (self.from, self.to) {
            (Some(from), Some(to)) if to < from => Err(usage(format!(
                "bar {to} comes before bar {from}: give --from the earlier one"
            ))),
            (Some(from), Some(to)) => Ok(Cut::Bars(from, to)),
            _ => Ok(Cut::Seconds(part(self.from_s, self.to_s)?)),
        }
    }
}

/// What may be told about the guitar.
#[derive(Args)]
pub struct GuitarArguments {
    /// Tuning by name, or its strings from the lowest as in "D A D G A D"; guessed when left out.
    #[arg(long, value_name = "TUNING")]
    tuning: Option<String>,
    /// Fret of the capo, with --tuning.
    #[arg(long, value_name = "FRET", default_value_t = 0, requires = "tuning")]
    #[arg(value_parser = clap::value_parser!(i32).range(0..=i64::from(HIGHEST_CAPO)))]
    capo: i32,
}

impl GuitarArguments {
    /// The tuning as it was given.
    pub fn tuning(&self) -> Option<&str> {
        self.tuning.as_deref()
    }

    /// Fret of the capo as it was given.
    pub fn capo(&self) -> i32 {
        self.capo
    }

    /// As the analysis takes them.
    pub fn options(&self) -> Result<Options> {
        let (presets, doubts) = Presets::with_folder(home::presets().as_deref());
        let Some(text) = &self.tuning else {
            return Ok(Options {
                tuning: None,
                tunings: presets.tunings,
            });
        };
        if let Some(doubt) = doubts.into_iter().next() {
            return Err(doubt.into());
        }
        let (_, tuning) = presets.tuning(text).map_err(|why| usage(why.to_string()))?;
        Ok(Options::tuned(tuning.with_capo(self.capo)))
    }
}

/// The part between two instants.
pub fn part(from: Option<f64>, to: Option<f64>) -> Result<Part> {
    let from = from.unwrap_or(0.0);
    match to {
        Some(to) if to <= from => Err(usage(format!(
            "--to-s {to} does not lie after --from-s {from}: give a later end"
        ))),
        _ => Ok(Part {
            from: Seconds(from),
            to: to.map(Seconds),
        }),
    }
}
