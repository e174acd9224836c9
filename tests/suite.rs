//! One test binary; a file a capability.

mod beats;
mod commands;
mod compare;
mod corrections;
mod deck;
mod demo;
mod drill;
mod exports;
mod hearing;
mod journal;
mod layers;
mod load;
mod net;
mod patterns;
mod pluck;
mod real_recordings;
mod reports;
mod separate;
mod sheet;
mod sheet_theme;
mod stretch;
mod strings;
mod syncopation;
mod timing;
mod tunings;
