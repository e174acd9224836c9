//! Sounds beside the recording, by the plucked-string model: a note, a chord, a pattern.

use std::sync::Arc;
use thumbline::dsp::pluck::{Guitar, Played};
use thumbline::music::drill;
use thumbline::unit::Span;

/// Something to be sounded.
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// What it is, to be told while it sounds.
    pub name: String,
    /// Its strokes.
    pub strokes: Vec<Played>,
    /// Its length.
    pub length: Span,
    /// Again and again, or once?
    pub again: bool,
}

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Job {
    /// The sound.
    pub sound: Sound,
    /// Frames a second.
    pub rate: u32,
}

/// Its two channels.
pub type Answer = Arc<Vec<Vec<f32>>>;

/// Longest that is rendered, in seconds.
const LONGEST: f64 = 600.0;

/// Does a job in one go.
pub fn run(job: &Job, say: &mut dyn FnMut(Answer)) {
    let guitar = Guitar {
        rate: job.rate.clamp(8_000, 192_000),
        stereo: true,
        noise: None,
        ..Guitar::default()
    };
    let Sound {
        strokes,
        length,
        again,
        ..
    } = &job.sound;
    let length = Span(length.0.clamp(0.0, LONGEST));
    let sound = if *again {
        // The second round goes round: it holds what rings on from the one before.
        guitar.play(&drill::twice(strokes, length), Span(2.0 * length.0))
    } else {
        guitar.play(strokes, length)
    };
    say(Arc::new(sound.channels));
}
