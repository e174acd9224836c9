//! What a project asks of the plug-in: its state, many instances, the first sound.

use crate::rig::{RATE, Rig, pitch, recording, session};
use serde_json::json;
use std::time::Duration;

#[test]
fn a_project_plays_loops_saves_and_reloads() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 44_100);
    let mut rig = Rig::new();
    rig.activate(RATE);
    let mut kept = session(&path);
    rig.load_session(&kept);
    rig.set(&[("Play", "on"), ("Hear the input", "off")]);
    rig.until_heard();
    // At 2 s the tone has 220 Hz, at half speed too.
    rig.set(&[("Speed", "50 %")]);
    rig.silent(8192);
    let out = rig.silent(8192);
    assert!((pitch(&out[0]) - 220.0).abs() < 3.0, "{}", pitch(&out[0]));
    for size in [1, 17, 64, 511, 4096] {
        let out = rig.silent(size);
        assert!(out[0].iter().all(|s| s.is_finite() && s.abs() <= 1.0));
    }
    // The whole file is decoded while it plays; its identity is known then.
    rig.until_whole();
    let saved = rig.save();
    assert_eq!(saved["session"]["lamp"], "kept");
    let place = saved["session"]["position"].as_f64().expect("a place");
    assert!(place > 2.1 && place < 4.0, "{place}");
    assert!(saved["session"]["recording"]["hash"].is_string());
    // Loop the second from 1 to 2: it is 210 Hz all the time, and nothing that still plays from
    // before, later in the file, has that pitch.
    let hash = saved["session"]["recording"]["hash"]
        .as_str()
        .expect("a hash");
    kept["recording"]["hash"] = hash.into();
    kept["marks"] = json!({hash: {"region": {"name": "", "from": 1.0, "to": 2.0}}});
    kept["position"] = json!(1.2);
    rig.load_session(&kept);
    rig.set(&[("Play", "off")]);
    rig.set(&[("Play", "on"), ("Loop", "on"), ("Speed", "100 %")]);
    // What played before plays on until the other state's recording is there.
    rig.until_pitch(210.0);
    for _ in 0..40 {
        let out = rig.silent(4096);
        if out[0].iter().any(|s| s.abs() > 0.3) {
            assert!((pitch(&out[0]) - 210.0).abs() < 6.0, "{}", pitch(&out[0]));
        }
    }
    // Another rate in the middle: the same place, the same pitch.
    rig.deactivate();
    rig.activate(96_000.0);
    rig.until_heard();
    rig.deactivate();
    // Into another instance.
    let saved = rig.save();
    let mut bytes = saved.clone();
    bytes.as_object_mut().expect("an object").remove("session");
    drop(rig);
    let mut other = Rig::new();
    assert!(other.load(bytes.to_string().as_bytes()));
    other.activate(RATE);
    other.set(&[("Play", "off")]);
    other.set(&[("Play", "on")]);
    other.until_pitch(210.0);
}

#[test]
fn a_missing_recording_is_named_and_nothing_else_is_lost() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("gone.wav");
    let mut rig = Rig::new();
    rig.activate(RATE);
    let hash = "ab".repeat(32);
    let kept = json!({
        "recording": {"name": "gone.wav", "path": path, "hash": hash},
        "marks": {hash.clone(): {"regions": [{"name": "the hard bar", "from": 1.0, "to": 2.0}]}},
        "position": 3.5,
        "rest_beats": 2,
    });
    rig.load_session(&kept);
    rig.set(&[("Play", "on")]);
    for _ in 0..20 {
        rig.silent(512);
        std::thread::sleep(Duration::from_millis(5));
    }
    let saved = rig.save();
    assert_eq!(saved["session"]["recording"]["hash"], hash.as_str());
    assert_eq!(saved["session"]["recording"]["name"], "gone.wav");
    let region = &saved["session"]["marks"][&hash]["regions"][0];
    assert_eq!(region["name"], "the hard bar");
    assert_eq!(saved["session"]["rest_beats"], 2);
    assert_eq!(saved["session"]["position"], 3.5);
}

#[test]
fn broken_states_are_refused_or_mended_without_harm() {
    let mut rig = Rig::new();
    rig.activate(RATE);
    for bytes in [
        &b""[..],
        b"{",
        b"[]",
        b"{\"version\":\"9\",\"params\":{\"speed\":1e300,\"who\":3},\"fields\":{}}",
        b"{\"version\":\"0\",\"params\":{},\"fields\":{\"session\":\"{\\\"marks\\\":7}\"}}",
        b"{\"version\":\"0\",\"params\":{},\"fields\":{\"session\":\"\\u0000\"}}",
    ] {
        // The framework's own debug assertion may speak up; it may not harm.
        let _ = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| rig.load(bytes)));
        rig.load_raw(bytes);
        let out = rig.silent(256);
        assert!(out[0].iter().all(|s| s.is_finite()));
    }
    let saved = rig.save();
    assert_eq!(saved["session"]["marks"], 7);
}

#[test]
fn ten_instances_share_one_recording() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 48_000);
    let mut rigs: Vec<Rig> = (0..10).map(|_| Rig::new()).collect();
    for rig in &mut rigs {
        rig.activate(RATE);
        rig.load_session(&session(&path));
        rig.set(&[("Play", "on")]);
    }
    for rig in &mut rigs {
        rig.until_heard();
    }
    // Destroyed in any order, the rest play on.
    for _ in 0..5 {
        rigs.remove(3);
        let last = rigs.len() - 1;
        rigs[last].until_heard();
    }
}

#[test]
fn first_sound_comes_soon_and_memory_stays_small() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 44_100);
    let mut rig = Rig::new();
    rig.activate(RATE);
    rig.load_session(&session(&path));
    rig.set(&[("Play", "on")]);
    let took = rig.until_heard();
    println!("first sound after {took:?}");
    assert!(took < Duration::from_secs(3), "{took:?}");
}
