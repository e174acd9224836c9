//! The plug-in inside an independent CLAP host (clack), in process: what a host asks of it, and
//! what a project asks of its state.

// The entry point is a raw C symbol, as a host loads it.
#![allow(unsafe_code)]

use clack_extensions::audio_ports::{AudioPortInfoBuffer, PluginAudioPorts};
use clack_extensions::latency::PluginLatency;
use clack_extensions::note_ports::PluginNotePorts;
use clack_extensions::params::{ParamInfoBuffer, PluginParams};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_extensions::state::PluginState;
use clack_extensions::tail::{PluginTail, TailLength};
use clack_host::events::event_types::{
    MidiEvent, NoteOnEvent, ParamValueEvent, TransportEvent, TransportFlags,
};
use clack_host::events::{EventFlags, EventHeader, Pckn};
use clack_host::prelude::*;
use clack_host::utils::{BeatTime, SecondsTime};
use serde_json::{Value, json};
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const RATE: f64 = 48_000.0;

struct Shared;
impl SharedHandler<'_> for Shared {
    fn request_restart(&self) {}
    fn request_process(&self) {}
    fn request_callback(&self) {}
}

struct Host;
impl HostHandlers for Host {
    type Shared<'a> = Shared;
    type MainThread<'a> = ();
    type AudioProcessor<'a> = ();
}

struct Rig {
    instance: PluginInstance<Host>,
    audio: Option<StartedPluginAudioProcessor<Host>>,
    inputs: AudioPorts,
    outputs: AudioPorts,
    steady: u64,
    _entry: PluginEntry,
}

fn entry() -> PluginEntry {
    // SAFETY: the symbol is the plug-in's own entry, which lives as long as the process.
    unsafe { PluginEntry::load_from_raw(&thumbline_plugin::export::clap_entry, c"thumbline") }
        .expect("the entry initialises")
}

impl Rig {
    fn new() -> Self {
        let entry = entry();
        let info = HostInfo::new("Host", "Test", "", "1").expect("no zero bytes");
        let instance = PluginInstance::<Host>::new(
            |()| Shared,
            |_| (),
            &entry,
            c"org.thumbline.thumbline",
            &info,
        )
        .expect("an instance");
        Self {
            instance,
            audio: None,
            inputs: AudioPorts::with_capacity(2, 2),
            outputs: AudioPorts::with_capacity(2, 1),
            steady: 0,
            _entry: entry,
        }
    }

    fn extension<
        E: clack_host::extensions::Extension<
                ExtensionSide = clack_host::extensions::PluginExtensionSide,
            >,
    >(
        &mut self,
    ) -> E {
        self.instance
            .plugin_handle()
            .get_extension::<E>()
            .expect("the extension")
    }

    fn activate(&mut self, rate: f64) {
        let config = PluginAudioConfiguration {
            sample_rate: rate,
            min_frames_count: 1,
            max_frames_count: 8192,
        };
        let stopped = self.instance.activate(|_, ()| (), config).expect("active");
        self.audio = Some(stopped.start_processing().expect("processing"));
    }

    fn deactivate(&mut self) {
        if let Some(audio) = self.audio.take() {
            self.instance.deactivate(audio.stop_processing());
        }
    }

    fn process(
        &mut self,
        input: &[f32],
        events: &EventBuffer,
        transport: Option<&TransportEvent>,
    ) -> [Vec<f32>; 2] {
        let n = input.len();
        let mut main = [input.to_vec(), input.to_vec()];
        let mut side = [vec![0.0f32; n], vec![0.0f32; n]];
        let mut out = [vec![0.0f32; n], vec![0.0f32; n]];
        let ports = self
            .inputs
            .with_input_buffers([&mut main, &mut side].map(|port| {
                AudioPortBuffer {
                    latency: 0,
                    channels: AudioPortBufferType::f32_input_only(
                        port.iter_mut()
                            .map(|b| InputChannel::variable(b.as_mut_slice())),
                    ),
                }
            }));
        let mut outs = self.outputs.with_output_buffers([AudioPortBuffer {
            latency: 0,
            channels: AudioPortBufferType::f32_output_only(out.iter_mut().map(Vec::as_mut_slice)),
        }]);
        let mut sent = EventBuffer::new();
        self.audio
            .as_mut()
            .expect("active")
            .process(
                &ports,
                &mut outs,
                &InputEvents::from_buffer(events),
                &mut OutputEvents::from_buffer(&mut sent),
                Some(self.steady),
                transport,
            )
            .expect("processed");
        self.steady += n as u64;
        out
    }

