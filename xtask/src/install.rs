//! `install` and `uninstall`: the plug-ins where hosts look, the programs on PATH, man pages,
//! completions, and what a desktop needs to show the program.
//!
//! What was put down is written into a list, and `uninstall` takes away exactly that.

use crate::bundle::{self, NAME};
use crate::system::{PluginStandard, System};
use crate::{demo, run};
use anyhow::{Context, Result, bail};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The program's name among desktops.
const ID: &str = "org.thumbline.Thumbline";
/// The list of what was installed, below the folder of shared files.
const LIST: &str = "thumbline/installed.txt";

/// Where things go.
pub struct Places {
    pub programs: PathBuf,
    pub clap: PathBuf,
    pub vst3: PathBuf,
    pub share: PathBuf,
}

impl Places {
    /// Below a prefix, as packagers want it.
    pub fn below(prefix: &Path) -> Self {
        Self {
            programs: prefix.join("bin"),
            clap: prefix.join("lib/clap"),
            vst3: prefix.join("lib/vst3"),
            share: prefix.join("share"),
        }
    }

    /// The player's own folders.
    fn own() -> Result<Self> {
        let variable = |name: &str| std::env::var_os(name);
        let plugins = |format| {
            let mut folders = System::HERE.plugin_folders(format, variable).into_iter();
            folders
                .next()
                .context("there is no home folder: give --prefix FOLDER")
        };
        let (programs, share) = System::HERE
            .own_folders(variable)
            .context("there is no home folder: give --prefix FOLDER")?;
        Ok(Self {
            programs,
            clap: plugins(PluginStandard::Clap)?,
            vst3: plugins(PluginStandard::Vst3)?,
            share,
        })
    }

    fn of(args: &[String]) -> Result<Self> {
        match args {
            [] => Self::own(),
            [flag, prefix] if flag == "--prefix" => Ok(Self::below(&std::path::absolute(prefix)?)),
            _ => bail!("only `--prefix FOLDER` is understood here"),
        }
    }
}

/// What `cargo build` left, and in which folder.
pub struct Built(pub PathBuf);

impl Built {
    /// Builds everything as it is released.
    pub fn release() -> Result<Self> {
        if !demo::audio_headers() {
            bail!(demo::NO_HEADERS);
        }
        let features = ["--features", "thumbline-plugin/standalone"];
        run::build(
            &[
                &["--release", "--workspace", "--exclude", "xtask"][..],
                &features,
            ]
            .concat(),
        )?;
        Ok(Self(run::target().join("release")))
    }

    fn program(&self, name: &str) -> PathBuf {
        self.0.join(System::HERE.program(name))
    }
}

/// Builds and installs.
pub fn install(args: &[String]) -> Result<()> {
    let places = Places::of(args)?;
    let built = Built::release()?;
    let list = places.share.join(LIST);
    if list.is_file() {
        take_away(&list)?;
    }
    let mut put = Put::default();
    let done = put.everything(&built, &places);
    // What was put down before something failed can be taken away as well.
    run::write(&list, &put.list())?;
    done?;
    refresh(&places);
    println!(
        "installed into {} and {}",
        places.programs.display(),
        places.clap.display()
    );
    if !on_path(&places.programs) {
        println!(
            "{} is not on PATH: add it, or call the programs by their full names",
            places.programs.display()
        );
    }
    println!("`cargo xtask uninstall` takes it away again; `thumbline doctor` says what is there");
    Ok(())
}

/// Takes away what `install` put down.
pub fn uninstall(args: &[String]) -> Result<()> {
    let places = Places::of(args)?;
    let list = places.share.join(LIST);
    if !list.is_file() {
        bail!("nothing is installed here: there is no {}", list.display());
    }
    take_away(&list)?;
    refresh(&places);
    println!("taken away; takes, the journal and presets stay where they are");
    Ok(())
}

/// What was put down: folders that were made, then files.
#[derive(Default)]
pub struct Put {
    folders: Vec<PathBuf>,
    files: Vec<PathBuf>,
}

impl Put {
    fn list(&self) -> String {
        let folders = self.folders.iter().map(|f| ("folder", f));
        let files = self.files.iter().map(|f| ("file", f));
        let lines = folders.chain(files);
        let lines = lines.map(|(what, path)| format!("{what} {}\n", path.display()));
        lines.collect::<Vec<_>>().concat()
    }

    fn folder(&mut self, folder: &Path) -> Result<()> {
        let new: Vec<_> = folder
            .ancestors()
            .take_while(|p| !p.exists())
            .map(Path::to_owned)
            .collect();
        fs::create_dir_all(folder).with_context(|| format!("cannot make {}", folder.display()))?;
        self.folders.extend(new.into_iter().rev());
        Ok(())
    }

