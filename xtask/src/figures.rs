//! `figures`: the pictures of the README and the guide, drawn by the project itself into `.pictures/`.

use crate::{bench, demo, run, window};
use anyhow::{Context, Result};
use std::path::Path;
use std::process::Command;

/// What the demo draws, and what it is called among the pictures.
const OF_THE_DEMO: [(&str, &str); 2] = [
    ("recording.svg", "bar-sheet.svg"),
    ("both.svg", "compared.svg"),
];

/// A recording beside the project, of which one bar is drawn close up.
const RECORDING: &str = "data/guitarset/03_SS1-68-E_comp_mic.wav";
/// What the bench of the stretch engine draws.
const OF_THE_ENGINE: [&str; 2] = ["stretch-pluck.svg", "stretch-phrase.svg"];

/// Draws every picture again.
pub fn run() -> Result<()> {
    let program = demo::command_line()?;
    let out = "target/demo";
    run::must(Command::new(&program).args(["demo", "--out", out]))?;
    std::fs::create_dir_all(".pictures")?;
    for (from, to) in OF_THE_DEMO {
        let from = format!("{out}/{from}");
        std::fs::copy(&from, format!(".pictures/{to}")).with_context(|| from.clone())?;
    }
    window::draw(
        Path::new(&format!("{out}/recording.wav")),
        Path::new(".pictures/window.png"),
    )?;
    played_along()?;
    heard(&program)?;
    // A bench runs in the folder of its package, which is this one.
    let out = "target/figures";
    let args = ["stretch", "--figures", out].map(String::from);
    bench::run(&args)?;
    for name in OF_THE_ENGINE {
        let from = format!("{out}/{name}");
        std::fs::copy(&from, format!(".pictures/{name}")).with_context(|| from.clone())?;
    }
    println!("drawn into .pictures");
    Ok(())
}

/// A round of playing along: the window as it stood in the eighth round of the test that plays ten of them
/// through JACK.
fn played_along() -> Result<()> {
    if !run::present("jackd", "--version") || !run::present("convert", "-version") {
        println!("skipped: the picture of a round (it needs jackd and ImageMagick)");
        return Ok(());
    }
    let out = std::path::absolute(run::target().join("figures"))?;
    std::fs::create_dir_all(&out)?;
    let mut test = run::cargo();
    test.args([
        "test",
        "--workspace",
        "--test",
        "window",
        "ten_rounds_through_jack",
    ]);
    run::must(test.env("THUMBLINE_PICTURES", &out))?;
    let mut convert = Command::new("convert");
    run::must(
        convert
            .arg(out.join("round.ppm"))
            .arg(".pictures/along.png"),
    )
}

/// One bar of a real recording as it was heard, where there is one beside the project.
fn heard(program: &Path) -> Result<()> {
    let take = run::shared().map(|shared| shared.join(RECORDING));
    let Some(take) = take.filter(|take| take.is_file()) else {
        println!("skipped: the close-up of a bar (there is no recording beside the project)");
        return Ok(());
    };
    // The recording is not the project's own, so its picture does not go among the project's.
    let to = "target/demo/heard-bar.svg";
    let mut command = Command::new(program);
    command.arg("analyze").arg(take);
    run::must(command.args(["--close-up", to, "--bar", "2"]))?;
    println!("drawn: {to}");
    Ok(())
}
