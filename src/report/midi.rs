//! Notes → Standard MIDI File 1.0, format 1: tempo and meter, the thumb on channel 1, the fingers on
//! channel 2.
//!
//! A performance keeps its own timing: the tempo map follows the recording's beats, so that beat
//! lines fall where the player felt them. A score is written as it stands on the page, each note as long
//! as it is let ring.

use super::sign::SOFTWARE;
use crate::music::grid::Grid;
use crate::music::meter::Meter;
use crate::music::note::{Attack, Note, Role};
use crate::music::score::{Score, Written};
use crate::unit::{Beats, MidiNote, Seconds};
use midly::TrackEventKind;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent};
use std::io;

/// Ticks a quarter note: finer than 0.4 ms at 90 beats a minute.
const QUARTER: u16 = 960;

/// Steel-string guitar of General MIDI Level 1, counted from 0.
const STEEL_GUITAR: u8 = 25;

/// One note in ticks.
#[derive(Debug, Clone, Copy)]
struct TickNote {
    on: u64,
    off: u64,
    key: u8,
    velocity: u8,
    role: Role,
    /// Of a slide, the key that it comes from.
    slid: Option<u8>,
}

/// Everything a file holds.
struct Sheet<'a> {
    title: &'a str,
    /// (tick, microseconds a quarter).
    tempo: Vec<(u64, u32)>,
    /// (tick, numerator, denominator).
    meter: Vec<(u64, u8, u8)>,
    notes: Vec<TickNote>,
}

/// A score as it is written, at its own tempo. A pitch outside MIDI's 0 to 127 is left out.
///
/// # Errors
/// [`io::Error`] when the piece is longer than the format can hold.
pub fn score(score: &Score) -> io::Result<Vec<u8>> {
    let beat = ticks_a_beat(score.meter);
    let tick = |at: Beats| (at.0.max(0.0) * beat).round() as u64;
    let notes = score
        .notes
        .iter()
        .enumerate()
        .filter_map(|(i, n)| {
            let sounds = n.rings.map_or(n.length, |r| Beats(r.0.max(n.length.0)));
            Some(TickNote {
                on: tick(n.at),
                off: tick(n.at + sounds),
                key: key(score.pitch(n)?.nearest())?,
                velocity: velocity(score, n),
                role: n.role,
                slid: slid(n.attack, || {
                    let mut before = score.notes[..i].iter().rev();
                    score.pitch(before.find(|b| b.string == n.string)?)
                }),
            })
        })
        .collect();
    let quarters = beat / f64::from(QUARTER);
    bytes(&Sheet {
        title: &score.title,
        tempo: vec![(0, micros(score.tempo.beat().0 / quarters))],
        meter: vec![(0, score.meter.count, score.meter.unit)],
        notes,
    })
}

/// Notes as they were played, on the recording's own beats; without a pulse, at 120 quarters a
/// minute. Notes without pitch are left out.
///
/// # Errors
/// [`io::Error`] when the piece is longer than the format can hold.
pub fn performance(title: &str, notes: &[Note], grid: &Grid) -> io::Result<Vec<u8>> {
    let clock = Clock::new(grid);
    let written = notes
        .iter()
        .enumerate()
        .filter_map(|(i, n)| {
            let on = clock.tick(n.time);
            Some(TickNote {
                on,
                off: clock.tick(n.end).max(on + 1),
                key: key(n.pitch?.nearest())?,
                // 0 dB is 112; 3 steps a decibel down to 20.
                velocity: (112.0 + 3.0 * n.strength.0).clamp(20.0, 120.0) as u8,
                role: n.role,
                slid: slid(n.attack, || {
                    let mut before = notes[..i].iter().rev();
                    before
                        .find(|b| b.string.is_some() && b.string == n.string)?
                        .pitch
                }),
            })
        })
        .collect();
    bytes(&Sheet {
        title,
        tempo: clock.tempo,
        meter: clock.meter,
        notes: written,
    })
}

/// The key that a slide comes from, which `before` finds.
fn slid(attack: Attack, before: impl FnOnce() -> Option<MidiNote>) -> Option<u8> {
    let from = (attack == Attack::Slide).then(before)??;
    key(from.nearest())
}

