//! Chores of the project, each a verb: `cargo xtask VERB`.
//!
//! This file only knows the verbs; each has a file of its own. Nothing here is part of what a
//! player runs.

mod bench;
mod bundle;
mod check;
mod demo;
mod dist;
mod figures;
mod fit;
mod fuzz;
mod install;
mod licences;
mod reference;
mod run;
mod soak;
#[allow(dead_code, reason = "the library's; the chores ask only some of it")]
#[path = "../../src/system.rs"]
mod system;
mod test;
mod window;

use anyhow::{Result, bail};

const HELP: &str = "\
cargo xtask VERB

  demo [--window]   build the command line and run the whole job on the built-in demo;
                    --window opens the standalone program on it
  test              run every test; says at the end what was skipped and why
  check             formatting, lints and documentation, as they are asked of a change
  bundle            CLAP and VST3 bundles in target/bundled
  install [--prefix FOLDER]     build and install plug-ins, programs, man pages, completions
  uninstall [--prefix FOLDER]   take away exactly that
  dist [--try]      a portable archive and a Debian package in target/dist; --try installs, runs
                    and removes the package in a clean Debian root (it needs root and debootstrap)
  standalone [REC]  build and open the standalone program
  bench [NAME]      speed and quality figures, each as a ratio within one run
  fit beats         the priors, the confidence and the network of the beats, fitted anew
  fit hearing [PART] --samples FILE   train the hearing again: pluck-net, one-guitar, note-selection, tuning, hand
  fuzz [DOOR]       bytes that nobody prepared, at each door (--minutes N each, 10 by default)
  soak              the deck under random acts (--minutes N of sound), and 500 kills while writing
  figures           draw the pictures that the README shows
  bless             accept the snapshots of formats as they are written now
";

fn main() -> Result<()> {
    run::at_root()?;
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (verb, rest) = args
        .split_first()
        .map_or(("help", &[][..]), |(v, r)| (v.as_str(), r));
    match verb {
        "demo" => demo::run(rest),
        "fit" => fit::run(rest),
        "test" => test::run(rest),
        "check" => check::run(),
        "bundle" => bundle::run(rest),
        "dist" => dist::run(rest),
        "install" => install::install(rest),
        "uninstall" => install::uninstall(rest),
        "standalone" => demo::standalone(rest.first().map(String::as_str)),
        "bench" => bench::run(rest),
        "figures" => figures::run(),
        "fuzz" => fuzz::run(rest),
        "soak" => soak::run(rest),
        "bless" => test::bless(),
        "help" | "--help" | "-h" => {
            print!("{HELP}");
            Ok(())
        }
        other => bail!("there is no verb `{other}`\n\n{HELP}"),
    }
}
