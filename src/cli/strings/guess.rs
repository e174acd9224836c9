//! `strings --guess`: which tunings a recording may have been played in, with odds.

use crate::cli::source;
use crate::cli::terminal::Terminal;
use anyhow::{Result, bail};
use serde_json::json;
use std::fmt::Write;
use std::path::Path;
use thumbline::analysis::Options;
use thumbline::load::Part;
use thumbline::music::guess::Guess;
use thumbline::preset::Presets;
use thumbline::report::file::Target;

/// Guesses and tells.
pub fn run(rec: &Path, presets: &Presets, json: Option<Target>, terminal: &Terminal) -> Result<()> {
    let recording = source::read_long(rec, Part::WHOLE, terminal)?;
    let options = Options {
        tuning: None,
        tunings: presets.tunings.clone(),
    };
    let found = source::analyze(&recording, &options, terminal)?;
    let mut guesses = found.guesses;
    for guess in &mut guesses {
        guess.cents = found.tuning_offset.unwrap_or_default();
    }
    if guesses.is_empty() {
        bail!(
            "no pitch was heard in `{}`: there is nothing to guess a tuning from",
            recording.name()
        );
    }
    let shown = json == Some(Target::Output);
    if let Some(target) = json {
        source::save(&target, &report(&guesses))?;
    }
    if !shown {
        terminal.say(text(&guesses).trim_end())?;
    }
    Ok(())
}

fn report(guesses: &[Guess]) -> String {
    let document = json!({
        "schema": "thumbline.tuning",
        "version": 1,
        "guesses": guesses.iter().map(|g| json!({
            "tuning": g.name,
            "capo": g.tuning.capo(),
            "cents": (g.cents.0 * 100.0).round() / 100.0,
            "odds": (g.odds * 10_000.0).round() / 10_000.0,
            "strings": g.tuning.clone().with_capo(0).to_string(),
            "alike": g.alike.iter().map(|(name, capo)| json!({
                "tuning": name,
                "capo": capo,
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
    });
    format!("{document:#}\n")
}

/// Writing to a string cannot fail.
fn text(guesses: &[Guess]) -> String {
    let mut out = String::from("Tunings that fit the notes, with the odds of each:\n");
    let capo = |fret: i32| match fret {
        0 => "no capo".to_owned(),
        fret => format!("capo {fret}"),
    };
    for g in guesses {
        let alike = g.alike.first().map_or_else(String::new, |(name, fret)| {
            format!("  (sounds like {name}, {})", capo(*fret))
        });
        let line = format!(
            "  {:>5.1} %  {:<15} {:<8}{alike}",
            100.0 * g.odds,
            g.name,
            capo(g.tuning.capo())
        );
        let _ = writeln!(out, "{}", line.trim_end());
    }
    let cents = guesses.first().map_or(0.0, |g| g.cents.0);
    let _ = writeln!(out, "The guitar lies {cents:+.0} cents from A = 440 Hz.");
    out
}
