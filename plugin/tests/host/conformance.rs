//! What any CLAP host may expect of any plug-in, checked as a general conformance run does: the
//! factory, the descriptor, ports, parameters (also at random), state (also read in small pieces),
//! processing (also in place), life and death in any order. The CLAP 1.2 headers say what is asked.

use crate::rig::{Host, RATE, Rig, Shared, entry, noise};
use clack_extensions::audio_ports::{
    AudioPortFlags, AudioPortInfoBuffer, AudioPortType, PluginAudioPorts,
};
use clack_extensions::latency::PluginLatency;
use clack_extensions::note_ports::{NoteDialects, NotePortInfoBuffer, PluginNotePorts};
use clack_extensions::params::{ParamInfoBuffer, ParamInfoFlags, PluginParams};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_extensions::state::PluginState;
use clack_extensions::tail::{PluginTail, TailLength};
use clack_host::events::Pckn;
use clack_host::events::event_types::{MidiEvent, NoteOffEvent, NoteOnEvent, ParamValueEvent};
use clack_host::prelude::*;
use clack_host::process::audio_buffers::{InputAudioBuffers, OutputAudioBuffers};
use std::collections::BTreeSet;
use std::io::{self, Read, Write};

/// What a parameter says of itself.
#[derive(Debug, Clone, PartialEq)]
struct Dial {
    id: ClapId,
    name: String,
    flags: ParamInfoFlags,
    min: f64,
    max: f64,
    default: f64,
}

fn dials(rig: &mut Rig) -> Vec<Dial> {
    let params: PluginParams = rig.extension();
    let handle = rig.instance.plugin_handle();
    (0..params.count(&handle))
        .map(|index| {
            let mut buffer = ParamInfoBuffer::new();
            let info = params
                .get_info(&handle, index, &mut buffer)
                .expect("every counted parameter tells of itself");
            Dial {
                id: info.id,
                name: String::from_utf8(info.name.to_vec()).expect("UTF-8"),
                flags: info.flags,
                min: info.min_value,
                max: info.max_value,
                default: info.default_value,
            }
        })
        .collect()
}

fn value(rig: &mut Rig, id: ClapId) -> f64 {
    let params: PluginParams = rig.extension();
    params
        .get_value(&rig.instance.plugin_handle(), id)
        .expect("every parameter has a value")
}

fn values(rig: &mut Rig) -> Vec<f64> {
    let ids: Vec<ClapId> = dials(rig).iter().map(|d| d.id).collect();
    ids.into_iter().map(|id| value(rig, id)).collect()
}

/// Values inside their ranges, steps where there are steps.
fn random_values(rig: &mut Rig, random: &mut impl FnMut() -> f64) -> EventBuffer {
    let mut events = EventBuffer::new();
    for dial in dials(rig) {
        let mut x = dial.min + (dial.max - dial.min) * random();
        if dial.flags.contains(ParamInfoFlags::IS_STEPPED) {
            x = x.round();
        }
        events.push(&ParamValueEvent::new(0, dial.id, Pckn::match_all(), x));
    }
    events
}

fn flush(rig: &mut Rig, events: &EventBuffer) {
    let params: PluginParams = rig.extension();
    let mut sent = EventBuffer::new();
    let mut handle = rig
        .instance
        .inactive_plugin_handle()
        .expect("not active yet");
    params.flush(
        &mut handle,
        &InputEvents::from_buffer(events),
        &mut OutputEvents::from_buffer(&mut sent),
    );
}

fn saved(rig: &mut Rig) -> Vec<u8> {
    let state: PluginState = rig.extension();
    let mut bytes = Vec::new();
    state
        .save(&rig.instance.plugin_handle(), &mut bytes)
        .expect("saved");
    bytes
}

