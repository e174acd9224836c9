//! A picture of the real window: the standalone program on a display of its own.
//!
//! It needs the headers of ALSA and JACK, Xvfb and ImageMagick; where one is missing the picture
//! that is there stays, and that is said.

use crate::{demo, run};
use anyhow::{Context, Result, bail};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A display that nobody else is likely to use.
const DISPLAY: &str = ":93";
/// Long enough to open, read and hear the demo on a slow machine.
const PATIENCE: Duration = Duration::from_secs(25);

/// Draws the window on `recording` into `to`.
pub fn draw(recording: &Path, to: &Path) -> Result<()> {
    if let Some(missing) = missing() {
        println!("skipped: the picture of the window needs {missing}");
        return Ok(());
    }
    demo::window()?;
    let data = run::target().join("figures-data");
    std::fs::create_dir_all(&data)?;
    std::fs::write(
        data.join("state.json"),
        r#"{"session":{"look":{"cautioned":true}}}"#,
    )?;
    let screen = ["-screen", "0", "1180x760x24"];
    let mut display = Ended(
        Command::new("Xvfb")
            .arg(DISPLAY)
            .args(screen)
            .stderr(Stdio::null())
            .spawn()
            .context("Xvfb cannot be started")?,
    );
    std::thread::sleep(Duration::from_secs(1));
    let _window = Ended(
        Command::new(run::program("debug", "thumbline-standalone"))
            .args(["--backend", "dummy"])
            .arg(recording)
            .env("DISPLAY", DISPLAY)
            .env("THUMBLINE_DATA", &data)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .context("the standalone program cannot be started")?,
    );
    std::thread::sleep(PATIENCE);
    if let Some(status) = display.0.try_wait()? {
        bail!("Xvfb ended: {status}");
    }
    let mut import = Command::new("import");
    run::must(
        import
            .args(["-window", "root"])
            .arg(to)
            .env("DISPLAY", DISPLAY),
    )
}

fn missing() -> Option<&'static str> {
    if !demo::audio_headers() {
        Some("the headers of ALSA and JACK")
    } else if !run::present("Xvfb", "-help") {
        Some("Xvfb")
    } else if !run::present("import", "-version") {
        Some("ImageMagick")
    } else {
        None
    }
}

/// A program that is stopped when it is no longer needed.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