    fn silent(&mut self, frames: usize) -> [Vec<f32>; 2] {
        self.process(&vec![0.0; frames], &EventBuffer::new(), None)
    }

    /// Id of the parameter of that name.
    fn param(&mut self, name: &str) -> ClapId {
        let params: PluginParams = self.extension();
        let handle = self.instance.plugin_handle();
        for index in 0..params.count(&handle) {
            let mut buffer = ParamInfoBuffer::new();
            if let Some(info) = params.get_info(&handle, index, &mut buffer)
                && info.name == name.as_bytes()
            {
                return info.id;
            }
        }
        panic!("no parameter {name}");
    }

    /// Sets parameters by the text a player would type, in the next block.
    fn set(&mut self, values: &[(&str, &str)]) {
        let params: PluginParams = self.extension();
        let mut events = EventBuffer::new();
        for (name, text) in values {
            let id = self.param(name);
            let text = std::ffi::CString::new(*text).expect("text");
            let handle = self.instance.plugin_handle();
            let value = params
                .text_to_value(&handle, id, &text)
                .unwrap_or_else(|| panic!("{name} cannot be {text:?}"));
            events.push(&ParamValueEvent::new(0, id, Pckn::match_all(), value));
        }
        self.process(&[0.0; 32], &events, None);
    }

    fn save(&mut self) -> Value {
        let state: PluginState = self.extension();
        let mut bytes = Vec::new();
        state
            .save(&self.instance.plugin_handle(), &mut bytes)
            .expect("saved");
        // The framework's CLAP wrapper writes a length of eight bytes before the state.
        let mut value: Value = serde_json::from_slice(&bytes[8..]).expect("JSON");
        let session = value["fields"]["session"]
            .as_str()
            .expect("a session")
            .to_owned();
        value["session"] = serde_json::from_str(&session).expect("JSON inside");
        value
    }

    fn load(&mut self, bytes: &[u8]) -> bool {
        let framed = [&(bytes.len() as u64).to_le_bytes()[..], bytes].concat();
        self.load_raw(&framed)
    }

    fn load_raw(&mut self, bytes: &[u8]) -> bool {
        let state: PluginState = self.extension();
        state
            .load(&self.instance.plugin_handle(), &mut Cursor::new(bytes))
            .is_ok()
    }

    fn load_session(&mut self, session: &Value) {
        let state = json!({
            "version": "0.1.0",
            "params": {},
            "fields": {"session": session.to_string()},
        });
        assert!(self.load(state.to_string().as_bytes()));
    }

