//! What is written in MIDI files (Standard MIDI File 1.0) and MusicXML (4.0, uncompressed): the melody, or
//! everything that is plucked.
//!
//! Owns reading. Of a melody the highest part is taken, of a chord the highest note; of a pattern every
//! note with its part and voice, and its string where that is written. Nothing is played.

use crate::dsp::middle::weighted_median;
use crate::music::melody::{Melody, MelodyNote};
use crate::music::meter::Meter;
use crate::music::picking::WrittenStroke;
use crate::music::pitch::{Key, letter_semitones};
use crate::unit::{Beats, Bpm};
use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use quick_xml::Reader;
use quick_xml::events::Event;
use std::collections::BTreeMap;
use std::path::Path;

/// Why a file is no melody.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MelodyError {
    /// It cannot be read.
    #[error("{file}: {error}")]
    File {
        /// Which file.
        file: String,
        /// What the system said.
        error: std::io::Error,
    },
    /// Neither MIDI nor MusicXML.
    #[error("`{0}` is neither a MIDI file nor uncompressed MusicXML")]
    Unknown(String),
    /// It is damaged.
    #[error("`{file}` cannot be read: {why}")]
    Damaged {
        /// Which file.
        file: String,
        /// Where it stopped.
        why: String,
    },
    /// It has no note.
    #[error("`{0}` has no notes")]
    Empty(String),
}

/// Files larger than this are no melodies.
const LARGEST: u64 = 64 << 20;

/// Does the file begin like one that [`read`] understands?
pub fn is_melody(start: &[u8]) -> bool {
    start.starts_with(b"MThd") || text_start(start).starts_with(b"<")
}

fn text_start(bytes: &[u8]) -> &[u8] {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    bytes.trim_ascii_start()
}

/// Reads the melody of a file.
///
/// # Errors
/// [`MelodyError`] tells what is wrong with it.
pub fn read(path: &Path) -> Result<Melody, MelodyError> {
    let written = written(path)?;
    let notes = highest(written.parts, written.meter);
    Ok(Melody {
        title: written.title,
        meter: written.meter,
        tempo: written.tempo,
        key: written.key,
        notes: if written.counted {
            notes
        } else {
            from_bar_one(notes, written.start, written.meter, |n| &mut n.at)
        },
    })
}

/// Everything that is plucked in a file, for a picking pattern.
#[derive(Debug, Clone, PartialEq)]
pub struct Plucked {
    /// What it is called.
    pub title: String,
    /// Time signature.
    pub meter: Meter,
    /// Tempo.
    pub tempo: Bpm,
    /// Notes in order, counted from the first bar that has one.
    pub strokes: Vec<WrittenStroke>,
}

/// Reads every note of a file.
///
/// # Errors
/// [`MelodyError`] tells what is wrong with it.
pub fn plucked(path: &Path) -> Result<Plucked, MelodyError> {
    let written = written(path)?;
    let quarters = quarters_a_beat(written.meter);
    let mut strokes: Vec<WrittenStroke> = written
        .parts
        .into_values()
        .zip(0..)
        .flat_map(|(notes, part)| notes.into_iter().map(move |n| (n, part)))
        .map(|(heard, part)| WrittenStroke {
            at: Beats(heard.note.at.0 / quarters),
            midi: heard.note.midi,
            string: heard.string,
            voice: 1000 * part + heard.voice,
        })
        .collect();
    // Written twice, in notation and in tablature, it is one stroke.
    let place = |s: &WrittenStroke| ((s.at.0 * 96.0).round() as i64, s.midi, s.string);
    strokes.sort_by_key(|s| (place(s), s.voice));
    strokes.dedup_by(|a, b| a.string.is_some() && place(a) == place(b));
    Ok(Plucked {
        title: written.title,
        meter: written.meter,
        tempo: written.tempo,
        strokes: from_bar_one(strokes, written.start, written.meter, |n| &mut n.at),
    })
}

/// A file as it is written.
struct Written {
    title: String,
    meter: Meter,
    tempo: Bpm,
    key: Key,
    /// Where a bar begins, in beats.
    start: Beats,
    /// Does the file itself say where bar 1 is?
    counted: bool,
    parts: Parts,
}

