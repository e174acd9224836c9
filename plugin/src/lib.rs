//! Thumbline as a plug-in: loads a recording, plays it slower at its own pitch, loops the hard
//! bar, shows thumb and fingers against the beat.

pub mod audio;
pub mod editor;
pub mod feet;
pub mod hub;
pub mod jobs;
pub mod params;
pub mod practice;
pub mod reel;
pub mod relay;
pub mod session;
pub mod shelf;
pub mod snapshot;
pub mod standalone;
pub mod wish;

pub use audio::Thumbline;

#[allow(
    unsafe_code,
    missing_docs,
    reason = "the export macros expand to the entry points' raw C symbols"
)]
#[doc(hidden)]
pub mod export {
    use crate::Thumbline;
    nice_plug::nice_export_clap!(Thumbline);
    nice_plug::nice_export_vst3!(Thumbline);
}
