//! The program of its own: its settings on disk, and the recording it was started with.
//!
//! A host keeps a plug-in's state; here the program does, in the user's data folder, written whole
//! or not at all, a moment after something changed.

use crate::data::{data_dir, name_of};
use crate::instance::Instance;
use crate::params::{Channels, Dials};
use crate::services::journal::Settings;
use crate::session::{RecordingRef, Session};
use crate::state;
use nice_plug::context::gui::{GuiContext, ParamSetter};
use nice_plug::prelude::Param;
use serde_json::{Map, Value, json};
use std::fs;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use thumbline::unit::Seconds;

/// The program's own settings.
pub struct Program {
    file: PathBuf,
    recording: Option<PathBuf>,
}

static PROGRAM: OnceLock<Program> = OnceLock::new();

/// The program, where this is one and no plug-in.
pub fn program() -> Option<&'static Program> {
    PROGRAM.get()
}

/// Declares this process to be the program, started with `recording`.
pub fn declare(recording: Option<PathBuf>) {
    thumbline::load::hush_readers();
    let _ = PROGRAM.set(Program::new(recording));
}

/// The parameters as they were kept, and whether the instance has got them. The framework has
/// parameters set only through an open window: until one opens, those on disk are the player's own
/// and stay as they are.
pub struct Kept {
    file: PathBuf,
    dials: Value,
    put_on: AtomicBool,
}

/// The parameters by their ids.
fn to_value(dials: &Dials) -> Value {
    json!({
        "speed": dials.run.speed.value(),
        "loop": dials.run.looped.value(),
        "click": dials.click.on.value(),
        "click_level": dials.click.level.value(),
        "click_pan": dials.click.pan.value(),
        "pitch": dials.sound.pitch.value(),
        "cents": dials.sound.cents.value(),
        "gain": dials.sound.gain.value(),
        "channels": dials.sound.channels.value().id(),
        "through": dials.track.through.value(),
    })
}

impl Program {
    /// The program in the player's data folder, started with `recording`.
    pub fn new(recording: Option<PathBuf>) -> Self {
        Self {
            file: data_dir().join("state.json"),
            recording,
        }
    }

    /// The part of it that is an instance's state.
    pub fn state(&self) -> state::Program {
        state::Program {
            file: self.file.clone(),
            saved: 0,
            ticks: 0,
            told: false,
        }
    }

    /// Puts what was kept into a new instance, opens the recording it was started with and keeps
    /// everything from now on.
    pub fn adopt(&self, instance: &Instance) -> Arc<Kept> {
        let kept = fs::read(&self.file).ok();
        let mut kept: Value = kept
            .and_then(|bytes| serde_json::from_slice(&bytes).ok())
            .unwrap_or(Value::Null);
        let mut take = |key: &str| kept.get_mut(key).map_or(Value::Null, Value::take);
        let mut session = Session::from_value(take("session"));
        if let Some(path) = &self.recording {
            session.recording = Some(RecordingRef {
                name: name_of(path),
                path: path.clone(),
                hash: None,
            });
            session.position = Seconds(0.0);
        }
        instance.dials().store.replace(session);
        let kept = Arc::new(Kept {
            file: self.file.clone(),
            dials: take("dials"),
            put_on: AtomicBool::new(false),
        });
        let (same, dials) = (Arc::clone(&kept), Arc::downgrade(instance.dials()));
        instance.core().keep_dials(move || {
            let dials = dials.upgrade();
            dials.map_or(Value::Null, |dials| same.now(&dials))
        });
        kept
    }
}

impl Kept {
    fn now(&self, dials: &Dials) -> Value {
        if self.put_on.load(Ordering::Acquire) || self.dials.is_null() {
            to_value(dials)
        } else {
            self.dials.clone()
        }
    }

    /// The window has opened: the parameters are set as they were kept.
    pub fn put_on(&self, dials: &Dials, gui: &GuiContext) {
        if self.put_on.load(Ordering::Acquire) {
            return;
        }
        if let Value::Object(kept) = &self.dials {
            set_dials(kept, dials, gui);
        }
        self.put_on.store(true, Ordering::Release);
    }

    /// Writes everything once more, at the end; where that fails, what was written last stays.
    pub fn save(&self, instance: &Instance) {
        let settings = Settings {
            file: self.file.clone(),
            session: instance.dials().store.session(),
            dials: self.now(instance.dials()),
        };
        let _ = settings.write();
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
    let floats = [
        (&dials.run.speed, "speed"),
        (&dials.click.level, "click_level"),
        (&dials.click.pan, "click_pan"),
        (&dials.sound.pitch, "pitch"),
        (&dials.sound.cents, "cents"),
        (&dials.sound.gain, "gain"),
    ];
    for (param, key) in floats {
        if let Some(value) = number(key).filter(|v| v.is_finite()) {
            gesture(&setter, param, value);
        }
    }
    let flags = [
        (&dials.run.looped, "loop"),
        (&dials.click.on, "click"),
        (&dials.track.through, "through"),
    ];
    for (param, key) in flags {
        if let Some(value) = kept.get(key).and_then(Value::as_bool) {
            gesture(&setter, param, value);
        }
    }
    let channels = kept.get("channels").and_then(Value::as_str);
    let channels = Channels::of_id(channels.unwrap_or_default());
    gesture(&setter, &dials.sound.channels, channels);
}