fn written(path: &Path) -> Result<Written, MelodyError> {
    let file = path.display().to_string();
    let failed = |error| MelodyError::File {
        file: file.clone(),
        error,
    };
    let size = std::fs::metadata(path).map_err(failed)?.len();
    if size > LARGEST {
        return Err(MelodyError::Unknown(file));
    }
    let bytes = std::fs::read(path).map_err(failed)?;
    let title = path.file_stem().unwrap_or_default().to_string_lossy();
    let damaged = |why: String| MelodyError::Damaged {
        file: file.clone(),
        why,
    };
    let written = if bytes.starts_with(b"MThd") {
        midi(&title, &bytes).map_err(damaged)?
    } else if is_melody(&bytes) {
        musicxml(&title, &bytes).map_err(damaged)?
    } else {
        return Err(MelodyError::Unknown(file));
    };
    if written.parts.values().all(Vec::is_empty) {
        return Err(MelodyError::Empty(file));
    }
    Ok(written)
}

/// Quarters of one beat of `meter`.
fn quarters_a_beat(meter: Meter) -> f64 {
    let unit = 4.0 / f64::from(meter.unit.max(1));
    if meter.is_compound() {
        3.0 * unit
    } else {
        unit
    }
}

/// A note in quarters, with its voice and its string where they are written.
#[derive(Clone, Copy)]
struct Heard {
    note: MelodyNote,
    voice: u32,
    string: Option<u8>,
}

/// Notes of each part, by the part's place.
type Parts = BTreeMap<usize, Vec<Heard>>;

/// The part whose notes lie highest on average, its top line in beats.
fn highest(parts: Parts, meter: Meter) -> Vec<MelodyNote> {
    let mean = |notes: &[Heard]| {
        notes.iter().map(|n| f64::from(n.note.midi)).sum::<f64>() / notes.len().max(1) as f64
    };
    let best = parts
        .into_values()
        .filter(|notes| !notes.is_empty())
        .max_by(|a, b| mean(a).total_cmp(&mean(b)));
    let quarters = quarters_a_beat(meter);
    let notes = best.unwrap_or_default().into_iter().map(|n| n.note);
    let in_beats = notes.map(|n| MelodyNote {
        at: Beats(n.at.0 / quarters),
        length: Beats(n.length.0 / quarters),
        ..n
    });
    Melody::top_line(in_beats.collect())
}

fn midi(title: &str, bytes: &[u8]) -> Result<Written, String> {
    let smf = Smf::parse(bytes).map_err(|e| e.to_string())?;
    let Timing::Metrical(ticks) = smf.header.timing else {
        return Err("it counts in seconds, not in beats".to_owned());
    };
    let quarter = f64::from(ticks.as_int().max(1));
    let (mut meters, mut tempi, mut fifths) = (Vec::new(), Vec::new(), None);
    let mut end = 0u64;
    let mut parts = Parts::new();
    for (index, track) in smf.tracks.iter().enumerate() {
        let mut now = 0u64;
        let mut sounding: BTreeMap<(u8, u8), u64> = BTreeMap::new();
        let notes = parts.entry(index).or_default();
        for event in track {
            now += u64::from(event.delta.as_int());
            end = end.max(now);
            match event.kind {
                TrackEventKind::Meta(MetaMessage::TimeSignature(count, power, ..)) => {
                    let unit = 1u8.checked_shl(power.into()).unwrap_or(4);
                    meters.push((now, Meter { count, unit }));
                }
                TrackEventKind::Meta(MetaMessage::Tempo(t)) => {
                    tempi.push((now, t.as_int()));
                }
                TrackEventKind::Meta(MetaMessage::KeySignature(f, _)) => {
                    fifths.get_or_insert(i32::from(f));
                }
                TrackEventKind::Midi { channel, message } => {
                    let (key, on) = match message {
                        MidiMessage::NoteOn { key, vel } => (key.as_int(), vel.as_int() > 0),
                        MidiMessage::NoteOff { key, .. } => (key.as_int(), false),
                        _ => continue,
                    };
                    // Channel 10 is percussion.
                    let at = (channel.as_int(), key);
                    if at.0 == 9 {
                        continue;
                    }
                    if let Some(began) = sounding.remove(&at) {
                        let note = MelodyNote {
                            at: Beats(began as f64 / quarter),
                            length: Beats((now - began).max(1) as f64 / quarter),
                            midi: i32::from(key),
                        };
                        notes.push(Heard {
                            note,
                            voice: u32::from(at.0),
                            string: None,
                        });
                    }
                    if on {
                        sounding.insert(at, now);
                    }
                }
                _ => {}
            }
        }
    }
    let (start, meter) = longest(meters, end).unzip();
    let meter = usable(meter);
    let quarter_s = usual(&tempi, end).unwrap_or(500_000.0) * 1e-6;
    let start = start.unwrap_or(0) as f64 / quarter / quarters_a_beat(meter);
    Ok(Written {
        title: title.to_owned(),
        meter,
        tempo: tempo(60.0 / (quarter_s * quarters_a_beat(meter)).max(1e-3)),
        key: Key::new(fifths.unwrap_or(0)),
        start: Beats(start),
        counted: false,
        parts,
    })
}

