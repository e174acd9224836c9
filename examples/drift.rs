//! How much later than the player of a recording one plays, a line for each place in the bar:
//! `cargo run --example drift RECORDING TAKE`.

use std::error::Error;
use thumbline::analysis::{self, Analysis, Options};
use thumbline::compare::{self, Model};
use thumbline::timing::{self, Reference};

fn hear(path: &str, options: &Options) -> Result<Analysis, Box<dyn Error>> {
    let recording = thumbline::load::load(path.as_ref())?;
    Ok(analysis::analyze(&recording, options, &mut ())?)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut next = || arguments.next().ok_or("drift RECORDING TAKE");
    let recording = hear(&next()?, &Options::default())?;
    // The take is played in the recording's tuning.
    let take = hear(&next()?, &Options::tuned(recording.tuning.clone()))?;

    let drift = timing::of(&recording, Reference::OwnTempo);
    let model = Model {
        notes: &recording.notes,
        grid: &recording.grid,
        drifts: &drift.notes,
    };
    let found = compare::compare(model, &take.notes);
    if let Some(fault) = found.fault {
        return Err(fault.into());
    }
    for pair in &found.pairs {
        let place = pair.slot.name(found.meter);
        println!(
            "bar {:3}, {place:14} {:+4.0} ms",
            pair.bar,
            pair.difference().ms()
        );
    }
    Ok(())
}
