//! The plug-in inside an independent CLAP host (clack), in process: what a host asks of it, and
//! what a project, a player's foot and a bad day ask of it.

#![allow(
    unsafe_code,
    reason = "the entry point is a raw C symbol, as a host loads it"
)]

mod answered;
mod bench;
mod conformance;
mod driving;
mod faults;
mod figures;
mod kept;
mod law;
mod life;
mod pages;
mod practice;
mod project;
mod reducer;
mod rig;
#[cfg(target_os = "linux")]
mod stalled;
