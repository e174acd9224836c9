//! The bar sheet: notes against the beat, a row a bar.
//!
//! Owns the layout as pure functions: what was heard and where it lies on the grid go in, plain
//! shapes come out. It draws nothing itself: `report::svg` writes the shapes to a file, the window
//! paints the same ones. It measures nothing either: drift and its floor come from `timing`.
//!
//! Time runs as on a page of music: each bar is a row, and the same beat stands under itself down
//! the page. The thumb's notes hang below the row's line, the fingers' stand above it, the outermost
//! string furthest out, with the fret in the head. A note that nobody hears off the beat stands on
//! its slot. A note that is heard leaves it by a drawn distance, with a wedge from slot to head; a
//! magnifier stretches only that distance. Above the rows a strip lays all bars over each other
//! (`repeats`): habits are read there, the rows are their evidence.
//!
//! Where a take is drawn over the recording, everything speaks of the take: its notes leave their
//! slots, the recording's stand still.

mod bar;
mod fold;
mod folded;
mod frame;
mod harmony;
mod layout;
mod levels;
mod mark;
mod note;
mod options;
mod pattern;
mod piece;
mod repeats;
mod row;
mod said;
mod shape;
mod slots;
mod strings;
mod theme;
mod words;

pub use layout::{PagePoint, Sheet};
pub use mark::Mark;
pub(super) use note::{draw_head, full, quiet};
pub use options::{Fold, Hands, Options};
pub use pattern::Pattern;
pub use piece::{Piece, Placed, Take};
pub use repeats::Repeat;
pub use row::{Alike, BarCell, Row, RowKind};
pub use said::{describe, describe_taken, pitch_name};
pub use shape::{Align, Point, Rect, Shape};
pub use theme::{Colour, Ground, Ink};
pub use words::{Sentence, sentences};
