//! `dist`: what a player downloads: a portable archive and a Debian package.
//!
//! Two builds of the same commit give the same bytes: paths of this machine are mapped away, and
//! every time is the commit's.

use crate::bundle::{self, NAME};
use crate::install::{self, Built, Places};
use crate::system::System;
use crate::{demo, licences, run};
use anyhow::{Context, Result, bail, ensure};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const VERSION: &str = env!("CARGO_PKG_VERSION");
const TEXTS: [&str; 4] = ["LICENSE-MIT", "LICENSE-APACHE", "README.md", "CHANGELOG.md"];

/// Builds both into `target/dist`; `--try` then installs, runs and removes the Debian package in a
/// clean root.
pub fn run(args: &[String]) -> Result<()> {
    let tried = match args {
        [] => false,
        [flag] if flag == "--try" => true,
        _ => bail!("dist knows `--try`"),
    };
    let epoch = epoch()?;
    let built = build()?;
    let out = run::target().join("dist");
    let _ = fs::remove_dir_all(&out);
    fs::create_dir_all(&out)?;
    forms(&built, &out.join("forms"))?;
    let third = licences::third_parties()?;
    let machine = std::env::consts::ARCH;
    let name = format!("thumbline-{VERSION}-{}-{machine}", std::env::consts::OS);
    let portable = out.join(&name);
    install::put(&built, &Places::below(&portable))?;
    for text in TEXTS {
        run::copy(Path::new(text), &portable.join(text))?;
    }
    run::write(&portable.join("LICENCES-OF-LIBRARIES.txt"), &third)?;
    clean(&portable)?;
    archive(&out, &name, &epoch)?;
    if run::present("dpkg-deb", "--version") {
        let package = debian(&built, &out, &third, &epoch)?;
        if tried {
            let root = run::target().join("clean-root");
            run::must(Command::new("packaging/clean-root.sh").args([&package, &root]))?;
        }
    } else {
        println!("skipped: the Debian package (there is no dpkg-deb here)");
    }
    for entry in fs::read_dir(&out)? {
        let path = entry?.path();
        if path.is_file() {
            println!(
                "{} ({:.1} MB)",
                path.display(),
                fs::metadata(&path)?.len() as f64 / 1e6
            );
        }
    }
    Ok(())
}

/// Seconds since 1970 that everything in the packages is dated with.
fn epoch() -> Result<String> {
    if let Ok(given) = std::env::var("SOURCE_DATE_EPOCH") {
        return Ok(given);
    }
    let output = Command::new("git")
        .args(["log", "-1", "--format=%ct"])
        .output();
    let output = output.context("git says when the last change was: it is not here")?;
    Ok(String::from_utf8(output.stdout)?.trim().to_owned())
}

/// Everything, optimised as it is released, in a folder of its own, since its compiler flags
/// would have the usual one built anew.
fn build() -> Result<Built> {
    if !demo::audio_headers() {
        bail!(demo::NO_HEADERS);
    }
    let root = std::env::current_dir()?;
    let target = std::path::absolute(run::target())?.join("released");
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| Some(std::env::home_dir()?.join(".cargo")));
    let home = home.context("there is no home folder")?;
    // The last mapping that fits wins, so the innermost folder comes last.
    let away = [
        (home.as_path(), "/cargo"),
        (&root, "/thumbline"),
        (&target, "/built"),
    ];
    let rust: Vec<_> = away
        .iter()
        .map(|(from, to)| format!("--remap-path-prefix={}={to}", from.display()))
        .collect();
    let c: Vec<_> = away
        .iter()
        .map(|(from, to)| format!("-ffile-prefix-map={}={to}", from.display()))
        .collect();
    run::must(
        run::cargo()
            .args([
                "build",
                "--locked",
                "--profile",
                "dist",
                "--workspace",
                "--exclude",
                "xtask",
            ])
            .args(["--features", "thumbline-plugin/standalone"])
            .env("CARGO_TARGET_DIR", &target)
            .env("CARGO_ENCODED_RUSTFLAGS", rust.join("\x1f"))
            .env("CFLAGS", c.join(" ")),
    )?;
    Ok(Built(target.join("dist")))
}

/// The bundle of every system in its form, so that a wrong one is seen before that system is at
/// hand. The library inside is this system's.
fn forms(built: &Built, out: &Path) -> Result<()> {
    let library = built.0.join(System::HERE.library("thumbline_plugin"));
    for system in System::ALL {
        let folder = out.join(format!("{system:?}").to_lowercase());
        for bundle in bundle::lay_out(system, "x86_64", &library, &folder)? {
            let list = bundle.join("Contents/Info.plist");
            if system == System::MacOs && run::present("python3", "--version") {
                let read = "import plistlib, sys; plistlib.load(open(sys.argv[1], 'rb'))";
                run::must(Command::new("python3").args(["-c", read]).arg(list))?;
            }
        }
    }
    fs::remove_dir_all(out)?;
    Ok(())
}

