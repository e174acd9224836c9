//! What differs between Linux, macOS and Windows: the names of programs and libraries, the shape
//! of a plug-in bundle, and the folders where hosts look for one.
//!
//! Everything that must know the system asks here; nothing else may assume one. It names places
//! and makes none. The chores read this file too, so it uses the standard library alone. Folders
//! the player's data lie in are `home`'s.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// An operating system that the program is made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum System {
    /// Linux, and what else keeps the folders of the XDG base directory specification.
    Linux,
    /// macOS.
    MacOs,
    /// Windows.
    Windows,
}

/// A standard of plug-ins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PluginStandard {
    /// CLAP 1.
    Clap,
    /// VST 3.
    Vst3,
}

impl PluginStandard {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Clap, Self::Vst3];

    /// What players call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Clap => "CLAP",
            Self::Vst3 => "VST3",
        }
    }
}

impl System {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Linux, Self::MacOs, Self::Windows];

    /// The one that this was built for.
    pub const HERE: Self = if cfg!(windows) {
        Self::Windows
    } else if cfg!(target_os = "macos") {
        Self::MacOs
    } else {
        Self::Linux
    };

    /// The file name of a program.
    pub fn program(self, name: &str) -> String {
        match self {
            Self::Windows => format!("{name}.exe"),
            Self::Linux | Self::MacOs => name.to_owned(),
        }
    }

    /// The file name of a shared library as the compiler writes it.
    pub fn library(self, name: &str) -> String {
        match self {
            Self::Linux => format!("lib{name}.so"),
            Self::MacOs => format!("lib{name}.dylib"),
            Self::Windows => format!("{name}.dll"),
        }
    }

    /// Where the library of the plug-in `name` lies below a folder of plug-ins. The first part of
    /// the path is what a player sees as the plug-in: one file, or a folder (a bundle).
    ///
    /// `machine` is the processor as the compiler names it (`x86_64`, `aarch64`). Forms after
    /// CLAP's `entry.h` and the VST 3 documentation, "Plug-in Format Structure"; from memory.
    pub fn plugin(self, format: PluginStandard, name: &str, machine: &str) -> PathBuf {
        let end = format.name().to_lowercase();
        let bundle = Path::new(&format!("{name}.{end}")).to_owned();
        let inside = bundle.join("Contents");
        match (self, format) {
            // A bundle is a folder that this system shows as one file.
            (Self::MacOs, _) => inside.join("MacOS").join(name),
            (_, PluginStandard::Clap) => bundle,
            (Self::Linux, PluginStandard::Vst3) => inside
                .join(format!("{machine}-linux"))
                .join(format!("{name}.so")),
            (Self::Windows, PluginStandard::Vst3) => {
                let machine = machine.replace("aarch64", "arm_64");
                inside
                    .join(format!("{machine}-win"))
                    .join(format!("{name}.vst3"))
            }
        }
    }

    /// The folders where hosts look for plug-ins, the player's own first; `variable` reads the
    /// environment. Empty where the system does not say where a player's home is.
    ///
    /// After CLAP's `entry.h` and the VST 3 documentation, "Plug-in Locations"; from memory.
    pub fn plugin_folders(
        self,
        format: PluginStandard,
        variable: impl Fn(&str) -> Option<OsString>,
    ) -> Vec<PathBuf> {
        let below = |name: &str, rest: &str| Some(PathBuf::from(variable(name)?).join(rest));
        let end = format.name();
        let low = end.to_lowercase();
        let more: Vec<PathBuf> = match format {
            PluginStandard::Clap => variable("CLAP_PATH")
                .map(|list| std::env::split_paths(&list).collect())
                .unwrap_or_default(),
            PluginStandard::Vst3 => Vec::new(),
        };
        let usual = match self {
            Self::Linux => vec![
                below("HOME", &format!(".{low}")),
                Some(format!("/usr/lib/{low}").into()),
                Some(format!("/usr/local/lib/{low}").into()),
            ],
            Self::MacOs => vec![
                below("HOME", &format!("Library/Audio/Plug-Ins/{end}")),
                Some(format!("/Library/Audio/Plug-Ins/{end}").into()),
            ],
            Self::Windows => vec![
                below("LOCALAPPDATA", &format!("Programs/Common/{end}")),
                below("COMMONPROGRAMFILES", end),
            ],
        };
        usual.into_iter().flatten().chain(more).collect()
    }

    /// The player's own folders of programs and of shared files, where the system has a home for
    /// them; `variable` reads the environment.
    ///
    /// Linux after the XDG base directory specification 0.8 and file-hierarchy(7).
    pub fn own_folders(
        self,
        variable: impl Fn(&str) -> Option<OsString>,
    ) -> Option<(PathBuf, PathBuf)> {
        if self == Self::Windows {
            let own = PathBuf::from(variable("LOCALAPPDATA")?).join("Programs/Thumbline");
            return Some((own.clone(), own.join("share")));
        }
        let local = PathBuf::from(variable("HOME")?).join(".local");
        let share = variable("XDG_DATA_HOME").map_or_else(|| local.join("share"), PathBuf::from);
        Some((local.join("bin"), share))
    }

    /// What can be told of the system's sound without opening it: sentences for a report, and
    /// whether each is as it should be. `variable` reads the environment.
    pub fn sound(self, variable: impl Fn(&str) -> Option<OsString>) -> Vec<(String, bool)> {
        match self {
            Self::Linux => vec![
                cards(),
                server(variable("XDG_RUNTIME_DIR").map(PathBuf::from).as_deref()),
            ],
            Self::MacOs => vec![("sound: the system's own, Core Audio".to_owned(), true)],
            Self::Windows => vec![("sound: the system's own, WASAPI".to_owned(), true)],
        }
    }

    /// The interpreter inside a Python environment, below its folder.
    pub fn python(self) -> &'static str {
        match self {
            Self::Windows => "Scripts/python.exe",
            Self::Linux | Self::MacOs => "bin/python",
        }
    }
}

/// Is there such a process? None where the system does not show them all as Linux does.
pub fn is_running(process: u32) -> Option<bool> {
    let all = Path::new("/proc/self").exists();
    all.then(|| Path::new("/proc").join(process.to_string()).exists())
}

/// The devices that ALSA lists, each by the name after the dash of its first line.
fn cards() -> (String, bool) {
    let listed = std::fs::read_to_string("/proc/asound/cards").unwrap_or_default();
    let names: Vec<&str> = listed
        .lines()
        .filter_map(|line| Some(line.split_once(" - ")?.1.trim()))
        .collect();
    if names.is_empty() {
        ("sound devices: the system names none".to_owned(), false)
    } else {
        (format!("sound devices: {}", names.join(", ")), true)
    }
}

/// The sound server whose socket is there.
fn server(runtime: Option<&Path>) -> (String, bool) {
    let there = |socket: &str| runtime.is_some_and(|folder| folder.join(socket).exists());
    for (socket, name) in [("pipewire-0", "PipeWire"), ("pulse/native", "PulseAudio")] {
        if there(socket) {
            return (format!("sound server: {name}"), true);
        }
    }
    let none = "sound server: none is running; the window then plays through ALSA alone";
    (none.to_owned(), false)
}
