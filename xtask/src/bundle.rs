//! `bundle`: the plug-in as CLAP and VST3 bundles, in the form each system's hosts look for.

use crate::run;
use crate::system::{PluginStandard, System};
use anyhow::{Context, Result};
use std::fs;
use std::path::{Path, PathBuf};

/// What the bundles are called, and what a player sees in a host's list of files.
pub const NAME: &str = "Thumbline";
const PACKAGE: &str = "thumbline-plugin";
/// In reversed domain order, as macOS wants it.
const IDENTIFIER: &str = "org.thumbline.plugin";

/// Release bundles in `target/bundled`; `args` go to `cargo build`.
pub fn run(args: &[String]) -> Result<()> {
    run::must(
        run::cargo()
            .args(["build", "--release", "--package", PACKAGE])
            .args(args),
    )?;
    for bundle in of_profile("release")? {
        println!("made {}", bundle.display());
    }
    Ok(())
}

/// Bundles of what `cargo build --workspace` built, for the tests' own hosts; the folder they are
/// in. Nothing is built here: another choice of packages would build every library once more.
pub fn for_tests() -> Result<PathBuf> {
    of_profile("debug")?;
    Ok(fs::canonicalize(run::target().join("bundled"))?)
}

fn of_profile(profile: &str) -> Result<Vec<PathBuf>> {
    let library = run::target()
        .join(profile)
        .join(System::HERE.library(&PACKAGE.replace('-', "_")));
    lay_out(
        System::HERE,
        std::env::consts::ARCH,
        &library,
        &run::target().join("bundled"),
    )
}

/// Puts the built `library` into a bundle of each format below `folder`, in the form that
/// `system` wants; what lay there under the same name goes. The bundles' paths.
pub fn lay_out(
    system: System,
    machine: &str,
    library: &Path,
    folder: &Path,
) -> Result<Vec<PathBuf>> {
    let mut made = Vec::new();
    for format in PluginStandard::ALL {
        let place = system.plugin(format, NAME, machine);
        let bundle = folder.join(place.iter().next().context("a bundle has a name")?);
        remove(&bundle)?;
        let place = folder.join(&place);
        run::copy(library, &place)?;
        if system == System::MacOs {
            let contents = bundle.join("Contents");
            fs::write(contents.join("PkgInfo"), "BNDL????")?;
            fs::write(contents.join("Info.plist"), property_list())?;
        }
        made.push(bundle);
    }
    Ok(made)
}

fn remove(path: &Path) -> Result<()> {
    let gone = match fs::symlink_metadata(path) {
        Ok(facts) if facts.is_dir() => fs::remove_dir_all(path),
        Ok(_) => fs::remove_file(path),
        Err(_) => return Ok(()),
    };
    gone.with_context(|| format!("cannot remove {}", path.display()))
}

/// What macOS reads of a bundle before it loads it (keys after its "Information Property List";
/// common practice, from memory).
fn property_list() -> String {
    let version = env!("CARGO_PKG_VERSION");
    let entries = [
        ("CFBundleDevelopmentRegion", "en"),
        ("CFBundleExecutable", NAME),
        ("CFBundleIdentifier", IDENTIFIER),
        ("CFBundleInfoDictionaryVersion", "6.0"),
        ("CFBundleName", NAME),
        ("CFBundlePackageType", "BNDL"),
        ("CFBundleShortVersionString", version),
        ("CFBundleVersion", version),
    ]
    .iter()
    .map(|(key, value)| format!("    <key>{key}</key>\n    <string>{value}</string>\n"))
    .collect::<Vec<_>>()
    .concat();
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <!DOCTYPE plist PUBLIC \"-//Apple//DTD PLIST 1.0//EN\" \
         \"http://www.apple.com/DTDs/PropertyList-1.0.dtd\">\n\
         <plist version=\"1.0\">\n  <dict>\n{entries}  </dict>\n</plist>\n"
    )
}
