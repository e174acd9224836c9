//! Slows a recording at its own pitch: `cargo run --example slow IN OUT.wav 0.6`.

use std::error::Error;
use std::sync::Arc;
use thumbline::analysis::{self, Options};
use thumbline::report::wav::{self, Depth};
use thumbline::stretch::{self, OnsetTable, PitchShift, Speed, SpeedMap};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut next = || arguments.next().ok_or("slow IN OUT.wav SPEED");
    let (from, to, speed) = (next()?, next()?, next()?.parse()?);

    let recording = Arc::new(thumbline::load::load(from.as_ref())?);
    // Every pluck stays as sharp as it was, so the engine wants to know where they are.
    let found = analysis::analyze(&recording, &Options::default(), &mut ())?;
    let frames = found.notes.iter().map(|n| n.time.frame(recording.rate()));
    let onsets = Arc::new(OnsetTable::cleaned(frames.collect(), recording.frames()));

    let map = SpeedMap::constant(Speed::new(speed)?);
    let sound = stretch::render(&recording, &onsets, &map, PitchShift::UNCHANGED, |_| true)?;
    let mut file = std::fs::File::create_new(to)?;
    wav::write(&mut file, recording.rate(), &sound, Depth::Int24)?;
    Ok(())
}
