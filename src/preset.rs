//! Presets: tunings, scales and picking patterns as data, built in and from the player's folder.
//!
//! Owns reading the TOML files and finding things by name. What they mean is `music`.

use crate::music::meter::Meter;
use crate::music::picking::{Cell, Pattern};
use crate::music::scale::{Scale, ScaleKind};
use crate::music::tuning::{NamedTuning, Tuning, TuningError};
use crate::report::file::PartialFile;
use serde::Deserialize;
use std::path::Path;

const SCALES: &str = include_str!("../presets/scales.toml");
const PATTERNS: &str = include_str!("../presets/patterns.toml");

/// Why something cannot be found, or a presets file not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PresetError {
    /// No tuning of that name, and no spelled tuning either.
    #[error("there is no tuning `{name}`{}; {why}", hint(near))]
    Tuning {
        /// What was asked for.
        name: String,
        /// Nearest names.
        near: Vec<String>,
        /// Why it cannot be read as spelled strings.
        why: TuningError,
    },
    /// No scale of that name.
    #[error(
        "there is no scale `{name}`{}; write a tonic and a kind, like `D major`, or its notes, \
         like `D E F# A B`",
        hint(near)
    )]
    Scale {
        /// What was asked for.
        name: String,
        /// Nearest names.
        near: Vec<String>,
    },
    /// No pattern of that name.
    #[error("there is no picking pattern `{name}`{}", hint(near))]
    Pattern {
        /// What was asked for.
        name: String,
        /// Nearest names.
        near: Vec<String>,
    },
    /// A file of the player's folder that cannot be used.
    #[error("`{file}` is left out: {why}")]
    File {
        /// The file.
        file: String,
        /// What is wrong with it.
        why: String,
    },
}

fn hint(near: &[String]) -> String {
    match near {
        [] => String::new(),
        [one] => format!(" (did you mean `{one}`?)"),
        some => format!(" (did you mean `{}`?)", some.join("` or `")),
    }
}

