//! Thumb or fingers.

use super::decide::Event;
use super::string;
use crate::music::note::{Attack, Note, Role};
use crate::music::tuning::Tuning;
use crate::unit::{Cents, Decibels, MidiNote, Seconds};

/// Longest a string is taken to ring, seconds.
const RING: f64 = 4.5;

/// Notes with role, string and fret.
pub fn notes(events: &[Event], tuning: &Tuning, offset: Cents) -> Vec<Note> {
    let loudest = events.iter().fold(1e-6f32, |m, e| m.max(e.strength));
    let mut notes: Vec<Note> = events
        .iter()
        .map(|event| {
            let place = string::nearest(tuning, event.midi);
            let low = place.map_or(event.midi < 52, |(string, _)| string >= 4);
            Note {
                time: event.time,
                end: event.time,
                role: if low { Role::Bass } else { Role::Melody },
                role_confidence: 0.8,
                pitch: Some(MidiNote(f64::from(event.midi)).detuned(offset)),
                string: place.map(|p| p.0),
                fret: place.map(|p| p.1 as u8),
                attack: Attack::Pluck,
                strength: Decibels(
                    Decibels::of_amplitude(f64::from(event.strength / loudest))
                        .0
                        .clamp(-90.0, 0.0),
                ),
                confidence: event.confidence,
            }
        })
        .collect();
    for i in 0..notes.len() {
        let next = notes[i + 1..]
            .iter()
            .find(|n| n.string == notes[i].string && n.time > notes[i].time)
            .map_or(f64::INFINITY, |n| n.time.0);
        notes[i].end = Seconds(next.min(notes[i].time.0 + RING));
    }
    notes
}
