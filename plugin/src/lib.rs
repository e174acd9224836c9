//! Thumbline as a plug-in: loads a recording, plays it slower at its own pitch, loops the hard
//! bar, shows thumb and fingers against the beat.
//!
//! ```text
//! window, host, MIDI ─► Message ─► update(State) ─► Effect ─► services ─► Message …
//!                                      └─► Snapshot ─► views      └─► ring ─► Player (audio thread)
//! ```

pub mod audio;
pub mod carried;
pub mod channels;
pub mod command;
pub mod control;
pub mod core;
pub mod data;
#[cfg(feature = "standalone")]
pub mod devices;
pub mod editor;
pub mod effect;
pub mod instance;
pub mod job;
mod lock;
pub mod message;
pub mod onsets;
pub mod page_state;
pub mod params;
pub mod player_swap;
pub mod plugin;
pub mod practice;
pub mod services;
pub mod session;
pub mod shared_controls;
pub mod snapshot;
pub mod snapshot_of;
pub mod sound;
pub mod standalone;
pub mod state;
pub mod supervisor;
mod swap_parts;
pub mod update;

pub use plugin::Thumbline;

#[allow(
    unsafe_code,
    missing_docs,
    reason = "the export macros expand to the entry points' raw C symbols"
)]
#[doc(hidden)]
pub mod export {
    type ForClap = crate::Thumbline<true>;
    type ForVst3 = crate::Thumbline<false>;
    nice_plug::nice_export_clap!(ForClap);
    nice_plug::nice_export_vst3!(ForVst3);
}
