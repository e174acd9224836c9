//! What the player sees while a command runs: results on standard output, the rest on standard
//! error.

use super::side::Side;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::borrow::Cow;
use std::cell::RefCell;
use std::io::{self, IsTerminal, Write};
use std::time::{Duration, Instant};
use thumbline::report::file::WriteError;

/// Work shorter than this shows no progress.
const PATIENCE: Duration = Duration::from_secs(1);

/// The player's screen, and what was asked of every recording.
pub struct Terminal {
    quiet: bool,
    side: Option<Side>,
    program: fn() -> clap::Command,
}

impl Terminal {
    /// `quiet` leaves out all but results and errors; `side` is taken of every recording; `program` is the
    /// whole command line.
    pub fn new(quiet: bool, side: Option<Side>, program: fn() -> clap::Command) -> Self {
        Self {
            quiet,
            side,
            program,
        }
    }

    /// The whole command line: its commands, their options and help.
    pub fn program(&self) -> clap::Command {
        (self.program)()
    }

    /// The side that is taken of every recording.
    pub fn side(&self) -> Option<Side> {
        self.side
    }

    /// A result, on standard output.
    #[expect(clippy::unused_self, reason = "the screen speaks, quiet or not")]
    pub fn say(&self, text: &str) -> Result<(), WriteError> {
        let mut out = io::stdout().lock();
        writeln!(out, "{}", printable(text))
            .and_then(|()| out.flush())
            .map_err(WriteError::Output)
    }

    /// A remark, on standard error.
    pub fn remark(&self, text: &str) {
        if !self.quiet {
            let _ = writeln!(io::stderr().lock(), "{}", printable(text)); // there is nowhere else to say so
        }
    }

    /// A warning about the results, on standard error.
    pub fn warn(&self, text: &str) {
        self.remark(&format!("note: {text}"));
    }

    /// Progress of one piece of work, shown when it takes longer than a second and standard error
    /// is a terminal.
    pub fn progress(&self, what: &'static str) -> Progress {
        Progress {
            what,
            begun: Instant::now(),
            shown: !self.quiet && io::stderr().is_terminal(),
            bar: RefCell::new(None),
        }
    }
}

/// `text` without what would steer the player's terminal: names of files may hold anything. Control
/// characters and those that turn the direction of writing are shown as their number, `\u{1b}`.
pub fn printable(text: &str) -> Cow<'_, str> {
    let steers = |c: char| {
        (c.is_control() && !matches!(c, '\n' | '\t'))
            || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    if !text.contains(steers) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if steers(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

/// Progress of one piece of work; the line disappears with it.
pub struct Progress {
    what: &'static str,
    begun: Instant,
    shown: bool,
    bar: RefCell<Option<ProgressBar>>,
}

impl Progress {
    /// `share` of the work is done, 0 to 1.
    pub fn at(&self, share: f64) {
        if !self.shown || self.begun.elapsed() < PATIENCE {
            return;
        }
        let mut bar = self.bar.borrow_mut();
        let bar = bar.get_or_insert_with(|| {
            let bar = ProgressBar::with_draw_target(Some(1000), ProgressDrawTarget::stderr());
            if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {percent} %") {
                bar.set_style(style);
            }
            bar.set_message(self.what);
            bar
        });
        bar.set_position((share.clamp(0.0, 1.0) * 1000.0) as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = self.bar.get_mut() {
            bar.finish_and_clear();
        }
    }
}

/// Did the reader of standard output go away? That is their choice, no error.
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    matches!(
        error.downcast_ref::<WriteError>(),
        Some(WriteError::Output(why)) if why.kind() == io::ErrorKind::BrokenPipe
    )
}
