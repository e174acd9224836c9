//! `fuzz`: every door of the program under bytes that nobody prepared.
//!
//! The doors are small programs in `tests/fuzz`, a workspace of its own, each around libFuzzer. They
//! build with the stable compiler: the coverage that libFuzzer steers by is a pass of LLVM, which a
//! flag turns on; no sanitizer is needed where no code is unsafe. `lines` is the command line, and is
//! fuzzed from here: whole processes with arguments made up from what the program takes.

mod lines;

use crate::run;
use anyhow::{Context, Result, bail};
use std::path::PathBuf;
use std::process::Command;

/// A door, the most bytes it is given, and where more seeds lie than its own.
const DOORS: [(&str, u32, Option<&str>); 9] = [
    ("sound", 32_768, Some("tests/fixtures")),
    ("journal", 16_384, None),
    ("presets", 4_096, None),
    ("speeds", 1_024, None),
    ("words", 256, None),
    ("scores", 8_192, None),
    ("lessons", 2_048, None),
    ("sessions", 8_192, None),
    ("controls", 2_048, None),
];

/// What `cargo` is told so that code reports which branches it took (LLVM, SanitizerCoverage).
const COVERAGE: &str = "--cfg fuzzing -Cpasses=sancov-module \
    -Cllvm-args=-sanitizer-coverage-level=4 \
    -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
    -Cllvm-args=-sanitizer-coverage-pc-table \
    -Cllvm-args=-sanitizer-coverage-trace-compares";

/// Minutes for each door where none are named.
const MINUTES: f64 = 10.0;

/// Fuzzes the door `args[0]`, or one after the other; `--minutes N` each.
///
/// # Errors
/// When a door does not exist, or something was found: the bytes lie in `target/fuzz/found`.
pub fn run(args: &[String]) -> Result<()> {
    let mut minutes = MINUTES;
    let mut names = Vec::new();
    let mut rest = args.iter();
    while let Some(arg) = rest.next() {
        match arg.as_str() {
            "--minutes" => {
                let n = rest.next().and_then(|n| n.parse().ok());
                minutes = n.filter(|n| *n > 0.0).context("--minutes takes a number")?;
            }
            name if name == "lines" || DOORS.iter().any(|d| d.0 == name) => names.push(name),
            other => bail!("there is no door `{other}`: {}, lines", known()),
        }
    }
    let all = names.is_empty();
    for (name, most, seeds) in DOORS.iter().filter(|d| all || names.contains(&d.0)) {
        door(name, *most, *seeds, minutes)?;
    }
    if all || names.contains(&"lines") {
        lines::run(minutes)?;
    }
    Ok(())
}

/// Compiles every door as it is, without coverage, so that none falls behind the library.
///
/// # Errors
/// When one does not compile.
pub fn check() -> Result<()> {
    run::must(
        run::cargo()
            .args(["check", "--quiet", "--locked", "--manifest-path"])
            .args(["tests/fuzz/Cargo.toml", "--target-dir"])
            .arg(run::target()),
    )
}

fn known() -> String {
    DOORS.map(|d| d.0).join(", ")
}

fn door(name: &str, most: u32, seeds: Option<&str>, minutes: f64) -> Result<()> {
    let program = build(name)?;
    let folder = run::target().join("fuzz");
    let corpus = folder.join("corpus").join(name);
    let found = folder.join("found").join(name);
    for folder in [&corpus, &found] {
        std::fs::create_dir_all(folder)?;
    }
    println!("{name}: {minutes} minutes");
    let mut command = Command::new(program);
    command
        .arg(&corpus)
        .arg(format!("tests/fuzz/seeds/{name}"))
        .args(seeds)
        .arg(format!("-max_total_time={:.0}", minutes * 60.0))
        .arg(format!("-max_len={most}"))
        .arg(format!("-artifact_prefix={}/", found.display()))
        .args(["-rss_limit_mb=2048", "-timeout=20", "-print_final_stats=1"]);
    if std::path::Path::new("/dev/shm").is_dir() {
        command.env("TMPDIR", "/dev/shm"); // what a door writes need not reach a disk
    }
    run::must(&mut command)
}

/// Builds a door with coverage, apart from everything else; where it lies then.
fn build(name: &str) -> Result<PathBuf> {
    let host = host()?;
    let folder = run::target().join("fuzz/build");
    let flags = std::env::var("RUSTFLAGS").unwrap_or_default();
    // With a target named, what runs while building stays as it is.
    run::must(
        run::cargo()
            .args([
                "build",
                "--release",
                "--manifest-path",
                "tests/fuzz/Cargo.toml",
            ])
            .args(["--bin", name, "--target", &host, "--target-dir"])
            .arg(&folder)
            .env("RUSTFLAGS", format!("{flags} {COVERAGE}")),
    )?;
    let program = format!("{name}{}", std::env::consts::EXE_SUFFIX);
    Ok(folder.join(host).join("release").join(program))
}

fn host() -> Result<String> {
    let said = Command::new("rustc").arg("-vV").output()?.stdout;
    let said = String::from_utf8_lossy(&said).into_owned();
    let host = said.lines().find_map(|line| line.strip_prefix("host: "));
    host.map(str::to_owned)
        .context("rustc does not tell its host")
}
