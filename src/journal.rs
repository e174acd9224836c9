//! The journal: every practice round that was kept, for years.
//!
//! One SQLite file in the player's data folder, safe as a ledger: write-ahead log with full
//! synchronisation, foreign keys, numbered schema versions. A round is committed whole or not at
//! all; nothing is deleted by a migration, a merge or a restore. This module owns the file
//! and the takes beside it; what its figures mean is `timing`'s, and recording takes is the deck's.
//!
//! | file | owns |
//! |---|---|
//! | `open` | the file, opened to write or to read |
//! | `round`, `moment` | what is kept of a round, and when |
//! | `schema` | the tables, and how an older file becomes a newer one |
//! | `takes` | the sound of takes, as FLAC beside the journal |
//! | `write` | keeping rounds, merging, backing up, restoring |
//! | `read` | pages, rounds, progress over days, what a damaged file still gives |
//! | `kept` | what a comparison leaves in the journal |
//! | `chart` | progress as text and as a picture |
//! | `advice` | what to practise next, by a stated rule |

pub mod advice;
pub mod chart;
mod error;
mod kept;
mod moment;
mod open;
mod read;
mod round;
#[doc(hidden)]
pub mod schema;
mod takes;
mod write;

pub use error::JournalError;
pub use kept::{Practised, rounds_of};
pub use moment::Moment;
pub use open::Journal;
pub use read::{JournalPage, PracticeDay, Salvage, salvage};
pub use round::{Fault, HandFigure, PracticeRound};
pub use schema::{CURRENT as SCHEMA_VERSION, Migration};
pub use takes::{KeptRounds, KeptTake};
pub use write::{Merged, restore};
