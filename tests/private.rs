//! What leaves the machine names no place on it, and what stays is its owner's alone.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;
use thumbline::demo;
use thumbline::report::file::Target;
use thumbline::report::wav::{self, Depth};

/// A folder's name that nothing may tell.
const SECRET: &str = "secretname";

fn run(folder: &Path, line: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_thumbline"))
        .args(line)
        .arg("--quiet")
        .current_dir(folder)
        .env("THUMBLINE_DATA", folder.join("data"))
        .output()
        .expect("it runs")
}

/// The beginning of the built-in tune, played well and less well, in a folder whose name is secret.
fn recordings(folder: &TempDir) -> PathBuf {
    let secret = folder.path().join(SECRET);
    std::fs::create_dir(&secret).expect("made");
    let piece = demo::recording(22_050).expect("the tune").recording;
    for (name, from) in [("tune.wav", 0), ("take.wav", 441)] {
        let frames = from..from + 14 * 22_050;
        let sound: Vec<_> = piece
            .channels()
            .iter()
            .map(|c| c[frames.clone()].to_vec())
            .collect();
        Target::File(secret.join(name))
            .write(|out| wav::write(out, 22_050, &sound, Depth::Int24))
            .expect("written");
    }
    secret
}

#[test]
fn nothing_that_leaves_the_machine_tells_where_it_was_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let secret = recordings(&folder);
    let out = folder.path().join("out");
    std::fs::create_dir(&out).expect("made");
    let place = |name: &str| out.join(name).to_string_lossy().into_owned();
    let [tune, take] =
        ["tune.wav", "take.wav"].map(|n| secret.join(n).to_string_lossy().into_owned());
    let to = |name: &'static str| ["--json", "--csv", "--svg"].map(|f| (f, place(name) + &f[1..]));
    let [json, csv, svg] = to("analyze");
    let mut lines = vec![
        vec![
            "analyze".into(),
            tune.clone(),
            json.0.into(),
            json.1,
            csv.0.into(),
            csv.1,
            svg.0.into(),
            svg.1,
        ],
        vec![
            "patterns".into(),
            tune.clone(),
            "--json".into(),
            place("patterns.json"),
        ],
        vec![
            "check".into(),
            take.clone(),
            "--json".into(),
            place("check.json"),
        ],
        vec![
            "compare".into(),
            tune.clone(),
            take,
            "--keep".into(),
            "--json".into(),
            place("compare.json"),
            "--svg".into(),
            place("compare.svg"),
        ],
        vec![
            "lesson".into(),
            tune.clone(),
            "--plan".into(),
            "--speeds".into(),
            "60%".into(),
            "--bars".into(),
            "1".into(),
            "--out".into(),
            place("lesson.html"),
        ],
        vec![
            "journal".into(),
            "export".into(),
            "--json".into(),
            place("journal.json"),
            "--csv".into(),
            place("journal.csv"),
        ],
        vec![
            "slow".into(),
            tune.clone(),
            "--speed".into(),
            "0.9".into(),
            "--out".into(),
            place("slow.flac"),
        ],
    ];
    for format in ["jams", "midi", "musicxml", "tab", "pdf", "wav"] {
        lines.push(vec![
            "export".into(),
            tune.clone(),
            "--to".into(),
            format.into(),
            "--out".into(),
            place(&format!("export.{format}")),
        ]);
    }
    for line in &lines {
        let line: Vec<&str> = line.iter().map(String::as_str).collect();
        let output = run(&secret, &line);
        assert!(output.status.success(), "{line:?}: {output:?}");
    }
    let made: Vec<_> = std::fs::read_dir(&out)
        .expect("read")
        .map(|e| e.expect("a file").path())
        .collect();
    assert!(made.len() >= 16, "{made:?}");
    for file in made {
        let bytes = std::fs::read(&file).expect("read");
        assert!(!bytes.is_empty(), "{}", file.display());
        let tells = bytes.windows(SECRET.len()).any(|w| w == SECRET.as_bytes());
        assert!(!tells, "{} tells where it was made", file.display());
    }
}

/// Takes, journal and reports follow the user's own mask; a link in the takes' folder leads nowhere.
#[cfg(unix)]
#[test]
fn what_is_kept_has_its_owners_rights_and_follows_no_link() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("a folder");
    let secret = recordings(&folder);
    let keep = "umask 077; exec \"$0\" compare tune.wav take.wav --keep --json made.json --quiet";
    let kept = |data: &Path| {
        Command::new("sh")
            .args(["-c", keep, env!("CARGO_BIN_EXE_thumbline")])
            .current_dir(&secret)
            .env("THUMBLINE_DATA", data)
            .output()
            .expect("a shell")
    };
    let data = folder.path().join("data");
    let output = kept(&data);
    assert!(output.status.success(), "{output:?}");
    let mut all = vec![secret.join("made.json")];
    let mut folders = vec![data];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("read") {
            let path = entry.expect("an entry").path();
            all.push(path.clone());
            if path.is_dir() {
                folders.push(path);
            }
        }
    }
    assert!(
        all.iter()
            .any(|f| f.extension().is_some_and(|e| e == "flac" || e == "wav")),
        "{all:?}"
    );
    for path in &all {
        let bits = std::fs::metadata(path).expect("there").permissions().mode();
        assert_eq!(bits & 0o077, 0, "{}: {bits:o}", path.display());
    }
    // Somebody has laid links where takes will lie: what they lead to stays as it is.
    let sound = all
        .iter()
        .find(|f| f.extension().is_some_and(|e| e == "flac" || e == "wav"));
    let name = sound.and_then(|s| s.file_name()).expect("a take");
    let other = folder.path().join("other");
    let takes = sound
        .and_then(|s| s.parent())
        .and_then(Path::file_name)
        .expect("a folder");
    std::fs::create_dir_all(other.join(takes)).expect("made");
    let victim = folder.path().join("victim");
    std::fs::write(&victim, b"theirs").expect("written");
    std::os::unix::fs::symlink(&victim, other.join(takes).join(name)).expect("linked");
    std::fs::remove_file(secret.join("made.json")).expect("removed");
    let output = kept(&other);
    assert!(output.status.code().is_some(), "{output:?}");
    assert_eq!(
        std::fs::read(&victim).expect("read"),
        b"theirs",
        "written through a link"
    );
}