/// 80, firmer on the bar's first beat and under an accent; what the left hand sounds alone is softer.
fn velocity(score: &Score, note: &Written) -> u8 {
    let first = note.at.0.rem_euclid(f64::from(score.meter.beats().max(1))) < 1e-6;
    let mut velocity = if first { 92 } else { 80 };
    if note.touch.accent {
        velocity += 18;
    }
    match note.attack {
        Attack::HammerOn | Attack::PullOff | Attack::Slide => velocity - 14,
        Attack::Dead => velocity - 30,
        _ => velocity,
    }
}

fn ticks_a_beat(meter: Meter) -> f64 {
    let unit = f64::from(QUARTER) * 4.0 / f64::from(meter.unit.max(1));
    if meter.is_compound() {
        3.0 * unit
    } else {
        unit
    }
}

fn key(midi: i32) -> Option<u8> {
    u8::try_from(midi).ok().filter(|k| *k < 128)
}

/// Microseconds, kept inside the 24 bits that the format has.
fn micros(seconds: f64) -> u32 {
    (seconds * 1e6)
        .round()
        .clamp(1.0, f64::from((1u32 << 24) - 1)) as u32
}

/// Seconds to ticks along a recording's beats.
struct Clock<'a> {
    grid: &'a Grid,
    beat: f64,
    /// Time and tick of the first beat.
    first: (f64, f64),
    tempo: Vec<(u64, u32)>,
    meter: Vec<(u64, u8, u8)>,
}

impl<'a> Clock<'a> {
    fn new(grid: &'a Grid) -> Self {
        let beat = ticks_a_beat(grid.meter);
        let quarters = beat / f64::from(QUARTER);
        let mut clock = Self {
            grid,
            beat,
            first: (0.0, 0.0),
            tempo: vec![(0, 500_000)],
            meter: vec![(0, grid.meter.count, grid.meter.unit)],
        };
        let beats = grid.beats();
        if grid.is_empty() {
            return clock;
        }
        clock.tempo.clear();
        clock.meter.clear();
        // The silence before the first beat becomes whole beats at about the first beat's tempo.
        let start = beats[0].time.0.max(0.0);
        let length = (beats[1].time - beats[0].time).0;
        let lead = (start / length).ceil().clamp(0.0, 1e5);
        clock.first = (start, lead * beat);
        if lead > 0.0 {
            clock.tempo.push((0, micros(start / lead / quarters)));
        }
        // Each tempo makes up for the last one's rounding.
        let mut now = clock.lead_in_seconds(lead, quarters);
        for (i, pair) in beats.windows(2).enumerate() {
            let tempo = micros((pair[1].time.0 - now) / quarters);
            now += f64::from(tempo) * 1e-6 * quarters;
            clock
                .tempo
                .push(((clock.first.1 + i as f64 * beat) as u64, tempo));
        }
        clock.bars(lead as u64);
        clock
    }

    fn lead_in_seconds(&self, lead: f64, quarters: f64) -> f64 {
        let tempo = self.tempo.first().map_or(0.0, |t| f64::from(t.1));
        lead * quarters * tempo * 1e-6
    }

    /// A first bar of the beats before the first downbeat, then the meter.
    fn bars(&mut self, lead: u64) {
        let Meter { count, unit } = self.grid.meter;
        let beats = self.grid.beats();
        let pick_up = beats.iter().position(|b| b.place == 1).unwrap_or(0) as u64;
        let per_bar = u64::from(self.grid.meter.beats().max(1));
        let before = lead + pick_up;
        let odd = before % per_bar;
        if odd > 0 {
            let units = odd as u8 * (count / self.grid.meter.beats().max(1)).max(1);
            self.meter.push((0, units, unit));
        }
        self.meter
            .push(((odd as f64 * self.beat) as u64, count, unit));
    }

    fn tick(&self, time: Seconds) -> u64 {
        let tick = if time.0 < self.first.0 {
            self.first.1 * time.0.max(0.0) / self.first.0
        } else {
            match self.grid.beat_at(time) {
                Some(at) => self.first.1 + at.0.max(0.0) * self.beat,
                None => 2.0 * f64::from(QUARTER) * time.0.max(0.0),
            }
        };
        tick.round() as u64
    }
}

