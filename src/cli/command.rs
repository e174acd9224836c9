//! What every command is, and how it says that it was given wrongly.

use super::terminal::Terminal;
use anyhow::Result;

/// One command of the program.
pub trait Command {
    /// Does the whole of it.
    fn run(self, terminal: &Terminal) -> Result<()>;
}
