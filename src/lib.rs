//! Thumbline: slow a guitar recording at its own pitch, loop the hard bar, see thumb and fingers
//! against the beat, and learn how far they drift.
//!
//! [`load`] reads a file into a [`recording::Recording`]; [`analysis`] hears its notes and beats; [`timing`] says what
//! their distance means for a player, [`compare`] how a take lies against the recording; [`stretch`] plays it slower at
//! its own pitch, [`deck`] in real time. `report` and `journal` write what lasts. Which module may use which stands in
//! one table, in `DEVELOPERS.md`; a test holds it.
//!
//! The built-in tune, heard and measured (`examples/` holds three whole programs):
//!
//! ```no_run
//! use thumbline::analysis::{Options, analyze};
//! use thumbline::timing::{self, Reference};
//!
//! let tune = thumbline::demo::recording(48_000)?;
//! let found = analyze(&tune.recording, &Options::default(), &mut ())?;
//! let drift = timing::of(&found, Reference::OwnTempo);
//! let (heard, sure) = (found.notes.len(), drift.notes.iter().flatten().count());
//! println!("{heard} notes, {sure} of them on a beat that is sure");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod along;
pub mod analysis;
pub mod compare;
pub mod deck;
pub mod demo;
pub mod dsp;
#[doc(hidden)]
pub mod home;
#[cfg(feature = "journal")]
pub mod journal;
pub mod load;
#[cfg(feature = "export")]
pub mod manual;
pub mod music;
#[doc(hidden)]
pub mod parallel;
#[cfg(feature = "export")]
pub mod preset;
pub mod recording;
#[cfg(feature = "export")]
pub mod report;
pub mod separate;
pub mod stop;
pub mod stretch;
#[doc(hidden)]
pub mod system;
pub mod timing;
pub mod unit;
#[cfg(feature = "export")]
pub(crate) mod xml;
