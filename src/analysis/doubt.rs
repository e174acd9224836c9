//! What makes an analysis doubtful, in plain sentences.

use super::decide::Event;
use super::hear::Heard;
use crate::recording::Recording;

/// A rise this clear is something: its flux and contrast (dB).
const CLEAR: (f32, f32) = (0.5, 8.0);
/// Below this the network finds no note in it.
const UNHEARD: f32 = 0.3;
/// Share of clear rises without a note above which this is no solo guitar. Tuned on rendered
/// guitars against noise, clicks and drum-like bursts.
const FOREIGN: f64 = 0.5;
/// Samples in a row at the very top that count as cut off, and how many such runs matter.
const FLAT: usize = 4;
const RUNS: usize = 20;

/// Whether what was heard is foreign to a solo guitar: rises that are clear, but no notes.
pub fn foreign(heard: &[Heard]) -> bool {
    let clear: Vec<&Heard> = heard
        .iter()
        .filter(|h| h.candidate.strength > CLEAR.0 && h.candidate.rise > CLEAR.1)
        .collect();
    let lost = clear.iter().filter(|h| h.reading.onset < UNHEARD).count();
    clear.len() >= 8 && lost as f64 > FOREIGN * clear.len() as f64
}

/// Sentences for the player.
pub fn warnings(recording: &Recording, events: &[Event], foreign: bool) -> Vec<String> {
    let mut said = Vec::new();
    if events.is_empty() {
        said.push("No plucked string was heard in this recording.".to_owned());
    } else if foreign {
        said.push("This does not sound like a guitar alone: take its notes as unsure.".to_owned());
    }
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
    recording.channels().iter().any(|channel| {
        let top = channel.iter().fold(0.0f32, |m, v| m.max(v.abs()));
        if top < 0.1 {
            return false;
        }
        let (mut runs, mut run) = (0, 0);
        for sample in channel {
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