/// The middle tempo in microseconds a quarter, each weighed by how long it is in force.
fn usual(tempi: &[(u64, u32)], end: u64) -> Option<f64> {
    let mut tempi = tempi.to_vec();
    tempi.sort_by_key(|t| t.0);
    let until = |i: usize| tempi.get(i + 1).map_or(end, |t| t.0);
    let pairs = tempi.iter().enumerate().map(|(i, (from, micros))| {
        let length = until(i).saturating_sub(*from).max(1) as f64;
        (f64::from(*micros), length)
    });
    weighted_median(&mut pairs.collect::<Vec<_>>())
}

/// What is in force longest of values that begin at ticks, and when it begins: a pick-up's meter and the
/// silence before the first bar are not the piece's.
fn longest<T: Copy + PartialEq>(mut values: Vec<(u64, T)>, end: u64) -> Option<(u64, T)> {
    values.sort_by_key(|v| v.0);
    let until = |i: usize| values.get(i + 1).map_or(end, |v| v.0);
    let length = |value: T| -> u64 {
        let of = values.iter().enumerate().filter(|(_, v)| v.1 == value);
        of.map(|(i, v)| until(i).saturating_sub(v.0)).sum()
    };
    // The first of those that last alike.
    let best = values.iter().map(|v| length(v.1)).max()?;
    values.iter().copied().find(|v| length(v.1) == best)
}

/// Notes counted from the bar in which the first one lies, bars beginning at `start`.
fn from_bar_one<N>(
    mut notes: Vec<N>,
    start: Beats,
    meter: Meter,
    at: impl Fn(&mut N) -> &mut Beats,
) -> Vec<N> {
    let per_bar = f64::from(meter.beats().max(1));
    let first = notes.first_mut().map_or(0.0, |n| at(n).0);
    let bar = start.0 + ((first - start.0) / per_bar + 1e-6).floor() * per_bar;
    for note in &mut notes {
        at(note).0 -= bar;
    }
    notes
}

fn usable(meter: Option<Meter>) -> Meter {
    meter
        .filter(|m| (1..=15).contains(&m.count) && matches!(m.unit, 2 | 4 | 8 | 16))
        .unwrap_or(Meter::COMMON)
}

fn tempo(bpm: f64) -> Bpm {
    Bpm(bpm.clamp(20.0, 300.0))
}

/// What is being read of a MusicXML part; times in quarters.
struct Part {
    divisions: f64,
    now: f64,
    began: f64,
    transpose: i32,
    notes: Vec<Heard>,
}

/// What is being read of one note.
#[derive(Default)]
struct Being {
    step: Option<char>,
    alter: i32,
    octave: i32,
    duration: f64,
    chord: bool,
    grace: bool,
    tied: bool,
    voice: u32,
    string: Option<u8>,
}

