//! The command line: parses low, builds high.
//!
//! A command is one file in `cli/` with the struct of its arguments, whose doc comment is its
//! help, and its `run`; here it has its `mod` line and its line in [`commands!`]. Results go to
//! files or standard output; progress, warnings and errors go to standard error. Exit codes: 0
//! done, 1 the recording or the disk is at fault, 2 the command was given wrongly.

mod analyze;
mod arguments;
mod check;
mod command;
mod compare;
mod completions;
mod demo;
mod doctor;
mod drill;
mod export;
mod journal;
mod lesson;
mod looping;
mod manual;
mod outputs;
mod patterns;
mod side;
mod slow;
mod sound;
mod source;
mod strings;
mod terminal;
mod usage;

use anyhow::Result;
use clap::error::ErrorKind;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use command::Command;
use std::io::{self, Write};
use std::process::ExitCode;
use terminal::Terminal;
use thumbline::report::file::WriteError;
use usage::Usage;

macro_rules! commands {
    ($($name:ident($arguments:ty),)*) => {
        #[derive(Subcommand)]
        enum Verb {
            $($name($arguments),)*
        }

        impl Verb {
            fn run(self, terminal: &Terminal) -> Result<()> {
                match self {
                    $(Self::$name(arguments) => arguments.run(terminal),)*
                }
            }
        }
    };
}

commands! {
    Analyze(analyze::Analyze),
    Check(check::Check),
    Compare(compare::Compare),
    Completions(completions::Completions),
    Demo(demo::Demo),
    Doctor(doctor::Doctor),
    Drill(drill::Drill),
    Export(export::Export),
    Journal(journal::JournalArguments),
    Lesson(lesson::Lesson),
    Loop(looping::Loop),
    Manual(manual::Manual),
    Patterns(patterns::Patterns),
    Slow(slow::Slow),
    Strings(strings::Strings),
}

/// Slow a guitar recording at its own pitch, loop the hard bar, and see thumb and fingers against
/// the beat.
#[derive(Parser)]
#[command(name = "thumbline", version, disable_help_subcommand = true)]
struct Line {
    #[command(subcommand)]
    verb: Verb,
    /// Show no progress and no remarks, only results and errors.
    #[arg(long, short, global = true)]
    quiet: bool,
    /// Take one side of every recording alone: left, right, or the number of a channel.
    #[arg(long, global = true, value_name = "SIDE")]
    side: Option<side::Side>,
}

/// Runs the command that the process was started with.
pub fn main() -> ExitCode {
    thumbline::load::hush_readers();
    let line = match arguments_with_manual() {
        Ok(line) => line,
        Err(error) => return refuse(&error),
    };
    match line
        .verb
        .run(&Terminal::new(line.quiet, line.side, Line::command))
    {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if terminal::is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("{error:#}"));
            ExitCode::from(if error.is::<Usage>() { 2 } else { 1 })
        }
    }
}

/// The arguments; `--help` of a command ends with its page of the manual.
fn arguments_with_manual() -> Result<Line, clap::Error> {
    let command = Line::command().mut_subcommands(|command| {
        match manual::page_of(command.get_name()).and_then(thumbline::manual::page) {
            Some(page) => command.after_long_help(page.plain()),
            None => command,
        }
    });
    Line::from_arg_matches(&command.try_get_matches()?)
}

/// Help and version are answers; everything else is one line and exit code 2.
fn refuse(error: &clap::Error) -> ExitCode {
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            let said = error.print().and_then(|()| io::stdout().flush());
            match said {
                Err(why) if why.kind() != io::ErrorKind::BrokenPipe => {
                    complain(&WriteError::Output(why).to_string());
                    ExitCode::FAILURE
                }
                _ => ExitCode::SUCCESS, // a closed pipe is the reader's choice
            }
        }
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            complain(&format!(
                "name a command: {} (thumbline --help tells more)",
                names().join(", ")
            ));
            ExitCode::from(2)
        }
        _ => {
            let text = error.to_string();
            let what = text.split("\n\n").next().unwrap_or(&text);
            let what = what.strip_prefix("error: ").unwrap_or(what);
            complain(&format!("{what} (--help shows how)"));
            ExitCode::from(2)
        }
    }
}

/// One line on standard error; where that is gone there is nowhere else to say it.
fn complain(what: &str) {
    let line = one_line(what);
    let _ = writeln!(io::stderr(), "thumbline: {}", terminal::printable(&line));
}

fn names() -> Vec<String> {
    Line::command()
        .get_subcommands()
        .map(|command| command.get_name().to_owned())
        .collect()
}

/// On one line, without the numbers that systems give to their errors.
fn one_line(text: &str) -> String {
    const NUMBER: &str = " (os error ";
    let mut line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    while let Some(at) = line.find(NUMBER) {
        let rest = at + NUMBER.len();
        let end = line[rest..].find(')').map_or(line.len(), |e| rest + e + 1);
        line.replace_range(at..end, "");
    }
    line
}
