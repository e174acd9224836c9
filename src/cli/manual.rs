//! `manual`: the manual's pages in the terminal, and the man pages for those who install.

use super::command::Command;
use super::terminal::Terminal;
use super::usage::usage;
use anyhow::{Context, Result};
use clap::Args;
use std::fs;
use std::path::{Path, PathBuf};
use thumbline::manual::{self, PAGES};

/// Characters in a line of the terminal.
const WIDTH: usize = 90;

/// Read the manual: short pages about everything a player does.
#[derive(Args)]
pub struct Manual {
    /// Which page; without one, the list of them.
    page: Option<String>,
    /// Write man pages into this folder.
    #[arg(long, value_name = "FOLDER", hide = true)]
    man: Option<PathBuf>,
}

impl Command for Manual {
    fn run(self, terminal: &Terminal) -> Result<()> {
        if let Some(folder) = &self.man {
            return man_pages(folder, terminal);
        }
        let Some(name) = &self.page else {
            let list: Vec<_> = PAGES
                .iter()
                .map(|page| format!("  {:10}{}", page.name, page.title()))
                .collect();
            terminal.say(&format!(
                "thumbline manual PAGE shows one of\n\n{}",
                list.join("\n")
            ))?;
            return Ok(());
        };
        let page = manual::page(name).ok_or_else(|| {
            let names = PAGES.map(|page| page.name).join(", ");
            usage(format!(
                "there is no page `{name}` in the manual: it has {names}"
            ))
        })?;
        terminal.say(&wrapped(&page.plain()))?;
        Ok(())
    }
}

/// Lines of at most [`WIDTH`] characters, broken between words.
fn wrapped(text: &str) -> String {
    let mut lines: Vec<String> = Vec::new();
    for paragraph in text.trim_end().lines() {
        let mut line = String::new();
        for word in paragraph.split(' ') {
            if !line.trim().is_empty() && line.chars().count() + word.chars().count() > WIDTH {
                lines.push(std::mem::take(&mut line).trim_end().to_owned());
            }
            line.push_str(word);
            line.push(' ');
        }
        lines.push(line.trim_end().to_owned());
    }
    lines.join("\n")
}

/// The page of the manual that belongs to a command.
pub fn page_of(command: &str) -> Option<&'static str> {
    Some(match command {
        "demo" => "start",
        "analyze" => "sheet",
        "slow" | "loop" => "slow",
        "check" | "compare" => "takes",
        "strings" | "patterns" => "guitar",
        "drill" | "journal" => "practice",
        "export" => "files",
        "doctor" => "trouble",
        _ => return None,
    })
}

/// One man page for the program with the whole manual, and one for each command.
fn man_pages(folder: &Path, terminal: &Terminal) -> Result<()> {
    let made = || {
        format!(
            "the man pages cannot be written into `{}`",
            folder.display()
        )
    };
    fs::create_dir_all(folder).with_context(made)?;
    let mut program = terminal.program();
    program.build();
    let write = |name: &str, command: clap::Command, pages: &[manual::ManualPage]| -> Result<()> {
        let man = clap_mangen::Man::new(command);
        let mut text = Vec::new();
        man.render(&mut text)?;
        for page in pages {
            text.extend(roff(*page).into_bytes());
        }
        fs::write(folder.join(format!("{name}.1")), text).with_context(made)
    };
    for command in program.get_subcommands().filter(|c| !c.is_hide_set()) {
        let pages: Vec<_> = page_of(command.get_name())
            .and_then(manual::page)
            .into_iter()
            .collect();
        write(
            &format!("thumbline-{}", command.get_name()),
            command.clone(),
            &pages,
        )?;
    }
    write("thumbline", program.clone(), &PAGES)
}

/// A page of the manual as a section of a man page.
fn roff(page: manual::ManualPage) -> String {
    let mut text = format!(".SH \"{}\"\n", page.title().to_uppercase());
    for line in page.plain().lines().skip(1) {
        let line = line.replace('\\', "\\e").replace('-', "\\-");
        match line.trim() {
            "" => text.push_str(".PP"),
            code if line.starts_with("    ") => {
                text.extend([".br\n\\fB", code, "\\fR"]);
            }
            // A line that began with these would be taken for a request.
            words if words.starts_with(['.', '\'']) => text.extend(["\\&", words]),
            words => text.push_str(words),
        }
        text.push('\n');
    }
    text
}
