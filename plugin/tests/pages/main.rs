//! The pages in the middle of the window, driven as a player drives them: by mouse and keyboard through
//! the accessible tree, on a real state.

mod bench;
mod figures;
mod neck;
#[allow(dead_code, reason = "shared with the tests of the sheet")]
#[path = "../window/painting.rs"]
mod painting;
mod pattern;
mod pictures;
mod rest;
#[allow(dead_code, reason = "shared with the tests of the sheet")]
#[path = "../window/scenes.rs"]
mod scenes;
