//! Tunings with names: how a list of them is read, and the list that comes with Thumbline.

use super::open_strings::Tuning;
use serde::Deserialize;
use std::sync::LazyLock;

/// The list that comes with Thumbline.
const BUILT_IN: &str = include_str!("../../../presets/tunings.toml");

/// A tuning with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedTuning {
    /// What players call it.
    pub name: String,
    /// Other names.
    pub aliases: Vec<String>,
    /// The strings.
    pub tuning: Tuning,
    /// How common it is taken to be; standard is 10.
    pub weight: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    tuning: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    name: String,
    #[serde(default)]
    aliases: Vec<String>,
    strings: String,
    #[serde(default = "one")]
    weight: f64,
}

fn one() -> f64 {
    1.0
}

impl NamedTuning {
    /// Reads a list as in `presets/tunings.toml`.
    ///
    /// # Errors
    /// What cannot be read, in words.
    pub fn read(text: &str) -> Result<Vec<Self>, String> {
        let file: File = toml::from_str(text).map_err(|e| e.message().to_owned())?;
        file.tuning
            .into_iter()
            .map(|entry| {
                let tuning = Tuning::parse(&entry.strings)
                    .map_err(|why| format!("tuning `{}`: {why}", entry.name))?;
                Ok(Self {
                    name: entry.name,
                    aliases: entry.aliases,
                    tuning,
                    weight: entry.weight.clamp(0.0, 100.0),
                })
            })
            .collect()
    }

    /// The tunings that come with Thumbline.
    pub fn built_in() -> &'static [Self] {
        static KNOWN: LazyLock<Vec<NamedTuning>> = LazyLock::new(|| {
            // A test reads the same list; were it unreadable, nothing would be known.
            NamedTuning::read(BUILT_IN).unwrap_or_default()
        });
        &KNOWN
    }
}
