//! What makes an analysis doubtful, in plain sentences.

use super::features::Features;
use super::note_event::NoteEvent;
use super::one_guitar::Solo;
use crate::recording::Recording;
use std::borrow::Cow;

/// A rise this clear is something: its flux and contrast (dB).
const CLEAR: (f32, f32) = (0.5, 8.0);
/// Below this the network finds no note in it.
const UNHEARD: f32 = 0.3;
/// Share of clear rises without a note above which this is no solo guitar. Tuned on rendered
/// guitars against noise, clicks and drum-like bursts.
const UNNAMED: f64 = 0.5;
/// What is said where something else than one guitar sounds.
pub const FOREIGN: &str = "This does not sound like one guitar alone, so thumb, fingers and drift are not told; \
     slowing and looping work all the same.";
/// Samples in a row at the very top that count as cut off, and how many such runs matter.
const FLAT: usize = 4;
const RUNS: usize = 20;

/// Whether most of what begins clearly is no note: drums, clicks, speech.
pub fn unnamed(heard: &[Features]) -> bool {
    let clear: Vec<&Features> = heard
        .iter()
        .filter(|h| h.candidate.strength > CLEAR.0 && h.candidate.rise > CLEAR.1)
        .collect();
    let lost = clear.iter().filter(|h| h.reading.onset < UNHEARD).count();
    clear.len() >= 8 && lost as f64 > UNNAMED * clear.len() as f64
}

/// Sentences for the player.
pub fn warnings(recording: &Recording, events: &[NoteEvent], solo: &Solo) -> Vec<String> {
    let mut said = Vec::new();
    if events.is_empty() {
        said.push("No plucked string was heard in this recording.".to_owned());
    } else if !solo.is_one_guitar() {
        said.push(FOREIGN.to_owned());
    }
    said.extend(solo.elsewhere().into_iter().map(|(from, to)| {
        format!(
            "From {from} to {to} s something other than one guitar sounds: do not trust thumb, fingers and drift there."
        )
    }));
    if clipped(recording) {
        said.push(
            "The recording was too loud and its peaks are cut off; soft notes beside them may be missed."
                .to_owned(),
        );
    }
    if recording.rate() < 16_000 {
        said.push(format!(
            "The recording holds only {} samples a second: high notes and exact times may be lost.",
            recording.rate()
        ));
    }
    said
}

/// Are peaks cut off: many runs of samples that stay at the recording's largest value?
fn clipped(recording: &Recording) -> bool {
    (0..recording.width()).any(|channel| {
        let loudest = |m: f32, block: Cow<[f32]>| block.iter().fold(m, |m, v| m.max(v.abs()));
        let top = recording.blocks(channel).fold(0.0, loudest);
        if top < 0.1 {
            return false;
        }
        let (mut runs, mut run) = (0, 0);
        let samples = recording.blocks(channel).flat_map(Cow::into_owned);
        for sample in samples {
            run = if sample.abs() >= 0.999 * top {
                run + 1
            } else {
                0
            };
            if run == FLAT {
                runs += 1;
            }
        }
        runs >= RUNS
    })
}
