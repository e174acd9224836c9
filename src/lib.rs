//! Thumbline: slow a guitar recording at its own pitch, loop the hard bar, see thumb and fingers
//! against the beat, and learn how far they drift.
//!
//! Layers, lowest first; a module uses only those below it (`tests/layers.rs` enforces it):
//! 0 `unit`, `dsp`, `home`, `parallel`, `system`, `xml` · 1 `music`, `recording`, `stretch` · 2 `load`, `analysis`, `deck` ·
//! 3 `timing`, `compare`, `separate`, `along` · 4 `report`, `journal`, `manual`, `preset`.

pub mod along;
pub mod analysis;
pub mod compare;
pub mod deck;
pub mod demo;
pub mod dsp;
pub mod home;
pub mod journal;
pub mod load;
pub mod manual;
pub mod music;
pub mod parallel;
pub mod preset;
pub mod recording;
pub mod report;
pub mod separate;
pub mod stop;
pub mod stretch;
pub mod system;
pub mod timing;
pub mod unit;
pub mod xml;