/// Nothing of this machine may be in what others download: refuses where a path of it is.
fn clean(folder: &Path) -> Result<()> {
    let mut traces = vec![std::env::current_dir()?];
    traces.extend(std::env::home_dir().filter(|home| home.components().count() > 1));
    let traces: Vec<Vec<u8>> = traces
        .iter()
        .map(|p| format!("{}/", p.display()).into_bytes())
        .collect();
    for file in files(folder)? {
        let bytes = fs::read(&file)?;
        for trace in &traces {
            let found = bytes.windows(trace.len()).position(|w| w == trace);
            ensure!(
                found.is_none(),
                "{} names a folder of this machine: {}",
                file.display(),
                found.map_or_else(String::new, |at| {
                    let end = (at + 120).min(bytes.len());
                    String::from_utf8_lossy(&bytes[at..end]).into_owned()
                })
            );
        }
    }
    Ok(())
}

fn files(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).with_context(|| folder.display().to_string())? {
        let path = entry?.path();
        if path.is_dir() {
            found.extend(files(&path)?);
        } else {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

fn archive(out: &Path, name: &str, epoch: &str) -> Result<()> {
    let tar = out.join(format!("{name}.tar"));
    run::must(
        Command::new("tar")
            .args([
                "--sort=name",
                "--owner=0",
                "--group=0",
                "--numeric-owner",
                "--mode=u=rwX,go=rX",
            ])
            .args([&format!("--mtime=@{epoch}"), "-C"])
            .arg(out)
            .arg("-cf")
            .arg(&tar)
            .arg(name),
    )?;
    run::must(Command::new("gzip").args(["-9", "-n", "-f"]).arg(&tar))
}

/// The Debian package: programs and plug-ins below `/usr`.
fn debian(built: &Built, out: &Path, third: &str, epoch: &str) -> Result<PathBuf> {
    let stage = out.join("debian");
    let places = Places::below(&stage.join("usr"));
    install::put(built, &places)?;
    let documents = places.share.join("doc/thumbline");
    let copyright = format!(
        "{}\n\n{}\n\n{third}",
        fs::read_to_string("LICENSE-MIT")?,
        fs::read_to_string("LICENSE-APACHE")?
    );
    run::write(&documents.join("copyright"), &copyright)?;
    run::copy(Path::new("CHANGELOG.md"), &documents.join("changelog"))?;
    run::must(
        Command::new("gzip")
            .args(["-9", "-n"])
            .arg(documents.join("changelog")),
    )?;
    for page in files(&places.share.join("man"))? {
        run::must(Command::new("gzip").args(["-9", "-n"]).arg(page))?;
    }
    // Where Debian's zsh looks.
    let zsh = places.share.join("zsh");
    fs::rename(zsh.join("site-functions"), zsh.join("vendor-completions"))?;
    clean(&stage)?;
    let size: u64 = files(&stage)?
        .iter()
        .filter_map(|f| Some(fs::metadata(f).ok()?.len()))
        .sum();
    let machine = match std::env::consts::ARCH {
        "x86_64" => "amd64",
        "aarch64" => "arm64",
        other => other,
    };
    let control = format!(
        "Package: thumbline\n\
         Version: {VERSION}\n\
         Architecture: {machine}\n\
         Maintainer: The Thumbline contributors <thumbline@localhost>\n\
         Section: sound\n\
         Priority: optional\n\
         Installed-Size: {}\n\
         Depends: libc6 (>= {}), libgcc-s1, libasound2 | libasound2t64, libx11-6, libx11-xcb1, \
         libxcb1, libxcursor1, libxkbcommon0, libxkbcommon-x11-0, libgl1, libegl1\n\
         Recommends: xdg-desktop-portal\n\
         Suggests: libjack-jackd2-0 | libjack-0.125\n\
         Description: practice tool for fingerstyle guitarists\n \
         Slows a recording at its own pitch, loops the hard bar, and shows thumb and\n \
         fingers against the beat; listens to your own take and tells how far it drifts.\n \
         A CLAP and VST3 plug-in, a program of its own and a command line.\n",
        size.div_ceil(1024),
        newest_libc(&built.0.join(System::HERE.program("thumbline-standalone")))?,
    );
    run::write(&stage.join("DEBIAN/control"), &control)?;
    let package = out.join(format!("thumbline_{VERSION}_{machine}.deb"));
    run::must(
        Command::new("dpkg-deb")
            .env("SOURCE_DATE_EPOCH", epoch)
            .args(["--root-owner-group", "-Zxz", "--build"])
            .args([&stage, &package])
            .stdout(std::process::Stdio::null()),
    )?;
    println!(
        "{NAME} as a Debian package: apt install {}",
        package.display()
    );
    Ok(package)
}

/// The newest version of the C library that a program asks for, from the names in it.
fn newest_libc(program: &Path) -> Result<String> {
    const MARK: &[u8] = b"GLIBC_";
    let bytes = fs::read(program)?;
    let version = |at: usize| -> Option<(u32, u32)> {
        let text = std::str::from_utf8(bytes.get(at..at + 8)?).ok()?;
        let end = text
            .find(|c: char| !c.is_ascii_digit() && c != '.')
            .unwrap_or(8);
        let (major, minor) = text[..end].split_once('.')?;
        let minor = minor.split('.').next()?;
        Some((major.parse().ok()?, minor.parse().ok()?))
    };
    let newest = bytes
        .windows(MARK.len())
        .enumerate()
        .filter(|(_, w)| *w == MARK)
        .filter_map(|(at, _)| version(at + MARK.len()))
        .max();
    let (major, minor) = newest.context("the program asks for no C library")?;
    Ok(format!("{major}.{minor}"))
}
