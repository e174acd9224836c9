//! What differs between systems, against the standards' own words: CLAP's `entry.h` (search paths),
//! the VST 3 documentation ("Plug-in Format Structure", "Plug-in Locations"); from memory.

use std::ffi::OsString;
use std::path::Path;
use thumbline::system::{PluginStandard, System};

#[test]
fn bundles_have_the_form_that_hosts_look_for() {
    use PluginStandard::{Clap, Vst3};
    use System::{Linux, MacOs, Windows};
    for (system, format, machine, due) in [
        (Linux, Clap, "x86_64", "Name.clap"),
        (
            Linux,
            Vst3,
            "x86_64",
            "Name.vst3/Contents/x86_64-linux/Name.so",
        ),
        (
            Linux,
            Vst3,
            "aarch64",
            "Name.vst3/Contents/aarch64-linux/Name.so",
        ),
        (MacOs, Clap, "aarch64", "Name.clap/Contents/MacOS/Name"),
        (MacOs, Vst3, "x86_64", "Name.vst3/Contents/MacOS/Name"),
        (Windows, Clap, "x86_64", "Name.clap"),
        (
            Windows,
            Vst3,
            "x86_64",
            "Name.vst3/Contents/x86_64-win/Name.vst3",
        ),
        (
            Windows,
            Vst3,
            "aarch64",
            "Name.vst3/Contents/arm_64-win/Name.vst3",
        ),
    ] {
        assert_eq!(
            system.plugin(format, "Name", machine),
            Path::new(due),
            "{system:?}"
        );
    }
}

#[test]
fn plugins_are_looked_for_where_the_standards_say() {
    let variable = |name: &str| -> Option<OsString> {
        match name {
            "HOME" => Some("/home/player".into()),
            "CLAP_PATH" => std::env::join_paths(["/more", "/and more"]).ok(),
            "LOCALAPPDATA" => Some("L".into()),
            "COMMONPROGRAMFILES" => Some("C".into()),
            _ => None,
        }
    };
    let folders = |system: System, format| system.plugin_folders(format, variable);
    let paths = |list: &[&str]| {
        list.iter()
            .map(|p| Path::new(p).to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        folders(System::Linux, PluginStandard::Clap),
        paths(&[
            "/home/player/.clap",
            "/usr/lib/clap",
            "/usr/local/lib/clap",
            "/more",
            "/and more"
        ])
    );
    assert_eq!(
        folders(System::Linux, PluginStandard::Vst3),
        paths(&["/home/player/.vst3", "/usr/lib/vst3", "/usr/local/lib/vst3"])
    );
    assert_eq!(
        folders(System::MacOs, PluginStandard::Vst3),
        paths(&[
            "/home/player/Library/Audio/Plug-Ins/VST3",
            "/Library/Audio/Plug-Ins/VST3"
        ])
    );
    assert_eq!(
        folders(System::Windows, PluginStandard::Vst3),
        paths(&["L/Programs/Common/VST3", "C/VST3"])
    );
    let homeless = System::Linux.plugin_folders(PluginStandard::Vst3, |_| None);
    assert_eq!(homeless, paths(&["/usr/lib/vst3", "/usr/local/lib/vst3"]));
}