fn bytes(sheet: &Sheet<'_>) -> io::Result<Vec<u8>> {
    let mut tracks = vec![conductor(sheet)?];
    for (role, name, channel) in [(Role::Bass, "Thumb", 0), (Role::Melody, "Fingers", 1)] {
        let notes = sheet.notes.iter().filter(|n| n.role == role).copied();
        tracks.push(part(name, channel, notes.collect())?);
    }
    let smf = Smf {
        header: Header::new(Format::Parallel, Timing::Metrical(u15::new(QUARTER))),
        tracks,
    };
    let mut out = Vec::new();
    smf.write_std(&mut out)?;
    Ok(out)
}

fn conductor<'a>(sheet: &Sheet<'a>) -> io::Result<Track<'a>> {
    let mut events = vec![(
        0,
        0,
        TrackEventKind::Meta(MetaMessage::TrackName(sheet.title.as_bytes())),
    )];
    let by = MetaMessage::Text(SOFTWARE.as_bytes());
    events.push((0, 0, TrackEventKind::Meta(by)));
    for (tick, count, unit) in &sheet.meter {
        let power = unit.trailing_zeros() as u8;
        let message = MetaMessage::TimeSignature(*count, power, 24, 8);
        events.push((*tick, 1, TrackEventKind::Meta(message)));
    }
    for (tick, tempo) in &sheet.tempo {
        let message = MetaMessage::Tempo(u24::new(*tempo));
        events.push((*tick, 2, TrackEventKind::Meta(message)));
    }
    track(events)
}

fn part(name: &'static str, channel: u8, mut notes: Vec<TickNote>) -> io::Result<Track<'static>> {
    notes.sort_by_key(|n| (n.on, n.key));
    // A key that sounds again ends first; the same key twice at once is one note.
    let mut ends: [Option<usize>; 128] = [None; 128];
    let mut kept: Vec<TickNote> = Vec::with_capacity(notes.len());
    for note in notes {
        let slot = &mut ends[usize::from(note.key)];
        if let Some(last) = *slot {
            if kept[last].on == note.on {
                kept[last].off = kept[last].off.max(note.off);
                continue;
            }
            kept[last].off = kept[last].off.min(note.on);
        }
        *slot = Some(kept.len());
        kept.push(note);
    }
    let channel = u4::new(channel);
    let midi = |message| TrackEventKind::Midi { channel, message };
    let mut events = vec![
        (
            0,
            0,
            TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes())),
        ),
        (
            0,
            1,
            midi(MidiMessage::ProgramChange {
                program: u7::new(STEEL_GUITAR),
            }),
        ),
    ];
    for note in kept {
        if let Some(from) = note.slid {
            // Portamento control (MIDI 1.0, controller 84): the next note glides from this key.
            let (controller, value) = (u7::new(84), u7::new(from));
            let glide = MidiMessage::Controller { controller, value };
            events.push((note.on, 3, midi(glide)));
        }
        let key = u7::new(note.key);
        let vel = u7::new(note.velocity);
        events.push((note.on, 3, midi(MidiMessage::NoteOn { key, vel })));
        let off = MidiMessage::NoteOff {
            key,
            vel: u7::new(64),
        };
        events.push((note.off.max(note.on + 1), 2, midi(off)));
    }
    track(events)
}

/// Events at (tick, order within the tick) as deltas.
fn track(mut events: Vec<(u64, u8, TrackEventKind<'_>)>) -> io::Result<Track<'_>> {
    events.sort_by_key(|(tick, order, _)| (*tick, *order));
    let mut track = Track::new();
    let mut now = 0;
    for (tick, _, kind) in events {
        let delta = u32::try_from(tick - now)
            .ok()
            .and_then(u28::try_from)
            .ok_or_else(|| {
                io::Error::new(
                    io::ErrorKind::InvalidInput,
                    "it is longer than a MIDI file can be",
                )
            })?;
        now = tick;
        track.push(TrackEvent { delta, kind });
    }
    track.push(TrackEvent {
        delta: u28::new(0),
        kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
    });
    Ok(track)
}
