//! The command line under arguments that nobody would type: whole processes, one after the other.
//!
//! What holds of each: it ends, by itself, with 0, 1 or 2; a failure is one line; nothing panics;
//! and the recordings it was given are what they were.

use crate::run;
use anyhow::{Context, Result, bail};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A line that runs longer has hung.
const PATIENCE: Duration = Duration::from_mins(1);

const VERBS: [&str; 12] = [
    "analyze", "check", "compare", "drill", "export", "journal", "loop", "patterns", "slow",
    "strings", "demo", "help",
];

const OPTIONS: [&str; 46] = [
    "--json",
    "--csv",
    "--svg",
    "--dark",
    "--close-up",
    "--bar",
    "--tuning",
    "--capo",
    "--speed",
    "--speeds",
    "--pitch",
    "--from",
    "--to",
    "--from-s",
    "--to-s",
    "--out",
    "--float",
    "--bars",
    "--times",
    "--count-in",
    "--click",
    "--against",
    "--hear",
    "--in-turn",
    "--round",
    "--keep",
    "--journal",
    "--note",
    "--quantised",
    "--scale",
    "--highest",
    "--harmonics",
    "--guess",
    "--length-mm",
    "--midi",
    "--musicxml",
    "--pattern",
    "--list",
    "--tempo",
    "--seed",
    "--replace",
    "--quiet",
    "--help",
    "--version",
    "--for-good",
    "--rounds",
];

const WORDS: [&str; 56] = [
    "tune.wav",
    "take.wav",
    "tune.flac",
    "cut.mp3",
    "letter.txt",
    "map.txt",
    "journal.sqlite",
    "out.wav",
    "out.json",
    "out.svg",
    "-",
    ".",
    "..",
    "",
    " ",
    "nowhere",
    "/dev/null",
    "no/where",
    "0",
    "1",
    "2",
    "-1",
    "0.5",
    "60%",
    "1e308",
    "nan",
    "inf",
    "5-6",
    "1-2",
    "2-1",
    "999999999999",
    "-2147483648",
    "0.0000001",
    "D A D G A D",
    "DADGAD",
    "standard",
    "D major",
    "E minor pentatonic",
    "x x x x x x",
    "C-50 A D G B E",
    "json",
    "csv",
    "jams",
    "midi",
    "musicxml",
    "tab",
    "svg",
    "wav",
    "own-tempo",
    "strict",
    "thumb",
    "60,70,80",
    "list",
    "next",
    "takes",
    "\u{1b}[2J\u{7}ä\u{202e}",
];

const JOURNAL: [&str; 12] = [
    "list", "page", "chart", "next", "export", "backup", "restore", "merge", "rescue", "takes",
    "discard", "forget",
];

/// Runs made-up command lines for `minutes`.
pub fn run(minutes: f64) -> Result<()> {
    run::build(&["--quiet", "--bin", "thumbline"])?;
    let program = std::fs::canonicalize(run::program("debug", "thumbline"))?;
    let folder = run::target().join("fuzz/lines");
    let _ = std::fs::remove_dir_all(&folder); // of the run before
    std::fs::create_dir_all(&folder)?;
    let own = prepare(&folder)?;
    let seed = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(1, |d| d.as_nanos() as u64);
    println!("lines: {minutes} minutes, seed {seed}");
    let mut dice = Dice(seed | 1);
    let begun = Instant::now();
    let mut codes = [0u64; 3];
    while begun.elapsed().as_secs_f64() < minutes * 60.0 {
        let line = line(&mut dice);
        let code = one(&program, &folder, &line)
            .with_context(|| format!("in {}: {line:?}", folder.display()))?;
        codes[code] += 1;
        for (name, bytes) in &own {
            if std::fs::read(folder.join(name)).ok().as_ref() != Some(bytes) {
                if !given_up(&line, name) {
                    bail!("`{name}` is not what it was, after {line:?}");
                }
                std::fs::write(folder.join(name), bytes)?;
            }
        }
    }
    let [well, fault, usage] = codes;
    println!(
        "lines: {} runs: {well} done, {fault} recording or disk at fault, {usage} given wrongly; \
         no panic, no recording touched",
        well + fault + usage
    );
    Ok(())
}

/// Was the file `name` only named as a place to write to, and `--replace` said?
fn given_up(line: &[String], name: &str) -> bool {
    let read = |pair: &[String]| pair[1] == name && !pair[0].starts_with("--");
    line.iter().any(|word| word == "--replace") && !line.windows(2).any(read)
}

