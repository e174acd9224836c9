//! Arguments that several commands share, and how they are read.

use super::usage;
use anyhow::Result;
use std::path::PathBuf;
use thumbline::load::Part;
use thumbline::report::file::Target;
use thumbline::unit::Seconds;

/// Slowest and fastest playing.
pub const SPEEDS: std::ops::RangeInclusive<f64> = 0.25..=1.5;

/// A speed as a factor (`0.6`) or in percent (`60%`), within [`SPEEDS`].
pub fn speed(text: &str) -> Result<f64, String> {
    let value = match text.strip_suffix('%') {
        Some(percent) => number(percent)? / 100.0,
        None => number(text)?,
    };
    if SPEEDS.contains(&value) {
        Ok(value)
    } else {
        Err(format!(
            "a speed lies between {} and {} (1 is as recorded)",
            SPEEDS.start(),
            SPEEDS.end()
        ))
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
        Err(format!("bar {last} comes before bar {first}: give them in order"))
    }
}

fn number(text: &str) -> Result<f64, String> {
    let value: f64 = text
        .trim()
        .parse()
        .map_err(|_| format!("`{text}` is no number"))?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err("that is no number to work with".to_owned())
    }
}

/// The part between two instants.
pub fn part(from: Option<f64>, to: Option<f64>) -> Result<Part> {
    let from = from.unwrap_or(0.0);
    if let Some(to) = to
        && to <= from
    {
        return Err(usage(format!(
            "--to-s {to} does not lie after --from-s {from}: give a later end"
        )));
    }
    Ok(Part {
        from: Seconds(from),
        to: to.map(Seconds),
    })
}

/// Where reports go: `-` is standard output, which only one of them can have.
pub fn targets<const N: usize>(paths: [Option<&PathBuf>; N]) -> Result<[Option<Target>; N]> {
    let targets = paths.map(|path| path.map(|p| Target::of(p)));
    for (i, target) in targets.iter().enumerate() {
        if target.is_some() && targets[..i].contains(target) {
            return Err(usage(
                "two reports cannot go to the same place: name another file for one of them",
            ));
        }
    }
    Ok(targets)
}
