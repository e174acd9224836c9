//! The state that is kept: one versioned schema for the plug-in, the standalone program and
//! practice presets.
//!
//! Reading is lenient field by field: a field that is missing takes its default, one that cannot be
//! read (a later version's, say) keeps its raw value and is written back unchanged, and fields
//! nobody knows survive a round trip. Marks belong to a recording's sound, not to its file: opening
//! another recording and coming back loses nothing.

use crate::control::{Control, Trigger};
use crate::page_state::PageState;
use crate::snapshot::{ClickRate, Ladder, Look, Snap};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::path::PathBuf;
use thumbline::analysis::beat::Edit;
use thumbline::analysis::corrections::Corrections;
pub use thumbline::deck::capture::Anchor;
use thumbline::music::tuning::Tuning;
use thumbline::recording::ContentHash;
use thumbline::unit::Seconds;

/// The schema's version; it rises when a field changes its meaning.
pub const VERSION: u32 = 2;

/// How many recordings the list of recent ones holds.
const RECENT: usize = 12;

/// Where a recording was and how to recognise it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordingRef {
    /// File name, to show.
    pub name: String,
    /// Where it lies.
    pub path: PathBuf,
    /// Identity of its sound; none until it was decoded whole.
    #[serde(default)]
    pub hash: Option<ContentHash>,
}

/// What the ends of a loop hold on to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edges {
    /// They lie where the player put them.
    #[default]
    Free,
    /// They lie on beats, and move with them when the beat is corrected.
    Beats,
}

/// A stretch of a recording that a player named.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Region {
    /// What the player calls it.
    pub name: String,
    /// Start.
    pub from: Seconds,
    /// End, after `from`.
    pub to: Seconds,
    /// What its ends hold on to.
    #[serde(default)]
    pub edges: Edges,
}

/// A take that was saved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakeRef {
    /// What the list shows.
    pub name: String,
    /// Its file.
    pub path: PathBuf,
    /// Where on the recording's timeline each part of it was played.
    pub places: Vec<Anchor>,
    /// Tuning and capo it was played in, where the player told them.
    #[serde(default)]
    pub tuning: Option<Tuning>,
}

/// What a player marked on one recording.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Marks {
    /// The loop's ends.
    pub region: Option<Region>,
    /// Kept regions.
    pub regions: Vec<Region>,
    /// Corrections of notes and grid, with what was taken back.
    pub corrections: Corrections,
    /// Tuning and capo, where the player told them; none lets the program find them.
    pub tuning: Option<Tuning>,
    /// The player's choice among the readings of the beat; none leaves the program's.
    pub reading: Option<Edit>,
    /// Own takes.
    pub takes: Vec<TakeRef>,
    /// Thumb against fingers in what is heard: −1 the thumb alone, 0 both, 1 the fingers alone.
    pub balance: f64,
    /// Fields of later versions.
    #[serde(flatten)]
    pub extra: Map<String, Value>,
}

/// Everything that is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// The schema's version that wrote it.
    pub version: u32,
    /// The open recording.
    pub recording: Option<RecordingRef>,
    /// Marks by the recording's content hash.
    pub marks: BTreeMap<String, Marks>,
    /// Place in the recording.
    pub position: Seconds,
    /// What loop ends hold on to.
    pub snap: Snap,
    /// Bars counted before the start, 0 to 2.
    pub count_in_bars: u8,
    /// Silent beats between rounds, 0 to 16.
    pub rest_beats: u8,
    /// The ladder.
    pub ladder: Ladder,
    /// Is each round of a take answered by a tone?
    pub round_tone: bool,
    /// How often the click sounds.
    pub click_rate: ClickRate,
    /// Round-trip latency of own takes in milliseconds, −500 to 500.
    pub latency_ms: f64,
    /// What MIDI controls do.
    pub learnt: Vec<(Control, Trigger)>,
    /// Recordings opened lately, newest first.
    pub recent: Vec<PathBuf>,
    /// How the window looks.
    pub look: Look,
    /// The pages: which is open, and what each remembers.
    pub page_state: PageState,
    /// What each page of the window remembers, by the page's name, in the page's own form.
    pub pages: Map<String, Value>,
    /// Fields that could not be read, or that nobody knows.
    extra: Map<String, Value>,
}

