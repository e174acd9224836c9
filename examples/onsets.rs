//! Prints each note of a recording: when it begins, its pitch as a MIDI number, which hand plays it.
//! `cargo run --example onsets IN`

use std::error::Error;
use thumbline::analysis::{self, Options};

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("onsets IN")?;
    let recording = thumbline::load::load(path.as_ref())?;
    let found = analysis::analyze(&recording, &Options::default(), &mut ())?;
    for note in &found.notes {
        let pitch = note.pitch.map_or("-".to_owned(), |p| format!("{:.0}", p.0));
        println!("{:8.3} s  {pitch:4}  {:?}", note.time.0, note.role);
    }
    for warning in &found.warnings {
        eprintln!("{warning}");
    }
    Ok(())
}