#[test]
fn the_factory_describes_one_plug_in_and_no_other() {
    let entry = entry();
    let factory = entry.get_plugin_factory().expect("a plug-in factory");
    assert_eq!(factory.plugin_count(), 1);
    let told = factory.plugin_descriptor(0).expect("a descriptor");
    let text = |s: Option<&std::ffi::CStr>| s.map(|s| s.to_string_lossy().into_owned());
    assert_eq!(text(told.id()).as_deref(), Some("org.thumbline.thumbline"));
    for field in [told.name(), told.vendor(), told.version()] {
        assert!(text(field).is_some_and(|s| !s.is_empty()));
    }
    let features: Vec<String> = told
        .features()
        .map(|f| f.to_string_lossy().into_owned())
        .collect();
    let main = ["audio-effect", "instrument", "note-effect", "analyzer"];
    assert!(
        features.iter().any(|f| main.contains(&f.as_str())),
        "{features:?}"
    );
    let unique: BTreeSet<&String> = features.iter().collect();
    assert_eq!(unique.len(), features.len(), "{features:?}");
    assert!(factory.plugin_descriptor(1).is_none());
    let info = HostInfo::new("Host", "Test", "", "1").expect("no zero bytes");
    for unknown in [c"org.thumbline.nothing", c""] {
        let made = PluginInstance::<Host>::new(|()| Shared, |_| (), &entry, unknown, &info);
        assert!(made.is_err(), "{unknown:?}");
    }
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
    rig.set(&[("Hear the input", "on")]);
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
fn ports_are_named_typed_and_numbered_apart() {
    let mut rig = Rig::new();
    let ports: PluginAudioPorts = rig.extension();
    let handle = rig.instance.plugin_handle();
    for input in [true, false] {
        let mut ids = BTreeSet::new();
        for index in 0..ports.count(&handle, input) {
            let mut buffer = AudioPortInfoBuffer::new();
            let info = ports
                .get(&handle, index, input, &mut buffer)
                .expect("every counted port");
            assert!(ids.insert(info.id.get()));
            assert_eq!(info.channel_count, 2);
            assert_eq!(info.port_type, Some(AudioPortType::STEREO));
            // The main port, if there is one, comes first and is alone.
            assert_eq!(info.flags.contains(AudioPortFlags::IS_MAIN), index == 0);
        }
        let mut buffer = AudioPortInfoBuffer::new();
        assert!(ports.get(&handle, 99, input, &mut buffer).is_none());
    }
    let notes: PluginNotePorts = rig.extension();
    let handle = rig.instance.plugin_handle();
    let mut buffer = NotePortInfoBuffer::new();
    let info = notes
        .get(&handle, 0, true, &mut buffer)
        .expect("a note port");
    assert!(info.supported_dialects.intersects(NoteDialects::all()));
    assert!(
        info.preferred_dialect
            .is_some_and(|d| info.supported_dialects.supports(d)),
        "the preferred dialect is one of the supported"
    );
}

#[test]
fn parameters_tell_sound_ranges_and_turn_into_text_and_back() {
    let mut rig = Rig::new();
    let all = dials(&mut rig);
    let ids: BTreeSet<u32> = all.iter().map(|d| d.id.get()).collect();
    assert_eq!(ids.len(), all.len(), "ids are unique");
    assert_eq!(all, dials(&mut rig), "and the same when asked again");
    let bypass = all
        .iter()
        .filter(|d| d.flags.contains(ParamInfoFlags::IS_BYPASS));
    for dial in bypass.clone() {
        assert!(dial.flags.contains(ParamInfoFlags::IS_STEPPED));
        assert_eq!((dial.min, dial.max), (0.0, 1.0));
    }
    assert_eq!(bypass.count(), 1);
    let mut random = noise(11);
    for dial in &all {
        assert!(!dial.name.is_empty());
        assert!(dial.min < dial.max && (dial.min..=dial.max).contains(&dial.default));
        assert_eq!(value(&mut rig, dial.id), dial.default, "{}", dial.name);
        let params: PluginParams = rig.extension();
        let handle = rig.instance.plugin_handle();
        let text = |x: f64| {
            let mut buffer = [0u8; 128];
            let shown = params
                .value_to_text(&handle, dial.id, x, &mut buffer)
                .unwrap_or_else(|_| panic!("{} has no text for {x}", dial.name));
            let shown = shown.split(|b| *b == 0).next().unwrap_or_default();
            std::ffi::CString::new(shown).expect("no zero bytes")
        };
        for _ in 0..20 {
            let mut x = dial.min + (dial.max - dial.min) * random();
            if dial.flags.contains(ParamInfoFlags::IS_STEPPED) {
                x = x.round();
            }
            // Text loses digits once; what it says is then read and shown the same again.
            let first = text(x);
            let read = params
                .text_to_value(&handle, dial.id, &first)
                .unwrap_or_else(|| panic!("{} does not read {first:?}", dial.name));
            assert!(
                (dial.min - 1e-6..=dial.max + 1e-6).contains(&read),
                "{read}"
            );
            assert_eq!(text(read), first, "{}", dial.name);
        }
    }
}

#[test]
fn values_flushed_or_processed_arrive_alike() {
    let mut random = noise(12);
    for _ in 0..5 {
        let mut rig = Rig::new();
        let events = random_values(&mut rig, &mut random);
        flush(&mut rig, &events);
        let flushed = values(&mut rig);
        assert_ne!(flushed, values(&mut Rig::new()));
        let mut other = Rig::new();
        other.activate(RATE);
        other.process(&[0.0; 64], &events, None);
        assert_eq!(values(&mut other), flushed);
        // An event of another kind, with a wrong id, or on a strange key changes nothing.
        let mut strange = EventBuffer::new();
        let id = ClapId::new(0x7fff_0001);
        strange.push(&ParamValueEvent::new(0, id, Pckn::match_all(), 1.0));
        other.process(&[0.0; 64], &strange, None);
        assert_eq!(values(&mut other), flushed);
    }
}

/// Deals out and takes a few bytes at a time, as hosts may.
struct Trickle<T>(T);

impl<T: Read> Read for Trickle<T> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        let n = buf.len().min(7);
        self.0.read(&mut buf[..n])
    }
}