impl Default for Session {
    fn default() -> Self {
        Self {
            version: VERSION,
            recording: None,
            marks: BTreeMap::new(),
            position: Seconds(0.0),
            snap: Snap::default(),
            count_in_bars: 0,
            rest_beats: 0,
            ladder: Ladder::default(),
            round_tone: false,
            click_rate: ClickRate::default(),
            latency_ms: 0.0,
            learnt: Vec::new(),
            recent: Vec::new(),
            look: Look::default(),
            page_state: PageState::default(),
            pages: Map::new(),
            extra: Map::new(),
        }
    }
}

/// Moves `key` out of `map` into `field`; what cannot be read stays in the map.
fn read<T: DeserializeOwned>(map: &mut Map<String, Value>, key: &str, field: &mut T) {
    if let Some(parsed) = map.get(key).and_then(|value| T::deserialize(value).ok()) {
        *field = parsed;
        map.remove(key);
    }
}

impl Session {
    /// Reads a session from any JSON value; what is not an object gives the defaults.
    pub fn from_value(value: Value) -> Self {
        let Value::Object(mut map) = value else {
            return Self::default();
        };
        let mut session = Self::default();
        read(&mut map, "version", &mut session.version);
        read(&mut map, "recording", &mut session.recording);
        read(&mut map, "position", &mut session.position);
        read(&mut map, "snap", &mut session.snap);
        read(&mut map, "count_in_bars", &mut session.count_in_bars);
        read(&mut map, "rest_beats", &mut session.rest_beats);
        read(&mut map, "ladder", &mut session.ladder);
        read(&mut map, "round_tone", &mut session.round_tone);
        read(&mut map, "click_rate", &mut session.click_rate);
        read(&mut map, "latency_ms", &mut session.latency_ms);
        read(&mut map, "learnt", &mut session.learnt);
        read(&mut map, "recent", &mut session.recent);
        read(&mut map, "look", &mut session.look);
        read(&mut map, "desk", &mut session.page_state);
        read(&mut map, "pages", &mut session.pages);
        if let Some(Value::Object(marks)) = map.get_mut("marks") {
            // Each recording's marks on their own: one that cannot be read costs no other.
            let keys: Vec<String> = marks.keys().cloned().collect();
            for key in keys {
                let mut found = Marks::default();
                read(marks, &key, &mut found);
                if found != Marks::default() {
                    session.marks.insert(key, found);
                }
            }
            if marks.is_empty() {
                map.remove("marks");
            }
        }
        session.extra = map;
        session.mend();
        session
    }

    /// Takes over the practice fields of `value`, where it has them.
    pub fn merge(&mut self, value: Value) {
        let Value::Object(mut map) = value else {
            return;
        };
        read(&mut map, "snap", &mut self.snap);
        read(&mut map, "count_in_bars", &mut self.count_in_bars);
        read(&mut map, "rest_beats", &mut self.rest_beats);
        read(&mut map, "ladder", &mut self.ladder);
        read(&mut map, "click_rate", &mut self.click_rate);
        self.mend();
    }

    /// Brings every number into its range.
    fn mend(&mut self) {
        let finite = |x: f64, or: f64| if x.is_finite() { x } else { or };
        self.position.0 = finite(self.position.0, 0.0).max(0.0);
        self.count_in_bars = self.count_in_bars.min(2);
        self.rest_beats = self.rest_beats.min(16);
        self.latency_ms = finite(self.latency_ms, 0.0).clamp(-500.0, 500.0);
        self.ladder = mend_ladder(self.ladder);
        self.look = self.look.mended();
        self.page_state = std::mem::take(&mut self.page_state).mended();
        self.recent.truncate(RECENT);
        for marks in self.marks.values_mut() {
            let whole = |r: &Region| r.from.0.is_finite() && r.to.0 > r.from.0;
            marks.regions.retain(whole);
            marks.region = marks.region.take().filter(whole);
        }
    }