    fn file(&mut self, from: &Path, to: PathBuf) -> Result<()> {
        self.folder(to.parent().context("a file lies in a folder")?)?;
        // A program that runs cannot be written over; it can be replaced.
        let _ = fs::remove_file(&to);
        run::copy(from, &to)?;
        self.files.push(to);
        Ok(())
    }

    fn text(&mut self, text: &[u8], to: PathBuf) -> Result<()> {
        self.folder(to.parent().context("a file lies in a folder")?)?;
        fs::write(&to, text).with_context(|| format!("cannot write {}", to.display()))?;
        self.files.push(to);
        Ok(())
    }

    fn tree(&mut self, from: &Path, to: &Path) -> Result<()> {
        if from.is_file() {
            return self.file(from, to.to_owned());
        }
        for entry in fs::read_dir(from).with_context(|| from.display().to_string())? {
            let entry = entry?;
            self.tree(&entry.path(), &to.join(entry.file_name()))?;
        }
        Ok(())
    }

    /// Puts everything that was built into its places.
    fn everything(&mut self, built: &Built, places: &Places) -> Result<()> {
        let line = built.program("thumbline");
        for name in ["thumbline", "thumbline-standalone"] {
            let file = System::HERE.program(name);
            self.file(&built.0.join(&file), places.programs.join(&file))?;
        }
        let bundles = run::target().join("bundled");
        let library = built.0.join(System::HERE.library("thumbline_plugin"));
        bundle::lay_out(System::HERE, std::env::consts::ARCH, &library, &bundles)?;
        for (format, folder) in [
            (PluginStandard::Clap, &places.clap),
            (PluginStandard::Vst3, &places.vst3),
        ] {
            let name = format!("{NAME}.{}", format.name().to_lowercase());
            self.tree(&bundles.join(&name), &folder.join(&name))?;
        }
        let scratch = run::target().join("man");
        let _ = fs::remove_dir_all(&scratch);
        run::must(Command::new(&line).args(["manual", "--man"]).arg(&scratch))?;
        self.tree(&scratch, &places.share.join("man/man1"))?;
        for (shell, to) in [
            ("bash", "bash-completion/completions/thumbline"),
            ("zsh", "zsh/site-functions/_thumbline"),
            ("fish", "fish/vendor_completions.d/thumbline.fish"),
        ] {
            let output = Command::new(&line).args(["completions", shell]).output()?;
            anyhow::ensure!(output.status.success(), "no completions for {shell}");
            self.text(&output.stdout, places.share.join(to))?;
        }
        if System::HERE == System::Linux {
            for (from, to) in [
                (
                    format!("{ID}.desktop"),
                    format!("applications/{ID}.desktop"),
                ),
                (
                    format!("{ID}.metainfo.xml"),
                    format!("metainfo/{ID}.metainfo.xml"),
                ),
                (
                    "thumbline.svg".to_owned(),
                    format!("icons/hicolor/scalable/apps/{ID}.svg"),
                ),
            ] {
                self.file(&Path::new("packaging").join(from), places.share.join(to))?;
            }
        }
        Ok(())
    }
}

/// Puts everything that was built into its places.
pub fn put(built: &Built, places: &Places) -> Result<()> {
    Put::default().everything(built, places)
}

fn take_away(list: &Path) -> Result<()> {
    let text = fs::read_to_string(list)?;
    for file in text.lines().filter_map(|line| line.strip_prefix("file ")) {
        if let Err(why) = fs::remove_file(file) {
            println!("{file}: {why}");
        }
    }
    fs::remove_file(list)?;
    let folders = text.lines().filter_map(|line| line.strip_prefix("folder "));
    let own = list.parent().map(Path::to_owned);
    for folder in folders
        .map(PathBuf::from)
        .chain(own)
        .collect::<Vec<_>>()
        .iter()
        .rev()
    {
        // Only what is empty goes: other things may lie there by now.
        let _ = fs::remove_dir(folder);
    }
    Ok(())
}

/// Tells a desktop that its lists have changed, where it has the programs for that.
fn refresh(places: &Places) {
    if System::HERE == System::Linux {
        let _ = Command::new("update-desktop-database")
            .arg("--quiet")
            .arg(places.share.join("applications"))
            .status();
    }
}

fn on_path(folder: &Path) -> bool {
    std::env::var_os("PATH").is_some_and(|path| std::env::split_paths(&path).any(|p| p == folder))
}
