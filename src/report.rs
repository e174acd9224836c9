//! What leaves the process: analysis as JSON, CSV and bar sheet, drift as a table, sound as WAV.
//!
//! Each format turns values into bytes; [`file`] puts the bytes where they belong, whole or not at
//! all. No format decides what a number means: that is `timing`.

pub mod compare;
pub mod csv;
pub mod file;
pub mod json;
pub mod sheet;
pub mod svg;
pub mod table;
pub mod wav;
