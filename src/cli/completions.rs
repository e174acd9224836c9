//! `completions`: what a shell needs to complete commands and options.

use super::command::Command;
use super::terminal::Terminal;
use anyhow::Result;
use clap::Args;
use clap_complete::Shell;

/// Print what a shell needs to complete this program's commands (bash, zsh, fish).
#[derive(Args)]
pub struct Completions {
    /// The shell.
    shell: Shell,
}

impl Command for Completions {
    fn run(self, terminal: &Terminal) -> Result<()> {
        let mut script = Vec::new();
        clap_complete::generate(
            self.shell,
            &mut terminal.program(),
            "thumbline",
            &mut script,
        );
        terminal.say(String::from_utf8_lossy(&script).trim_end())?;
        Ok(())
    }
}