/// Everything that can be asked for by name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Presets {
    /// Tunings.
    pub tunings: Vec<NamedTuning>,
    /// Kinds of scale.
    pub scales: Vec<ScaleKind>,
    /// Picking patterns.
    pub patterns: Vec<Pattern>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ScaleFile {
    #[serde(default)]
    scale: Vec<ScaleKind>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PatternFile {
    #[serde(default)]
    pattern: Vec<PatternEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PatternEntry {
    name: String,
    #[serde(default)]
    about: String,
    meter: String,
    /// How long the first half of a beat is to the second, `2:1`; straight without it.
    swing: Option<String>,
    bars: Vec<String>,
}

impl Presets {
    /// What the program brings along.
    pub fn built_in() -> Self {
        let mut presets = Self {
            tunings: NamedTuning::built_in().to_vec(),
            ..Self::default()
        };
        for (file, text) in [("scales.toml", SCALES), ("patterns.toml", PATTERNS)] {
            if let Err(why) = presets.add(file, text) {
                unreachable!("built-in {file} is well formed: {why}");
            }
        }
        presets
    }

    /// What the program brings along, with the files of `folder` added; those of the same name
    /// replace. Files that cannot be used are left out and reported; a missing folder is none.
    pub fn with_folder(folder: Option<&Path>) -> (Self, Vec<PresetError>) {
        let mut presets = Self::built_in();
        let mut left_out = Vec::new();
        for file in ["tunings.toml", "scales.toml", "patterns.toml"] {
            let Some(path) = folder.map(|f| f.join(file)) else {
                continue;
            };
            let read = match std::fs::read_to_string(&path) {
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => continue,
                Err(error) => Err(error.to_string()),
                Ok(text) => presets.clone().added(file, &text),
            };
            match read {
                Ok(with) => presets = with,
                Err(why) => left_out.push(PresetError::File {
                    file: path.display().to_string(),
                    why,
                }),
            }
        }
        (presets, left_out)
    }

    fn added(mut self, file: &str, text: &str) -> Result<Self, String> {
        self.add(file, text)?;
        Ok(self)
    }

    fn add(&mut self, file: &str, text: &str) -> Result<(), String> {
        let told = |error: toml::de::Error| error.message().to_owned();
        match file {
            "tunings.toml" => {
                for named in NamedTuning::read(text)? {
                    put(&mut self.tunings, named, |t| &t.name);
                }
            }
            "scales.toml" => {
                for kind in toml::from_str::<ScaleFile>(text).map_err(told)?.scale {
                    if kind.steps.iter().any(|s| !(0..12).contains(s)) {
                        return Err(format!("scale `{}`: steps lie from 0 to 11", kind.name));
                    }
                    put(&mut self.scales, kind, |s| &s.name);
                }
            }
            _ => {
                for entry in toml::from_str::<PatternFile>(text).map_err(told)?.pattern {
                    let pattern = pattern(entry)?;
                    put(&mut self.patterns, pattern, |p| &p.name);
                }
            }
        }
        Ok(())
    }

    /// A tuning by its name, or spelled (`D A D G A D`, see [`Tuning::parse`]); gives its name
    /// (a spelled one is its own name, unless it is a known one).
    ///
    /// # Errors
    /// [`PresetError::Tuning`] with the nearest names.
    pub fn tuning(&self, text: &str) -> Result<(String, Tuning), PresetError> {
        let wanted = plain(text);
        let by_name = self.tunings.iter().find(|t| {
            plain(&t.name) == wanted || t.aliases.iter().any(|alias| plain(alias) == wanted)
        });
        if let Some(named) = by_name {
            return Ok((named.name.clone(), named.tuning.clone()));
        }
        match Tuning::parse(text) {
            Ok(tuning) => Ok((self.tuning_name(&tuning), tuning)),
            Err(why) => Err(PresetError::Tuning {
                name: text.to_owned(),
                near: near(text, self.tunings.iter().map(|t| t.name.as_str())),
                why,
            }),
        }
    }

    /// The name of a tuning (its capo left aside), or its strings.
    pub fn tuning_name(&self, tuning: &Tuning) -> String {
        let bare = tuning.clone().with_capo(0);
        let known = self.tunings.iter().find(|t| t.tuning == bare);
        known.map_or_else(|| bare.to_string(), |t| t.name.clone())
    }

    /// A scale by tonic and kind (`D major`, `F# dorian`, `Em pentatonic` is not one), or a set of
    /// notes (`D E F# A B`).
    ///
    /// # Errors
    /// [`PresetError::Scale`] with the nearest kinds.
    pub fn scale(&self, text: &str) -> Result<Scale, PresetError> {
        let words: Vec<&str> = text.split_whitespace().collect();
        if let [tonic, kind @ ..] = words.as_slice()
            && !kind.is_empty()
        {
            let wanted = plain(&kind.join(" "));
            let known = self.scales.iter().find(|k| {
                plain(&k.name) == wanted || k.aliases.iter().any(|alias| plain(alias) == wanted)
            });
            if let Some(scale) = known.and_then(|kind| Scale::on(tonic, kind)) {
                return Ok(scale);
            }
        }
        Scale::of_notes(text).ok_or_else(|| {
            let tonic = words.first().copied().unwrap_or("D");
            let kind = words.get(1..).unwrap_or_default().join(" ");
            let tonic = if self
                .scales
                .first()
                .is_some_and(|k| Scale::on(tonic, k).is_some())
            {
                tonic
            } else {
                "D"
            };
            PresetError::Scale {
                name: text.to_owned(),
                near: near(&kind, self.scales.iter().map(|k| k.name.as_str()))
                    .iter()
                    .map(|kind| format!("{tonic} {kind}"))
                    .collect(),
            }
        })
    }

    /// A picking pattern by its name.
    ///
    /// # Errors
    /// [`PresetError::Pattern`] with the nearest names.
    pub fn pattern(&self, text: &str) -> Result<&Pattern, PresetError> {
        let wanted = plain(text);
        self.patterns
            .iter()
            .find(|p| plain(&p.name) == wanted)
            .ok_or_else(|| PresetError::Pattern {
                name: text.to_owned(),
                near: near(text, self.patterns.iter().map(|p| p.name.as_str())),
            })
    }
}

/// Replaces the entry of the same name or adds it.
fn put<T>(list: &mut Vec<T>, entry: T, name: impl Fn(&T) -> &str) {
    let same = list
        .iter()
        .position(|e| plain(name(e)) == plain(name(&entry)));
    match same {
        Some(i) => list[i] = entry,
        None => list.push(entry),
    }
}

fn pattern(entry: PatternEntry) -> Result<Pattern, String> {
    let of = |why: String| format!("pattern `{}`: {why}", entry.name);
    let meter = read_meter(&entry.meter)
        .ok_or_else(|| of(format!("`{}` is not a meter like 4/4 or 6/8", entry.meter)))?;
    let mut cell = Cell::parse(meter, &entry.bars)
        .map_err(|word| of(format!("`{word}` is not a stroke like `2&:2m`")))?;
    if cell.notes.is_empty() || cell.notes.iter().any(|n| n.at.0 >= cell.beats()) {
        return Err(of("its strokes do not fit its bars".to_owned()));
    }
    if let Some(text) = &entry.swing {
        cell.swing = read_swing(text)
            .ok_or_else(|| of(format!("`{text}` is not a swing like 2:1 (1:1 to 4:1)")))?;
    }
    Ok(Pattern {
        name: entry.name,
        about: entry.about,
        cell,
    })
}

/// A swing as written, `2:1`, as the share of a beat that its first half takes; 1:1 to 4:1.
pub fn read_swing(text: &str) -> Option<f64> {
    let (long, short) = text.split_once(':')?;
    let (long, short): (f64, f64) = (long.trim().parse().ok()?, short.trim().parse().ok()?);
    let share = long / (long + short);
    (short > 0.0 && (0.5..=0.8).contains(&share)).then_some(share)
}

/// Patterns as a presets file has them, read from `text`.
///
/// # Errors
/// What cannot be read, in words.
pub fn read_patterns(text: &str) -> Result<Vec<Pattern>, String> {
    let told = |error: toml::de::Error| error.message().to_owned();
    let file = toml::from_str::<PatternFile>(text).map_err(told)?;
    file.pattern.into_iter().map(pattern).collect()
}

/// A pattern as a presets file has it: what [`read_patterns`] reads, to be edited by hand.
pub fn write_pattern(pattern: &Pattern) -> String {
    let bars: Vec<String> = pattern.cell.written().iter().map(|b| quoted(b)).collect();
    let share = pattern.cell.swing;
    let swing = if share > 0.5 {
        format!("swing = \"{:.2}:1\"\n", share / (1.0 - share))
    } else {
        String::new()
    };
    format!(
        "[[pattern]]\nname = {}\nabout = {}\nmeter = \"{}\"\n{swing}bars = [\n  {},\n]\n",
        quoted(&pattern.name),
        quoted(&pattern.about),
        pattern.cell.meter,
        bars.join(",\n  ")
    )
}

/// A tuning as a presets file has it.
pub fn write_tuning(name: &str, tuning: &Tuning) -> String {
    let strings = tuning.clone().with_capo(0);
    format!(
        "[[tuning]]\nname = {}\nstrings = \"{strings}\"\n",
        quoted(name)
    )
}

/// Adds an entry to a presets file of the player's folder: `tunings.toml` or `patterns.toml`. What the
/// player wrote there stays as it is; an entry of the same name counts from now on.
///
/// # Errors
/// What is wrong, in words: the file cannot be read or written, or holds what cannot be read; nothing is
/// changed then.
pub fn keep(folder: &Path, file: &str, entry: &str) -> Result<(), String> {
    let path = folder.join(file);
    let before = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
        Err(error) => return Err(format!("`{}`: {error}", path.display())),
    };
    let gap = if before.trim().is_empty() { "" } else { "\n" };
    let after = format!("{}{gap}{entry}", before.trim_end().to_owned() + gap);
    let why = |why: String| format!("`{}`: {why}", path.display());
    Presets::built_in().added(file, &after).map_err(why)?;
    std::fs::create_dir_all(folder).map_err(|e| why(e.to_string()))?;
    let part = PartialFile::beside(&path).map_err(|e| why(e.to_string()))?;
    std::fs::write(part.path(), after).map_err(|e| why(e.to_string()))?;
    part.keep().map_err(|e| why(e.to_string()))
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    let plain: String = text.chars().filter(|c| !c.is_control()).collect();
    format!("\"{}\"", plain.replace('\\', "\\\\").replace('"', "\\\""))
}

/// A meter as written, `4/4`: 1 to 15 over 2, 4, 8 or 16.
pub fn read_meter(text: &str) -> Option<Meter> {
    let (count, unit) = text.split_once('/')?;
    let count: u8 = count.trim().parse().ok()?;
    let unit: u8 = unit.trim().parse().ok()?;
    ((1..=15).contains(&count) && [2, 4, 8, 16].contains(&unit)).then_some(Meter { count, unit })
}

/// A name as compared: small letters, no spaces or hyphens.
fn plain(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_'))
        .flat_map(char::to_lowercase)
        .map(|c| match c {
            '♯' => '#',
            '♭' => 'b',
            other => other,
        })
        .collect()
}

/// The one or two names nearest to `text`, if any is near.
fn near<'a>(text: &str, names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let wanted = plain(text);
    let mut ranked: Vec<(usize, &str)> = names
        .map(|name| (edits(&wanted, &plain(name)), name))
        .filter(|(d, name)| 2 * d <= wanted.chars().count().max(name.chars().count()))
        .collect();
    ranked.sort_by_key(|(d, _)| *d);
    ranked
        .into_iter()
        .take(2)
        .map(|(_, name)| name.to_owned())
        .collect()
}

/// Edit distance (Levenshtein 1966, from memory).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let changed = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row.last().copied().unwrap_or(0)
}
