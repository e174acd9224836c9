//! The program of its own: its state on disk, and the recording it was started with.
//!
//! A host keeps a plug-in's state; here the program does, in the user's data folder, written whole
//! or not at all, a moment after something changed.

use crate::hub::Hub;
use crate::params::{Channels, Dials};
use crate::reel::{data_dir, write_whole};
use crate::session::Session;
use nice_plug::context::gui::{GuiContext, ParamSetter};
use nice_plug::prelude::Param;
use serde_json::{Map, Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock, Weak};
use std::time::Duration;

/// How often it is looked whether something changed.
const SAVE: Duration = Duration::from_millis(700);

/// The program's own settings.
pub struct Program {
    state: PathBuf,
    recording: Option<PathBuf>,
}

static PROGRAM: OnceLock<Program> = OnceLock::new();

/// The program, where this is one and no plug-in.
pub fn program() -> Option<&'static Program> {
    PROGRAM.get()
}

/// Declares this process to be the program, started with `recording`.
pub fn declare(recording: Option<PathBuf>) {
    let state = data_dir().join("state.json");
    let _ = PROGRAM.set(Program { state, recording });
}

/// The state as it is kept: the session, and the parameters by their ids.
pub fn to_value(dials: &Dials) -> Value {
    json!({
        "session": dials.store.lock().to_value(),
        "dials": {
            "speed": dials.speed.value(),
            "loop": dials.looped.value(),
            "click": dials.click.value(),
            "click_level": dials.click_level.value(),
            "click_pan": dials.click_pan.value(),
            "pitch": dials.pitch.value(),
            "cents": dials.cents.value(),
            "gain": dials.gain.value(),
            "channels": dials.channels.value().id(),
            "through": dials.through.value(),
        },
    })
}

impl Program {
    fn read(&self) -> Value {
        fs::read(&self.state)
            .ok()
            .and_then(|bytes| serde_json::from_slice(&bytes).ok())
            .unwrap_or(Value::Null)
    }

    /// Puts the kept state into a new desk, opens the recording it was started with and keeps
    /// everything from now on.
    pub fn adopt(&self, hub: &Arc<Hub>) {
        hub.set_standalone();
        let kept = self.read();
        let mut session = Session::from_value(kept.get("session").cloned().unwrap_or_default());
        if let Some(path) = &self.recording {
            session.recording = Some(crate::session::RecordingRef {
                name: path
                    .file_name()
                    .map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
                path: path.clone(),
                hash: None,
            });
            session.position = thumbline::unit::Seconds(0.0);
        }
        hub.dials().store.replace(session);
        let (hub, state) = (Arc::downgrade(hub), self.state.clone());
        let thread = std::thread::Builder::new().name("thumbline saves".into());
        // Where no thread can be started nothing is kept, but everything else works.
        let _ = thread.spawn(move || keep(&hub, &state));
    }

    /// Sets the parameters as they were kept. The framework has parameters set only through an
    /// open window.
    pub fn set_dials(&self, dials: &Dials, gui: &GuiContext) {
        if let Some(Value::Object(kept)) = self.read().get("dials") {
            set_dials(kept, dials, gui);
        }
    }
}

/// Sets a parameter as a gesture of its own, as hosts want it.
fn gesture<P: Param>(setter: &ParamSetter, param: &P, value: P::Plain) {
    setter.begin_set_parameter(param);
    setter.set_parameter(param, value);
    setter.end_set_parameter(param);
}

fn set_dials(kept: &Map<String, Value>, dials: &Dials, gui: &GuiContext) {
    let setter = gui.param_setter();
    let number = |key: &str| kept.get(key).and_then(Value::as_f64).map(|x| x as f32);
    let flag = |key: &str| kept.get(key).and_then(Value::as_bool);
    let floats = [
        (&dials.speed, "speed"),
        (&dials.click_level, "click_level"),
        (&dials.click_pan, "click_pan"),
        (&dials.pitch, "pitch"),
        (&dials.cents, "cents"),
        (&dials.gain, "gain"),
    ];
    for (param, key) in floats {
        if let Some(value) = number(key).filter(|v| v.is_finite()) {
            gesture(&setter, param, value);
        }
    }
    // An input may be a microphone in front of the loudspeaker: it is not heard until asked for.
    let flags = [
        (&dials.looped, flag("loop")),
        (&dials.click, flag("click")),
        (&dials.through, Some(flag("through").unwrap_or(false))),
    ];
    for (param, value) in flags {
        if let Some(value) = value {
            gesture(&setter, param, value);
        }
    }
    let channels = kept.get("channels").and_then(Value::as_str);
    let channels = Channels::of_id(channels.unwrap_or_default());
    gesture(&setter, &dials.channels, channels);
}

/// Saves what changed until the desk is gone, and once more then.
fn keep(hub: &Weak<Hub>, path: &Path) {
    let mut last = Vec::new();
    let mut told = false;
    loop {
        std::thread::sleep(SAVE);
        let Some(hub) = hub.upgrade() else { return };
        let Ok(bytes) = serde_json::to_vec_pretty(&to_value(hub.dials())) else {
            continue;
        };
        if bytes != last {
            match write_whole(path, &bytes) {
                Ok(()) => last = bytes,
                Err(error) if !told => {
                    told = true;
                    hub.tell(format!("Settings cannot be kept: {error}"), true);
                }
                Err(_) => {}
            }
        }
    }
}