    /// The session as a JSON value, with everything that was not understood put back.
    pub fn to_value(&self) -> Value {
        let mut map = Map::new();
        let mut put = |key: &str, value: serde_json::Result<Value>| {
            if let Ok(value) = value {
                map.insert(key.to_owned(), value);
            }
        };
        put("version", serde_json::to_value(self.version.max(VERSION)));
        put("recording", serde_json::to_value(&self.recording));
        put("marks", serde_json::to_value(&self.marks));
        put("position", serde_json::to_value(self.position));
        put("snap", serde_json::to_value(self.snap));
        put("count_in_bars", serde_json::to_value(self.count_in_bars));
        put("rest_beats", serde_json::to_value(self.rest_beats));
        put("ladder", serde_json::to_value(self.ladder));
        put("round_tone", serde_json::to_value(self.round_tone));
        put("click_rate", serde_json::to_value(self.click_rate));
        put("latency_ms", serde_json::to_value(self.latency_ms));
        put("learnt", serde_json::to_value(&self.learnt));
        put("recent", serde_json::to_value(&self.recent));
        put("look", serde_json::to_value(self.look));
        put("desk", serde_json::to_value(&self.page_state));
        put("pages", serde_json::to_value(&self.pages));
        let fresh = Self::default();
        for (key, raw) in &self.extra {
            let untouched = match (key.as_str(), map.get_mut(key)) {
                (_, None) => true,
                ("marks", Some(Value::Object(known))) => {
                    if let Value::Object(unread) = raw {
                        for (hash, marks) in unread {
                            known.entry(hash.clone()).or_insert_with(|| marks.clone());
                        }
                    }
                    !raw.is_object() && known.is_empty()
                }
                ("recording", Some(_)) => self.recording.is_none(),
                ("snap", Some(_)) => self.snap == fresh.snap,
                ("ladder", Some(_)) => self.ladder == fresh.ladder,
                ("click_rate", Some(_)) => self.click_rate == fresh.click_rate,
                ("learnt", Some(_)) => self.learnt.is_empty(),
                ("recent", Some(_)) => self.recent.is_empty(),
                ("look", Some(_)) => self.look == fresh.look,
                ("desk", Some(_)) => self.page_state == fresh.page_state,
                ("pages", Some(_)) => self.pages.is_empty(),
                _ => false,
            };
            if untouched {
                map.insert(key.clone(), raw.clone());
            }
        }
        Value::Object(map)
    }

    /// Puts a path at the head of the recent ones.
    pub fn remember(&mut self, path: PathBuf) {
        self.recent.retain(|known| *known != path);
        self.recent.insert(0, path);
        self.recent.truncate(RECENT);
    }
}

/// A ladder with every number in its range.
pub fn mend_ladder(ladder: Ladder) -> Ladder {
    let within = |x: f64, low: f64, high: f64| {
        if x.is_finite() {
            x.clamp(low, high)
        } else {
            low
        }
    };
    Ladder {
        on: ladder.on,
        start: within(ladder.start, 0.25, 1.5),
        step: within(ladder.step, 0.01, 0.5),
        rounds: ladder.rounds.clamp(1, 1000),
        top: within(ladder.top, 0.25, 1.5),
        within_ms: ladder
            .within_ms
            .filter(|ms| ms.is_finite())
            .map(|ms| ms.clamp(1.0, 500.0)),
    }
}

impl Serialize for Session {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_value().serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Session {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Value::deserialize(deserializer).map(Self::from_value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn unknown_fields_survive_a_round_trip() {
        let raw = json!({
            "version": 9, "snap": "phrase", "lamp": {"on": true}, "rest_beats": 3,
            "marks": {"ab": {"region": {"name": "x", "from": 1.0, "to": 2.0}, "colour": "ochre"},
                      "cd": 7}
        });
        let session = Session::from_value(raw);
        assert_eq!(session.rest_beats, 3);
        assert_eq!(session.marks["ab"].region.as_ref().unwrap().name, "x");
        let back = session.to_value();
        assert_eq!(back["version"], 9);
        assert_eq!(back["snap"], "phrase");
        assert_eq!(back["lamp"]["on"], true);
        assert_eq!(back["marks"]["ab"]["colour"], "ochre");
        assert_eq!(back["marks"]["cd"], 7);
    }

    #[test]
    fn nonsense_gives_defaults() {
        for raw in [
            json!(null),
            json!([1]),
            json!({"ladder": 3, "latency_ms": 1e300}),
        ] {
            let session = Session::from_value(raw);
            assert!(session.latency_ms.abs() <= 500.0);
            assert_eq!(session.ladder, Ladder::default());
        }
    }
}
