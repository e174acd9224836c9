//! The program of its own: its settings on disk, and the recording it was started with.
//!
//! A host keeps a plug-in's state; here the program does, in the user's data folder, written whole
//! or not at all, a moment after something changed.

use crate::core::Core;
use crate::data::{data_dir, name_of, write_whole};
use crate::instance::Instance;
use crate::message::Message;
use crate::params::{Channels, Dials};
use crate::services::journal::Settings;
use crate::session::{RecordingRef, Session};
use crate::sound::{Choice, SoundView};
use crate::state;
use nice_plug::context::gui::{GuiContext, ParamSetter};
use nice_plug::prelude::Param;
use serde_json::{Map, Value, json};
use std::fs;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock, Weak};
use thumbline::unit::Seconds;

/// The program's own settings.
pub struct ProgramSettings {
    file: PathBuf,
    recording: Option<PathBuf>,
    sound: Arc<SoundView>,
}

static PROGRAM: OnceLock<ProgramSettings> = OnceLock::new();

/// The program, where this is one and no plug-in.
pub fn program() -> Option<&'static ProgramSettings> {
    PROGRAM.get()
}

/// Declares this process to be the program, started with `recording` on these sound devices.
pub fn declare(recording: Option<PathBuf>, sound: SoundView) {
    thumbline::load::hush_readers();
    let sound = SoundView {
        just_chosen: std::env::var_os(CHOSEN).is_some(),
        ..sound
    };
    let _ = PROGRAM.set(ProgramSettings {
        sound: Arc::new(sound),
        ..ProgramSettings::new(recording)
    });
}

/// Where the chosen sound devices are kept.
fn sound_file() -> PathBuf {
    data_dir().join("sound.json")
}

/// The sound devices that were chosen last; what cannot be read is the system's own choice.
pub fn chosen_sound() -> Choice {
    let kept = fs::read(sound_file()).ok();
    kept.and_then(|bytes| serde_json::from_slice(&bytes).ok())
        .unwrap_or_default()
}

/// Is the window to close, so that the program can begin anew with other devices?
static LEAVES: AtomicBool = AtomicBool::new(false);

/// Whether the window is to close: other devices were chosen.
pub fn leaves() -> bool {
    LEAVES.load(Ordering::Acquire)
}

/// Keeps the choice and everything else, and has the window close, so that the program lets go of its
/// devices and [`begin_anew`] takes others; where that cannot be, it goes on as it was and says so.
fn start_again(instance: &Weak<Core>, kept: &Kept, dials: &Weak<Dials>, choice: &Choice) {
    let written = serde_json::to_vec_pretty(choice)
        .map_err(|e| e.to_string())
        .and_then(|text| write_whole(&sound_file(), &text).map_err(|e| e.to_string()));
    if let Some(dials) = dials.upgrade() {
        kept.write(&dials);
    }
    let own = std::env::current_exe().map_err(|e| e.to_string());
    let there = own.and_then(|own| {
        let replaced = "the program was replaced; start it again";
        own.is_file().then_some(()).ok_or(replaced.to_owned())
    });
    let (text, grave) = match written.and(there) {
        Ok(()) => {
            LEAVES.store(true, Ordering::Release);
            ("Starting again with other devices".to_owned(), false)
        }
        Err(why) => (format!("The devices stay as they are: {why}"), true),
    };
    if let Some(core) = instance.upgrade() {
        core.send(Message::Tell(text, grave));
    }
}

/// Tells a program that started again that it did because other devices were chosen.
const CHOSEN: &str = "THUMBLINE_DEVICES_CHOSEN";

/// Where other devices were chosen: this program in its own place, with the options it was started with but
/// the recording, which is kept. For when the window has closed and its devices are let go of: a sound
/// server waits for ever for a client that is gone and still holds its line. Returns where nothing of
/// that was asked for, or where it fails: why.
///
/// # Errors
/// When the system does not start the program.
pub fn begin_anew() -> Result<(), String> {
    if !leaves() {
        return Ok(());
    }
    let own = std::env::current_exe().map_err(|e| e.to_string())?;
    let options: Vec<_> = std::env::args_os().skip(1).collect();
    let options = options
        .iter()
        .filter(|option| !PathBuf::from(option).is_file());
    let mut again = std::process::Command::new(own);
    again.args(options).env(CHOSEN, "1");
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt;
        Err(again.exec().to_string())
    }
    #[cfg(not(unix))]
    again.spawn().map(|_| ()).map_err(|e| e.to_string())
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

impl ProgramSettings {
    /// The program in the player's data folder, started with `recording`.
    pub fn new(recording: Option<PathBuf>) -> Self {
        Self {
            file: data_dir().join("state.json"),
            recording,
            sound: Arc::default(),
        }
    }

    /// The part of it that is an instance's state.
    pub fn state(&self) -> state::Program {
        state::Program {
            file: self.file.clone(),
            saved: 0,
            ticks: 0,
            told: false,
            sound: Arc::clone(&self.sound),
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
        let (core, dials) = (
            Arc::downgrade(instance.core()),
            Arc::downgrade(instance.dials()),
        );
        let same = Arc::clone(&kept);
        instance.core().start_again_by(move |choice| {
            let (core, dials, kept) = (core.clone(), dials.clone(), Arc::clone(&same));
            std::thread::spawn(move || start_again(&core, &kept, &dials, &choice));
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
        self.write(instance.dials());
    }

    fn write(&self, dials: &Dials) {
        let settings = Settings {
            file: self.file.clone(),
            session: dials.store.session(),
            dials: self.now(dials),
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