fn musicxml(title: &str, bytes: &[u8]) -> Result<Written, String> {
    let mut reader = Reader::from_reader(text_start(bytes));
    let mut parts = Parts::new();
    let mut part: Option<Part> = None;
    let mut being = Being::default();
    let (mut path, mut text) = (Vec::<String>::new(), String::new());
    let (mut count, mut unit, mut fifths, mut bpm, mut named) = (None, None, None, None, None);
    let mut buffer = Vec::new();
    loop {
        let event = reader
            .read_event_into(&mut buffer)
            .map_err(|e| e.to_string())?;
        match event {
            Event::Eof => break,
            Event::Start(ref start) | Event::Empty(ref start) => {
                let name = start.name().as_ref().to_owned();
                match name.as_str() {
                    "part" => {
                        part = Some(Part {
                            divisions: 1.0,
                            now: 0.0,
                            began: 0.0,
                            transpose: 0,
                            notes: Vec::new(),
                        });
                    }
                    "note" => being = Being::default(),
                    "chord" => being.chord = true,
                    "grace" => being.grace = true,
                    "tie" => {
                        let stops = start
                            .attributes()
                            .flatten()
                            .any(|a| a.value.as_ref() == "stop");
                        being.tied |= stops;
                    }
                    "sound" => {
                        let given = start
                            .attributes()
                            .flatten()
                            .find(|a| a.key.as_ref() == "tempo")
                            .and_then(|a| a.value.parse::<f64>().ok());
                        bpm = bpm.or(given);
                    }
                    _ => {}
                }
                text.clear();
                if matches!(event, Event::Start(_)) {
                    path.push(name);
                }
            }
            Event::Text(ref said) => text.push_str(said.as_ref()),
            Event::End(_) => {
                let name = path.pop().unwrap_or_default();
                let within = path.last().map(String::as_str).unwrap_or_default();
                let number = text.trim().parse::<f64>().ok().filter(|n| n.is_finite());
                if name == "work-title" {
                    named = Some(text.trim().to_owned());
                }
                match (name.as_str(), number) {
                    ("beats", Some(n)) => count = count.or(Some(n as u8)),
                    ("beat-type", Some(n)) => unit = unit.or(Some(n as u8)),
                    ("fifths", Some(n)) => fifths = fifths.or(Some(n as i32)),
                    ("alter", Some(n)) if within == "pitch" => being.alter = semitones(n),
                    ("octave", Some(n)) if within == "pitch" => {
                        being.octave = n.clamp(-1.0, 12.0) as i32;
                    }
                    ("voice", Some(n)) if within == "note" => being.voice = n as u32,
                    ("string", Some(n)) if within == "technical" => being.string = Some(n as u8),
                    ("step", _) if within == "pitch" => being.step = text.trim().chars().next(),
                    _ => {}
                }
                if let Some(part) = &mut part {
                    part.end(&name, within, number, &mut being);
                }
                if name == "part"
                    && let Some(done) = part.take()
                {
                    parts.insert(parts.len(), done.notes);
                }
                text.clear();
            }
            _ => {}
        }
        buffer.clear();
    }
    if !path.is_empty() {
        return Err(format!("it breaks off inside <{}>", path[path.len() - 1]));
    }
    let meter = usable(count.zip(unit).map(|(count, unit)| Meter { count, unit }));
    Ok(Written {
        title: named
            .filter(|n| !n.is_empty())
            .unwrap_or_else(|| title.to_owned()),
        meter,
        tempo: tempo(bpm.unwrap_or(90.0) / quarters_a_beat(meter)),
        key: Key::new(fifths.unwrap_or(0)),
        start: Beats(0.0),
        counted: true,
        parts,
    })
}

/// Written semitones; a file may say more than any instrument has.
fn semitones(n: f64) -> i32 {
    n.clamp(-127.0, 127.0) as i32
}

impl Part {
    /// The end of an element inside the part.
    fn end(&mut self, name: &str, within: &str, number: Option<f64>, being: &mut Being) {
        match (name, number) {
            ("divisions", Some(n)) if n > 0.0 => self.divisions = n,
            ("chromatic", Some(n)) => self.transpose_by(n),
            ("octave-change", Some(n)) => self.transpose_by(12.0 * n),
            ("duration", Some(n)) => match within {
                "backup" => self.now = (self.now - n / self.divisions).max(0.0),
                "forward" => self.now += n / self.divisions,
                _ => being.duration = n / self.divisions,
            },
            ("note", _) => self.note(being),
            _ => {}
        }
    }

    fn transpose_by(&mut self, by: f64) {
        self.transpose = semitones(f64::from(self.transpose) + by);
    }

    fn note(&mut self, being: &Being) {
        if being.grace {
            return;
        }
        if !being.chord {
            self.began = self.now;
            self.now += being.duration;
        }
        let Some(semitones) = being.step.and_then(letter_semitones) else {
            return;
        };
        let midi = 12 * (being.octave + 1) + semitones + being.alter + self.transpose;
        let tied = self.notes.iter_mut().rev().find(|n| {
            let ends = n.note.at.0 + n.note.length.0;
            being.tied && n.note.midi == midi && (ends - self.began).abs() < 1e-6
        });
        match tied {
            Some(before) => before.note.length.0 += being.duration,
            None => self.notes.push(Heard {
                note: MelodyNote {
                    at: Beats(self.began),
                    length: Beats(being.duration),
                    midi,
                },
                voice: being.voice,
                string: being.string,
            }),
        }
    }
}