/// Files to name, and those that no command may change.
fn prepare(folder: &Path) -> Result<Vec<(&'static str, Vec<u8>)>> {
    let rate = 8_000u32;
    let samples: Vec<i16> = (0..3 * rate)
        .map(|n| {
            let t = f64::from(n % (rate / 2)) / f64::from(rate);
            (9_000.0 * (-6.0 * t).exp() * (1382.3 * t).sin()) as i16
        })
        .collect();
    let data: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
    let mut wav = Vec::new();
    wav.extend(b"RIFF");
    wav.extend((36 + data.len() as u32).to_le_bytes());
    wav.extend(b"WAVEfmt ");
    wav.extend(16u32.to_le_bytes());
    wav.extend([1, 0, 1, 0]);
    wav.extend(rate.to_le_bytes());
    wav.extend((2 * rate).to_le_bytes());
    wav.extend([2, 0, 16, 0]);
    wav.extend(b"data");
    wav.extend((data.len() as u32).to_le_bytes());
    wav.extend(&data);
    let flac = std::fs::read("tests/fixtures/tones.flac")?;
    let mut mp3 = std::fs::read("tests/fixtures/tones.mp3")?;
    mp3.truncate(mp3.len() / 2);
    let own = vec![
        ("tune.wav", wav.clone()),
        ("take.wav", wav),
        ("tune.flac", flac),
        ("cut.mp3", mp3),
    ];
    for (name, bytes) in &own {
        std::fs::write(folder.join(name), bytes)?;
    }
    std::fs::write(folder.join("letter.txt"), "dear reader\n")?;
    std::fs::write(folder.join("map.txt"), "0 0.5\n1 1.25\n")?;
    Ok(own)
}

/// A command with what it needs, most of the time, and whatever else.
fn line(dice: &mut Dice) -> Vec<String> {
    let verb = *dice.one(&VERBS);
    let mut line = vec![verb.to_owned()];
    if verb == "journal" {
        line.extend(["--journal".to_owned(), "journal.sqlite".to_owned()]);
        line.push((*dice.one(&JOURNAL)).to_owned());
    } else if dice.below(8) > 0 {
        line.push((*dice.one(&["tune.wav", "take.wav", "tune.flac", "cut.mp3"])).to_owned());
    }
    if dice.below(2) > 0 {
        let more: &[&str] = match verb {
            "slow" => &["--speed", "0.5", "--out", "out.wav"],
            "loop" => &["--from-s", "0", "--to-s", "1", "--out", "out.wav"],
            "compare" => &["take.wav"],
            "export" => &["--to", "midi", "--out", "out.json"],
            _ => &[],
        };
        line.extend(more.iter().map(|w| (*w).to_owned()));
    }
    for _ in 0..dice.below(6) {
        match dice.below(3) {
            0 => line.push((*dice.one(&WORDS)).to_owned()),
            1 => line.push((*dice.one(&OPTIONS)).to_owned()),
            _ => line.push(format!("{}={}", dice.one(&OPTIONS), dice.one(&WORDS))),
        }
    }
    line
}

/// Runs one line; its exit code.
fn one(program: &Path, folder: &Path, line: &[String]) -> Result<usize> {
    let mut child = Command::new(program)
        .args(line)
        .current_dir(folder)
        .env("THUMBLINE_DATA", folder.join("data"))
        .env("THUMBLINE_PRESETS", folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(std::fs::File::create(folder.join("stderr"))?)
        .spawn()?;
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait()? {
            break status;
        }
        if begun.elapsed() > PATIENCE {
            child.kill()?;
            bail!("it hangs");
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let said = std::fs::read_to_string(folder.join("stderr"))?;
    if said.contains("panicked") {
        bail!("it panics: {said}");
    }
    if said
        .chars()
        .any(|c| c.is_control() && c != '\n' && c != '\t')
    {
        bail!("it prints control characters: {said:?}");
    }
    match status.code() {
        Some(0) => Ok(0),
        Some(code @ (1 | 2)) => {
            let errors = said
                .lines()
                .filter(|l| l.starts_with("thumbline: "))
                .count();
            if errors != 1 {
                bail!("exit code {code} with {errors} lines of error: {said}");
            }
            Ok(code as usize)
        }
        other => bail!("it ended with {other:?}: {said}"),
    }
}

/// Numbers by chance, always the same from one seed (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % n.max(1)
    }

    fn one<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }
}
