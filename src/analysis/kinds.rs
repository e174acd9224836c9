//! How a note begins, how long it rings, and what is no note at all.
//!
//! The network's opinion of how a sound was made, held against the string it lies on: a hammer-on
//! needs a lower note on the same string, a pull-off a higher one.

use super::features::Features;
use super::note_event::NoteEvent;
use super::pitch::LOWEST;
use crate::music::note::{Attack, Note, Role};
use crate::music::tuning::Tuning;
use crate::unit::{Decibels, Seconds};

/// From these probabilities on the network is believed: chosen on 15 rendered pieces (seed 4117 of a
/// scorer) so that most of those named are right: there 40 of 56 are named, four of them wrongly.
const LEGATO: f32 = 0.5;
const SLID: f32 = 0.3;
const DAMPED: f32 = 0.1;
/// A harmonic alone is believed from the first on; beside another at one of the other open strings' nodes,
/// itself from the third on, within that many seconds, from the second on: harmonics come in company. Chosen
/// on rendered pieces of seeds 11, 12, 13 and 4117 (10 of 13 named, none wrongly in 5,600 notes); of seeds 21,
/// 7301 and 8802 7 of 10 are, and two plucks.
const HARMONIC: f32 = 0.01;
const IN_COMPANY: f32 = 0.001;
const COMPANY: f32 = 0.003;
const COMPANY_WITHIN: f64 = 4.0;
/// Semitones of the harmonics above the open string that a finger touches well: at the twelfth, the
/// seventh and the fifth fret.
const NODES: [i32; 3] = [12, 19, 24];
/// Longest time between a note and a hammer-on or pull-off from it, seconds.
const TIED: f64 = 1.5;
/// Most frets that a hammer-on, pull-off or slide spans.
const SPAN: i32 = 5;
/// A pitch that the network gives less than this is heard no more.
const SOUNDS: f32 = 0.3;
/// A knock has at least this probability, and its rise at least this, dB.
const KNOCK: f32 = 0.7;
const KNOCK_RISE: f32 = 8.0;

/// Gives every note of `notes`, made from `events` in the same order on the strings of `tuning`, its
/// attack, and an end where it is heard no more before its string sounds again.
pub fn describe(notes: &mut [Note], events: &[NoteEvent], heard: &[Features], tuning: &Tuning) {
    for i in 0..notes.len().min(events.len()) {
        notes[i].attack = attack(notes, events, tuning, i);
        let end = faded(&events[i], heard);
        if end.0 < notes[i].end.0 {
            notes[i].end = end;
        }
    }
}

fn attack(notes: &[Note], events: &[NoteEvent], tuning: &Tuning, i: usize) -> Attack {
    let made = &events[i].made;
    let (note, midi) = (&notes[i], events[i].midi);
    let before = notes[..i].iter().zip(events).rev().find(|(other, _)| {
        other.string.is_some() && other.string == note.string && other.time < note.time
    });
    let from = before
        .filter(|(other, _)| (note.time - other.time).0 < TIED)
        .map(|(_, event)| midi - event.midi)
        .filter(|step| step.abs() <= SPAN);
    match from {
        Some(step) if made.legato > LEGATO && step > 0 => Attack::HammerOn,
        Some(step) if made.legato > LEGATO && step < 0 => Attack::PullOff,
        _ if made.slide > SLID => Attack::Slide,
        _ if harmonic(events, tuning, i) => Attack::Harmonic,
        _ if made.dead > DAMPED => Attack::Dead,
        _ => Attack::Pluck,
    }
}

/// Is note `i` a natural harmonic?
fn harmonic(events: &[NoteEvent], tuning: &Tuning, i: usize) -> bool {
    let own = &events[i];
    let at_node = |event: &NoteEvent| {
        let mut opened = (1..=tuning.strings()).filter_map(|s| tuning.open(s));
        opened.any(|open| NODES.contains(&(event.midi - open)))
    };
    if own.made.harmonic < IN_COMPANY || !at_node(own) {
        return false;
    }
    let company = |event: &&NoteEvent| {
        event.made.harmonic > COMPANY && event.midi != own.midi && at_node(event)
    };
    let from = events.partition_point(|e| (own.time - e.time).0 >= COMPANY_WITHIN);
    let mut near = events[from..]
        .iter()
        .take_while(|e| (e.time - own.time).0 < COMPANY_WITHIN);
    own.made.harmonic > HARMONIC || near.any(|e| company(&e))
}

/// The first of two successive instants at which the network no longer hears the note's pitch.
fn faded(event: &NoteEvent, heard: &[Features]) -> Seconds {
    let pitch = (event.midi - LOWEST).max(0) as usize;
    let mut quiet: Option<f64> = None;
    for h in heard[event.heard..].iter().skip(1) {
        let time = h.candidate.time;
        if time - event.time.0 > 5.0 {
            break;
        }
        // Where an onset was ruled out at once the network did not listen for pitches.
        if h.reading.onset < 0.05 || time - event.time.0 < 0.06 {
            continue;
        }
        let gone = h.reading.sounding.get(pitch).is_some_and(|p| *p < SOUNDS);
        match (gone, quiet) {
            (true, Some(at)) => return Seconds(at),
            (true, None) => quiet = Some(time),
            (false, _) => quiet = None,
        }
    }
    Seconds(f64::INFINITY)
}

/// Knocks on wood or strings and foot taps: clear rises that the network calls so and at which no
/// note begins.
pub fn knocks(heard: &[Features], events: &[NoteEvent]) -> Vec<Note> {
    let mut found: Vec<Note> = Vec::new();
    for h in heard {
        let time = Seconds(h.candidate.time);
        let note = events.partition_point(|e| e.time.0 < time.0 - 0.03);
        let beside = events.get(note).is_some_and(|e| e.time.0 < time.0 + 0.03);
        let again = found.last().is_some_and(|last| (time - last.time).0 < 0.06);
        let clear = h.reading.kinds.tap > KNOCK && h.candidate.rise > KNOCK_RISE;
        if beside || again || !clear || h.reading.onset > 0.3 {
            continue;
        }
        found.push(Note {
            time,
            end: time,
            role: Role::Bass,
            role_confidence: 0.5,
            pitch: None,
            string: None,
            fret: None,
            attack: Attack::Tap,
            strength: Decibels(
                Decibels::of_amplitude(f64::from(h.peak.clamp(1e-5, 1.0)))
                    .0
                    .min(0.0),
            ),
            confidence: h.reading.kinds.tap,
        });
    }
    found
}
