//! What a guitarist and a theorist know: pitch, tuning, meter, beat grid, notes.
//!
//! Pure values and arithmetic; no audio, no files.

pub mod capo;
pub mod chord;
pub mod drill;
pub mod fingering;
pub mod grid;
pub mod guess;
pub mod hand;
pub mod harmonics;
pub mod key;
pub mod melody;
pub mod meter;
pub mod moved;
pub mod moves;
pub mod neck;
pub mod note;
pub mod performance;
pub mod picking;
pub mod pitch;
pub mod progression;
pub mod ringing;
pub mod scale;
pub mod score;
pub mod syncopation;
pub mod tension;
pub mod tuning;