    /// Renders until something is heard, at most 20 s of wall time; how long it took.
    fn until_heard(&mut self) -> Duration {
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(20) {
            let out = self.silent(256);
            if out[0].iter().any(|s| s.abs() > 1e-3) {
                return begun.elapsed();
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        panic!("nothing is heard");
    }
}

impl Rig {
    /// Renders until a tone of `hz` is heard, at most 20 s of wall time.
    fn until_pitch(&mut self, hz: f64) {
        let begun = Instant::now();
        let mut last = 0.0;
        while begun.elapsed() < Duration::from_secs(20) {
            let out = self.silent(4096);
            if out[0].iter().any(|s| s.abs() > 0.3) {
                last = pitch(&out[0]);
                if (last - hz).abs() < 6.0 {
                    return;
                }
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("{last} Hz instead of {hz}");
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        self.deactivate();
    }
}

/// A tone of 20 s that rises in pitch at every second, as a WAV file.
fn recording(dir: &Path, name: &str, rate: u32) -> PathBuf {
    let path = dir.join(name);
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("a file");
    for i in 0..20 * rate {
        let t = f64::from(i) / f64::from(rate);
        let hz = 200.0 + 10.0 * t.floor();
        let s = (0.4 * (std::f64::consts::TAU * hz * t).sin() * 32767.0) as i16;
        writer.write_sample(s).expect("written");
        writer.write_sample(s).expect("written");
    }
    writer.finalize().expect("closed");
    path
}

fn session(path: &Path) -> Value {
    json!({
        "version": 1,
        "recording": {"name": "tone.wav", "path": path},
        "position": 2.0,
        "lamp": "kept",
    })
}

fn pitch(out: &[f32]) -> f64 {
    // Rising zero crossings.
    let crossings: Vec<usize> = (1..out.len())
        .filter(|&i| out[i - 1] < 0.0 && out[i] >= 0.0)
        .collect();
    let periods = crossings.len().saturating_sub(1) as f64;
    periods * RATE / (crossings[crossings.len() - 1] - crossings[0]) as f64
}

#[test]
fn a_host_finds_ports_latency_tail_and_render_mode() {
    let mut rig = Rig::new();
    let ports: PluginAudioPorts = rig.extension();
    let handle = rig.instance.plugin_handle();
    assert_eq!(ports.count(&handle, true), 2);
    assert_eq!(ports.count(&handle, false), 1);
    let mut buffer = AudioPortInfoBuffer::new();
    let info = ports
        .get(&handle, 1, true, &mut buffer)
        .expect("a side input");
    assert_eq!(info.channel_count, 2);
    let notes: PluginNotePorts = rig.extension();
    let handle = rig.instance.plugin_handle();
    assert_eq!(notes.count(&handle, true), 1);
    assert_eq!(notes.count(&handle, false), 0);
    let render: PluginRender = rig.extension();
    let handle = rig.instance.plugin_handle();
    assert!(!render.has_realtime_requirement(&handle));
    assert!(render.set(&handle, RenderMode::Offline).is_ok());
    rig.activate(RATE);
    rig.silent(64);
    let tail: PluginTail = rig.extension();
    let audio = rig.audio.as_mut().expect("active");
    assert_eq!(tail.get(&audio.plugin_handle()), TailLength::Infinite);
    let latency: PluginLatency = rig.extension();
    let handle = rig.instance.plugin_handle();
    let reported = latency.get(&handle) as usize;
    rig.silent(4096);
    let mut impulse = vec![0.0; 4096];
    impulse[100] = 0.5;
    let out = rig.process(&impulse, &EventBuffer::new(), None);
    assert_eq!(out[0].iter().position(|s| *s != 0.0), Some(100 + reported));
}

#[test]
fn parameters_have_stable_ids_units_and_text_both_ways() {
    let mut rig = Rig::new();
    for (name, text) in [
        ("Speed", "50.0 %"),
        ("Play", "on"),
        ("Loop", "on"),
        ("Next region", "off"),
        ("Previous region", "off"),
        ("Click", "on"),
        ("Click level", "-6.0 dB"),
        ("Pitch", "-2 semitones"),
        ("Fine pitch", "12.5 cents"),
        ("Gain", "3.0 dB"),
        ("Channels", "Mid"),
        ("Follow the host", "on"),
        ("Hear the input", "off"),
        ("Bypass", "Not Bypassed"),
    ] {
        let id = rig.param(name);
        let params: PluginParams = rig.extension();
        let handle = rig.instance.plugin_handle();
        let typed = std::ffi::CString::new(text).expect("text");
        let value = params
            .text_to_value(&handle, id, &typed)
            .unwrap_or_else(|| panic!("{name} does not understand {text}"));
        let mut buffer = [0u8; 64];
        let shown = params
            .value_to_text(&handle, id, value, &mut buffer)
            .expect("text");
        let shown = String::from_utf8_lossy(shown);
        assert_eq!(shown.trim_end_matches('\0'), text, "{name}");
    }
    // The state names parameters by these: they may never change.
    let saved = rig.save();
    let names: Vec<&String> = saved["params"]
        .as_object()
        .expect("params")
        .keys()
        .collect();
    for id in [
        "bypass",
        "cents",
        "channels",
        "click",
        "click_level",
        "click_pan",
        "follow",
        "gain",
        "loop",
        "marks",
        "next",
        "pitch",
        "play",
        "previous",
        "speed",
        "through",
    ] {
        assert!(
            names.iter().any(|n| *n == id),
            "{id} is missing from {names:?}"
        );
    }
}

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
    let mut saved = rig.save();
    let begun = Instant::now();
    while !saved["session"]["recording"]["hash"].is_string() {
        assert!(begun.elapsed() < Duration::from_secs(20), "never whole");
        std::thread::sleep(Duration::from_millis(20));
        saved = rig.save();
    }
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

fn transport(tempo: f64, beats: f64) -> TransportEvent {
    TransportEvent {
        header: EventHeader::new_core(0, EventFlags::empty()),
        flags: TransportFlags::HAS_TEMPO
            | TransportFlags::HAS_BEATS_TIMELINE
            | TransportFlags::IS_PLAYING,
        song_pos_beats: BeatTime::from_float(beats),
        song_pos_seconds: SecondsTime::from_float(0.0),
        tempo,
        tempo_inc: 0.0,
        loop_start_beats: BeatTime::from_float(0.0),
        loop_end_beats: BeatTime::from_float(0.0),
        loop_start_seconds: SecondsTime::from_float(0.0),
        loop_end_seconds: SecondsTime::from_float(0.0),
        bar_start: BeatTime::from_float(0.0),
        bar_number: 0,
        time_signature_numerator: 4,
        time_signature_denominator: 4,
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
