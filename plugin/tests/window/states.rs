//! Fifteen states of the window, each held against how it was painted when somebody last looked at
//! it: the brightness of every square of 20 points. `THUMBLINE_BLESS=1` accepts what is painted now,
//! `THUMBLINE_PICTURES=FOLDER` writes the pictures themselves to look at.

use super::painting::painted;
use super::scenes::{along, answered, heard, looping, with_page, with_take};
use super::{World, window};
use egui::vec2;
use egui_kittest::Harness;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thumbline::report::sheet::Ground;
use thumbline::unit::Seconds;
use thumbline_plugin::editor::sight::Side;
use thumbline_plugin::snapshot::{AnalysisView, RecordingView, Snapshot};

/// Side of a square.
const SIDE: usize = 20;
/// Share of squares that may differ by one digit, and by more: letters fall a little differently
/// on another version of the font's library.
const NEAR: f64 = 0.05;
const FAR: f64 = 0.005;

fn states() -> Vec<(&'static str, Harness<'static, World>)> {
    let size = vec2(1180.0, 760.0);
    let plain = |snapshot: Snapshot| window(snapshot, size);
    let name = || "tune.wav".to_owned();
    let dark = |mut snapshot: Snapshot| {
        snapshot.look.ground = Ground::Dark;
        snapshot
    };
    let mut close = plain(heard(8));
    close.state_mut().sight.close_up = Some(2);
    let chosen = plain(heard(8));
    chosen.key_press(egui::Key::Period);
    let mut page = plain(with_page());
    page.state_mut().sight.side = Side::Journal;
    let mut takes = plain(answered());
    takes.state_mut().sight.side = Side::Takes;
    let mut large = heard(8);
    large.look.scale = 2.0;
    let mut folded = answered();
    folded.look.fold = true;
    let mut tablature = heard(8);
    tablature.look.strings = true;
    let far = plain(dark(along()));
    far.key_press(egui::Key::G);
    let working = Snapshot {
        analysis: AnalysisView::Working {
            progress: 0.4,
            onsets: Arc::from([Seconds(0.5), Seconds(1.1)]),
            so_far: None,
        },
        ..heard(4)
    };
    let failed = Snapshot {
        recording: RecordingView::Failed {
            name: name(),
            reason: "It holds no sound.".to_owned(),
        },
        ..Snapshot::default()
    };
    let mut all = vec![
        ("empty", plain(Snapshot::default())),
        ("failed", plain(failed)),
        ("listening", plain(working)),
        ("heard", plain(heard(8))),
        ("heard-dark", plain(dark(heard(8)))),
        ("looping", plain(looping())),
        ("take", plain(with_take())),
        ("take-answered", takes),
        ("close-up", close),
        ("note-chosen", chosen),
        ("journal", page),
        ("large", plain(large)),
        ("folded", plain(folded)),
        ("tablature", plain(tablature)),
        ("along", plain(along())),
        ("along-far", far),
    ];
    for (_, harness) in &mut all {
        harness.run_steps(3);
    }
    all
}

fn kept(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/states");
    folder.join(format!("{name}.txt"))
}

#[test]
fn sixteen_states_look_as_they_did() {
    let bless = std::env::var_os("THUMBLINE_BLESS").is_some();
    let folder = std::env::var_os("THUMBLINE_PICTURES").map(PathBuf::from);
    let mut changed = Vec::new();
    for (name, harness) in states() {
        let picture = painted(&harness);
        if let Some(folder) = &folder {
            picture.save(&folder.join(format!("{name}.ppm")));
        }
        let now = picture.digits(SIDE);
        if bless {
            std::fs::write(kept(name), &now).expect("the folder of states is writable");
            continue;
        }
        let before = std::fs::read_to_string(kept(name)).unwrap_or_default();
        let (near, far) = differing(&before, &now);
        if near > NEAR || far > FAR {
            let percent = 100.0 * near;
            changed.push(format!("{name}: {percent:.1} % of the squares\n{now}"));
        }
    }
    assert!(
        changed.is_empty(),
        "look at them (THUMBLINE_PICTURES), then accept them (THUMBLINE_BLESS): {}",
        changed.join("\n")
    );
}

/// Shares of squares that differ at all, and by more than one digit; all where the sizes differ.
fn differing(before: &str, now: &str) -> (f64, f64) {
    if before.len() != now.len() || now.is_empty() {
        return (1.0, 1.0);
    }
    let pairs = before.bytes().zip(now.bytes());
    let by: Vec<u8> = pairs.map(|(a, b)| a.abs_diff(b)).collect();
    let share = |least: u8| by.iter().filter(|d| **d >= least).count() as f64 / by.len() as f64;
    (share(1), share(2))
}