impl<T: Write> Write for Trickle<T> {
    fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
        self.0.write(&buf[..buf.len().min(5)])
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn state_is_the_same_in_another_instance_and_in_small_pieces() {
    let mut random = noise(13);
    let mut rig = Rig::new();
    let events = random_values(&mut rig, &mut random);
    flush(&mut rig, &events);
    let wanted = values(&mut rig);
    let bytes = saved(&mut rig);
    let state: PluginState = rig.extension();
    let mut trickled = Trickle(Vec::new());
    state
        .save(&rig.instance.plugin_handle(), &mut trickled)
        .expect("saved");
    assert_eq!(trickled.0, bytes);
    for pieces in [false, true] {
        for before in [false, true] {
            let mut other = Rig::new();
            if before {
                // A state arrives while the plug-in runs, too.
                other.activate(RATE);
                other.silent(256);
            }
            let state: PluginState = other.extension();
            let handle = other.instance.plugin_handle();
            let loaded = if pieces {
                state.load(&handle, &mut Trickle(&bytes[..]))
            } else {
                state.load(&handle, &mut &bytes[..])
            };
            loaded.expect("loaded");
            if before {
                other.silent(256);
            }
            assert_eq!(values(&mut other), wanted);
            assert_eq!(saved(&mut other), bytes, "saved again it is the same");
        }
    }
}

#[test]
fn random_parameters_and_notes_never_break_the_sound() {
    let mut random = noise(14);
    let mut rig = Rig::new();
    rig.activate(RATE);
    for round in 0..60 {
        let mut events = random_values(&mut rig, &mut random);
        for _ in 0..(random() * 8.0) as usize {
            let key = (random() * 128.0) as u16;
            let pckn = Pckn::new(0u16, 0u16, key, 0u32);
            if random() < 0.5 {
                events.push(&NoteOnEvent::new(0, pckn, random()));
            } else {
                events.push(&NoteOffEvent::new(0, pckn, random()));
            }
            let bytes = [0xb0, (random() * 128.0) as u8, (random() * 128.0) as u8];
            events.push(&MidiEvent::new(0, 0, bytes));
        }
        let n = 1 + (random() * 1000.0) as usize;
        let input: Vec<f32> = (0..n).map(|_| random() as f32 - 0.5).collect();
        let out = rig.process(&input, &events, None);
        let sound = out
            .iter()
            .flatten()
            .all(|s| s.is_finite() && s.abs() <= 1.0);
        assert!(sound, "round {round}");
        for (dial, x) in dials(&mut rig).into_iter().zip(values(&mut rig)) {
            assert!((dial.min..=dial.max).contains(&x), "{}: {x}", dial.name);
        }
    }
}

#[test]
fn in_place_and_out_of_place_give_the_same() {
    let mut random = noise(15);
    let input: Vec<f32> = (0..2048).map(|_| random() as f32 - 0.5).collect();
    let mut apart = Rig::new();
    apart.activate(RATE);
    let wanted = apart.process(&input, &EventBuffer::new(), None);
    let mut rig = Rig::new();
    rig.activate(RATE);
    let mut main = [input.clone(), input.clone()];
    let mut side = [vec![0.0f32; 2048], vec![0.0f32; 2048]];
    let mut outs = rig.outputs.with_output_buffers([AudioPortBuffer {
        latency: 0,
        channels: AudioPortBufferType::f32_output_only(main.iter_mut().map(Vec::as_mut_slice)),
    }]);
    let ins = rig.inputs.with_input_buffers([AudioPortBuffer {
        latency: 0,
        channels: AudioPortBufferType::f32_input_only(
            side.iter_mut()
                .map(|b| InputChannel::variable(b.as_mut_slice())),
        ),
    }]);
    let mut raw_out = [outs.as_raw_buffers()[0]];
    let raw_in = [raw_out[0], ins.as_raw_buffers()[0]];
    // SAFETY: the buffers live until the end of the test and hold 2048 frames each; the host lets
    // the main input and the output be the same memory, as CLAP allows.
    let (ins, mut outs) = unsafe {
        (
            InputAudioBuffers::from_raw_buffers(&raw_in, 2048),
            OutputAudioBuffers::from_raw_buffers(&mut raw_out, 2048),
        )
    };
    let mut sent = EventBuffer::new();
    rig.audio
        .as_mut()
        .expect("active")
        .process(
            &ins,
            &mut outs,
            &InputEvents::from_buffer(&EventBuffer::new()),
            &mut OutputEvents::from_buffer(&mut sent),
            None,
            None,
        )
        .expect("processed");
    assert_eq!(main, wanted);
}

#[test]
fn events_may_lie_anywhere_in_a_block() {
    let mut rig = Rig::new();
    rig.activate(RATE);
    let gain = rig.param("Gain");
    let mut events = EventBuffer::new();
    for time in [0, 1, 63, 64, 1000, 1023] {
        let x = f64::from(time) / 2000.0;
        events.push(&ParamValueEvent::new(time, gain, Pckn::match_all(), x));
    }
    let out = rig.process(&[0.1; 1024], &events, None);
    assert!(out[0].iter().all(|s| s.is_finite()));
    // The last one counts, to the tenth of a dB that gain goes in.
    let came = value(&mut rig, gain);
    assert!((came - 1023.0 / 2000.0).abs() < 0.1 / 48.0, "{came}");
}

#[test]
fn automation_arrives_at_its_sample() {
    let mut rig = Rig::new();
    rig.activate(RATE);
    rig.set(&[("Hear the input", "on")]);
    let latency: PluginLatency = rig.extension();
    rig.process(&[0.1; 4096], &EventBuffer::new(), None);
    let late = latency.get(&rig.instance.plugin_handle()) as usize;
    let through = rig.param("Hear the input");
    let mut events = EventBuffer::new();
    events.push(&ParamValueEvent::new(500, through, Pckn::match_all(), 0.0));
    let out = rig.process(&[0.1; 2048], &events, None);
    let first = out[0].iter().position(|s| *s != 0.1);
    assert!(
        first.is_some_and(|at| (500 + late..500 + late + 8).contains(&at)),
        "{first:?}, wanted {}",
        500 + late
    );
}

#[test]
fn a_state_cut_short_or_of_something_else_does_no_harm() {
    let mut random = noise(16);
    let mut rig = Rig::new();
    let events = random_values(&mut rig, &mut random);
    flush(&mut rig, &events);
    let (bytes, wanted) = (saved(&mut rig), values(&mut rig));
    let other: Vec<u8> = (0..5000).map(|_| (random() * 256.0) as u8).collect();
    let cuts = (0..bytes.len())
        .step_by(bytes.len() / 23)
        .map(|n| &bytes[..n]);
    let mut victim = Rig::new();
    victim.activate(RATE);
    for strange in cuts.chain([&other[..], b"<?xml version=\"1.0\"?><state/>", b"RIFF"]) {
        let before = values(&mut victim);
        if !victim.load_raw(strange) {
            assert_eq!(values(&mut victim), before, "refused, so nothing changes");
        }
        let out = victim.silent(64);
        assert!(out[0].iter().all(|s| s.is_finite()));
    }
    assert!(victim.load_raw(&bytes));
    victim.silent(64);
    assert_eq!(values(&mut victim), wanted);
}

#[test]
fn instances_are_made_and_destroyed_in_any_order() {
    for round in 0..3 {
        let mut rigs: Vec<Rig> = (0..4).map(|_| Rig::new()).collect();
        for rig in rigs.iter_mut().skip(round) {
            rig.activate(RATE);
            rig.silent(64);
            if let Some(audio) = &mut rig.audio {
                audio.reset();
            }
            rig.silent(64);
            rig.deactivate();
            rig.activate(RATE * 2.0);
            rig.silent(1);
        }
        rigs.swap_remove(round);
        rigs.pop();
        for rig in &mut rigs {
            rig.deactivate();
        }
    }
    // Never activated at all.
    drop(Rig::new());
}
