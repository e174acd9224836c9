//! One instance in the independent host (clack), as the tests drive it.

use clack_extensions::params::{ParamInfoBuffer, PluginParams};
use clack_extensions::state::PluginState;
use clack_host::events::event_types::{ParamValueEvent, TransportEvent, TransportFlags};
use clack_host::events::{EventFlags, EventHeader, Pckn};
use clack_host::prelude::*;
use clack_host::utils::{BeatTime, SecondsTime};
use serde_json::{Value, json};
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

pub const RATE: f64 = 48_000.0;

pub struct Shared;
impl SharedHandler<'_> for Shared {
    fn request_restart(&self) {}
    fn request_process(&self) {}
    fn request_callback(&self) {}
}

pub struct Host;
impl HostHandlers for Host {
    type Shared<'a> = Shared;
    type MainThread<'a> = ();
    type AudioProcessor<'a> = ();
}

pub struct Rig {
    pub instance: PluginInstance<Host>,
    pub audio: Option<StartedPluginAudioProcessor<Host>>,
    pub inputs: AudioPorts,
    pub outputs: AudioPorts,
    pub steady: u64,
    pub _entry: PluginEntry,
}

pub fn entry() -> PluginEntry {
    // SAFETY: the symbol is the plug-in's own entry, which lives as long as the process.
    unsafe { PluginEntry::load_from_raw(&thumbline_plugin::export::clap_entry, c"thumbline") }
        .expect("the entry initialises")
}

impl Rig {
    pub fn new() -> Self {
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

    pub fn extension<
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

    pub fn activate(&mut self, rate: f64) {
        let config = PluginAudioConfiguration {
            sample_rate: rate,
            min_frames_count: 1,
            max_frames_count: 8192,
        };
        let stopped = self.instance.activate(|_, ()| (), config).expect("active");
        self.audio = Some(stopped.start_processing().expect("processing"));
    }

    pub fn deactivate(&mut self) {
        if let Some(audio) = self.audio.take() {
            self.instance.deactivate(audio.stop_processing());
        }
    }

    pub fn process(
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

    pub fn silent(&mut self, frames: usize) -> [Vec<f32>; 2] {
        self.process(&vec![0.0; frames], &EventBuffer::new(), None)
    }

    /// Id of the parameter of that name.
    pub fn param(&mut self, name: &str) -> ClapId {
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
    pub fn set(&mut self, values: &[(&str, &str)]) {
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

    pub fn save(&mut self) -> Value {
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

    pub fn load(&mut self, bytes: &[u8]) -> bool {
        let framed = [&(bytes.len() as u64).to_le_bytes()[..], bytes].concat();
        self.load_raw(&framed)
    }

    pub fn load_raw(&mut self, bytes: &[u8]) -> bool {
        let state: PluginState = self.extension();
        state
            .load(&self.instance.plugin_handle(), &mut Cursor::new(bytes))
            .is_ok()
    }

    pub fn load_session(&mut self, session: &Value) {
        let state = json!({
            "version": "0.1.0",
            "params": {},
            "fields": {"session": session.to_string()},
        });
        assert!(self.load(state.to_string().as_bytes()));
    }

    /// Renders until something is heard, at most 20 s of wall time; how long it took.
    pub fn until_heard(&mut self) -> Duration {
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
    /// Waits until the recording is decoded and its identity known; the session then.
    pub fn until_whole(&mut self) -> Value {
        let begun = Instant::now();
        loop {
            let saved = self.save();
            if saved["session"]["recording"]["hash"].is_string() {
                return saved["session"].clone();
            }
            assert!(begun.elapsed() < Duration::from_secs(20), "never whole");
            self.silent(64);
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Renders until a tone of `hz` is heard, at most 20 s of wall time.
    pub fn until_pitch(&mut self, hz: f64) {
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
pub fn recording(dir: &Path, name: &str, rate: u32) -> PathBuf {
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

pub fn session(path: &Path) -> Value {
    json!({
        "version": 1,
        "recording": {"name": "tone.wav", "path": path},
        "position": 2.0,
        "lamp": "kept",
    })
}

pub fn pitch(out: &[f32]) -> f64 {
    // Rising zero crossings.
    let crossings: Vec<usize> = (1..out.len())
        .filter(|&i| out[i - 1] < 0.0 && out[i] >= 0.0)
        .collect();
    let periods = crossings.len().saturating_sub(1) as f64;
    periods * RATE / (crossings[crossings.len() - 1] - crossings[0]) as f64
}

pub fn transport(tempo: f64, beats: f64) -> TransportEvent {
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

/// Numbers from 0 to 1 that look random, the same for the same seed.
pub fn noise(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    move || {
        // Marsaglia's xorshift (2003).
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    }
}
