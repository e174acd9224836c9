//! The host's transport and a foot drive the deck.

use crate::rig::{RATE, Rig, recording, session, transport};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_host::events::Pckn;
use clack_host::events::event_types::{MidiEvent, NoteOnEvent, TransportFlags};
use clack_host::prelude::*;
use serde_json::json;

#[test]
fn the_host_drives_and_a_foot_stops() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 48_000);
    let mut rig = Rig::new();
    rig.activate(RATE);
    let mut kept = session(&path);
    kept["learnt"] = json!([["play", {"note": 36}], ["loop", {"controller": 64}]]);
    rig.load_session(&kept);
    rig.set(&[("Play", "on"), ("Hear the input", "off")]);
    rig.until_heard();
    let mut foot = EventBuffer::new();
    foot.push(&NoteOnEvent::new(
        0,
        Pckn::new(0u16, 0u16, 36u16, 0u32),
        0.8,
    ));
    rig.process(&[0.0; 64], &foot, None);
    rig.silent(2048);
    let out = rig.silent(2048);
    assert!(out[0].iter().all(|s| *s == 0.0), "the foot did not stop it");
    rig.process(&[0.0; 64], &foot, None);
    rig.until_heard();
    let mut pedal = EventBuffer::new();
    pedal.push(&MidiEvent::new(0, 0, [0xb0, 64, 127]));
    rig.process(&[0.0; 64], &pedal, None);
    // A transport at a standstill with strange numbers in it.
    let mut transport = transport(f64::NAN, 0.0);
    transport.flags = TransportFlags::all();
    rig.set(&[("Follow the host", "on")]);
    let out = rig.process(&[0.0; 4096], &EventBuffer::new(), Some(&transport));
    assert!(out[0].iter().all(|s| s.is_finite()));
}

#[test]
fn an_offline_render_waits_for_the_recording_and_is_exact() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 44_100);
    let render = |size: usize| -> Vec<f32> {
        let mut rig = Rig::new();
        let mode: PluginRender = rig.extension();
        let handle = rig.instance.plugin_handle();
        assert!(mode.set(&handle, RenderMode::Offline).is_ok());
        rig.load_session(&session(&path));
        rig.activate(RATE);
        // Nothing waits here but the plug-in itself.
        rig.set(&[("Play", "on"), ("Speed", "60 %"), ("Hear the input", "off")]);
        let mut out = Vec::new();
        while out.len() < 96_000 {
            let [left, _] = rig.silent(size.min(96_000 - out.len()));
            out.extend(left);
        }
        out
    };
    let reference = render(512);
    let begin = reference.iter().position(|s| s.abs() > 0.01);
    assert!(begin.is_some_and(|at| at < 512), "it began at {begin:?}");
    assert_eq!(render(480), reference);
    assert_eq!(render(4096), reference);
}

#[test]
fn a_foot_goes_on_to_the_next_region() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = recording(dir.path(), "tone.wav", 48_000);
    let mut rig = Rig::new();
    rig.activate(RATE);
    rig.load_session(&session(&path));
    let mut kept = rig.until_whole();
    let hash = kept["recording"]["hash"]
        .as_str()
        .expect("a hash")
        .to_owned();
    let first = json!({"name": "one", "from": 1.0, "to": 2.0});
    let second = json!({"name": "two", "from": 5.0, "to": 6.0});
    kept["marks"] = json!({hash: {"region": first, "regions": [first, second]}});
    kept["learnt"] = json!([["next_region", {"note": 40}], ["loop", {"controller": 64}]]);
    rig.load_session(&kept);
    rig.set(&[("Play", "off")]);
    rig.set(&[("Play", "on"), ("Loop", "on"), ("Hear the input", "off")]);
    rig.until_pitch(210.0);
    let mut foot = EventBuffer::new();
    let key = Pckn::new(0u16, 0u16, 40u16, 0u32);
    foot.push(&NoteOnEvent::new(0, key, 0.8));
    rig.process(&[0.0; 64], &foot, None);
    rig.until_pitch(250.0);
    rig.process(&[0.0; 64], &foot, None);
    rig.until_pitch(210.0);
    // The loop pedal lets it run on past the region's end.
    let mut pedal = EventBuffer::new();
    pedal.push(&MidiEvent::new(0, 0, [0xb0, 64, 127]));
    rig.process(&[0.0; 64], &pedal, None);
    rig.until_pitch(230.0);
}
