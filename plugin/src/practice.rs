//! Practice set-ups: parts of the kept state under a name, built in and from the data folder.

use crate::data::data_dir;
use serde::Deserialize;
use serde_json::Value;
use std::path::Path;

const BUILT_IN: &str = include_str!("../../presets/practice.toml");

/// One set-up.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct SetUp {
    /// What the list shows.
    pub name: String,
    /// Speed, 0.25 to 1.5; none leaves it.
    pub speed: Option<f64>,
    /// Loop on or off; none leaves it.
    #[serde(rename = "loop")]
    pub looped: Option<bool>,
    /// Click on or off; none leaves it.
    pub click: Option<bool>,
    /// Fields of the session; what is left out stays.
    #[serde(default)]
    pub session: Value,
}

#[derive(Deserialize)]
struct File {
    #[serde(default)]
    set_up: Vec<SetUp>,
}

fn parse(text: &str) -> Result<Vec<SetUp>, String> {
    toml::from_str::<File>(text)
        .map(|file| file.set_up)
        .map_err(|e| e.message().to_owned())
}

/// All set-ups: those built in, then the player's own in order of their files' names. A file that
/// cannot be read is left out.
pub fn all() -> Vec<SetUp> {
    let mut found = parse(BUILT_IN).unwrap_or_default();
    found.extend(own(&data_dir().join("practice")));
    found
}

fn own(dir: &Path) -> Vec<SetUp> {
    let Ok(entries) = std::fs::read_dir(dir) else {
        return Vec::new();
    };
    let mut files: Vec<_> = entries.flatten().map(|e| e.path()).collect();
    files.sort();
    files
        .iter()
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .filter_map(|path| parse(&std::fs::read_to_string(path).ok()?).ok())
        .flatten()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Session;

    #[test]
    fn every_built_in_set_up_is_understood() {
        let all = parse(BUILT_IN).expect("it parses");
        assert!(all.len() >= 4);
        for set_up in all {
            let mut session = Session::default();
            session.merge(set_up.session.clone());
            let fields = set_up.session.as_object().expect("fields");
            for (key, value) in fields {
                let kept = &session.to_value()[key];
                let same = match (value, kept) {
                    (Value::Object(wanted), Value::Object(kept)) => {
                        wanted.iter().all(|(k, v)| kept.get(k) == Some(v))
                    }
                    _ => value == kept,
                };
                assert!(same, "{}: {key} became {kept}", set_up.name);
            }
        }
    }
}
