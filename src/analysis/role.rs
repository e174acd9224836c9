//! Thumb or fingers, string and fret, of every note.
//!
//! Where a hand picks two voices, how it plays says whose a note is (`hand`), the string being part of
//! the evidence. In a single line, in strums and grips there is no voice to tell the hand by, and only the
//! string says (`string_assignment`). Owns that choice, what becomes of the rest of a note once its place is
//! known, and how a player's correction changes the others.

use super::hand::{self, Struck};
use super::note_event::NoteEvent;
use super::string_assignment::{self, Pitch, StringChoice};
use crate::music::grid::Grid;
use crate::music::note::{Attack, Note, Role};
use crate::music::tuning::Tuning;
use crate::unit::{Cents, Decibels, MidiNote, Seconds};

/// Longest a string is taken to ring, seconds.
const RING: f64 = 4.5;
/// Most that a place on the neck says for a hand (the unit is the string search's).
const LEAN: f64 = 2.0;

/// Notes with role, string and fret.
pub fn notes(events: &[NoteEvent], tuning: &Tuning, offset: Cents) -> Vec<Note> {
    let loudest = events.iter().fold(1e-6f32, |m, e| m.max(e.strength));
    let mut notes: Vec<Note> = events
        .iter()
        .map(|event| Note {
            time: event.time,
            end: event.time,
            role: Role::Melody,
            role_confidence: 0.5,
            pitch: Some(MidiNote(f64::from(event.midi)).detuned(offset)),
            string: None,
            fret: None,
            attack: Attack::Pluck,
            strength: Decibels(
                Decibels::of_amplitude(f64::from(event.strength / loudest))
                    .0
                    .clamp(-90.0, 0.0),
            ),
            confidence: event.confidence,
        })
        .collect();
    assign(&mut notes, tuning, offset, &Grid::default(), &[]);
    notes
}

/// Gives every note its role, string, fret and end, keeping to the roles in `fixed` (index of a
/// note and what the player says it is). `grid` tells the hand's pattern; it may be empty.
pub fn assign(
    notes: &mut [Note],
    tuning: &Tuning,
    offset: Cents,
    grid: &Grid,
    fixed: &[(usize, Role)],
) {
    let said = |i: usize| fixed.iter().rev().find(|(k, _)| *k == i).map(|(_, r)| *r);
    let (index, pitches): (Vec<usize>, Vec<Pitch>) = notes
        .iter()
        .enumerate()
        .filter_map(|(i, note)| {
            let pitch = note.pitch?.detuned(Cents(-offset.0));
            Some((
                i,
                Pitch {
                    time: note.time,
                    midi: pitch.nearest(),
                    role: said(i),
                },
            ))
        })
        .unzip();
    let places = string_assignment::places(&pitches, tuning);
    let struck: Vec<Struck> = pitches
        .iter()
        .zip(&places)
        .map(|(p, place)| Struck {
            time: p.time,
            midi: p.midi,
            lean: place.map_or(0.0, |p| f64::from(p.melody).clamp(-LEAN, LEAN)),
            said: p.role,
        })
        .collect();
    let hands = if string_assignment::is_line(&pitches, tuning) {
        Vec::new()
    } else {
        hand::fingers(&struck, grid)
    };
    for (k, ((i, pitch), place)) in index.into_iter().zip(&pitches).zip(places).enumerate() {
        let note = &mut notes[i];
        note.string = place.map(|p| p.string);
        note.fret = place.map(|p| p.fret as u8);
        let hand = hands.get(k).filter(|_| !hand::gripped(&struck, k));
        (note.role, note.role_confidence) = match (pitch.role, hand) {
            (Some(role), _) => (role, 1.0),
            (None, Some(fingers)) => by_hand(*fingers),
            (None, None) => by_string(pitch, place, tuning),
        };
    }
    ring(notes);
}

/// The likelier of two hands, and how likely it is.
fn by_hand(fingers: f64) -> (Role, f32) {
    let role = if fingers > 0.5 {
        Role::Melody
    } else {
        Role::Bass
    };
    (role, fingers.max(1.0 - fingers).clamp(0.5, 0.99) as f32)
}

/// The hand that custom gives a string.
fn by_string(pitch: &Pitch, place: Option<StringChoice>, tuning: &Tuning) -> (Role, f32) {
    let Some(place) = place else {
        let middle = tuning.open(4).unwrap_or(50) + 3;
        let role = if pitch.midi < middle {
            Role::Bass
        } else {
            Role::Melody
        };
        return (role, 0.6);
    };
    let bass = string_assignment::is_bass(place.string);
    let lean = if bass { -place.melody } else { place.melody };
    let confidence = 1.0 / (1.0 + (-0.5 - lean.max(0.0)).exp());
    let role = if bass { Role::Bass } else { Role::Melody };
    (role, confidence.clamp(0.5, 0.99))
}

/// A note rings until its string sounds again.
fn ring(notes: &mut [Note]) {
    for i in 0..notes.len() {
        let next = notes[i + 1..]
            .iter()
            .find(|n| n.string.is_some() && n.string == notes[i].string && n.time > notes[i].time)
            .map_or(f64::INFINITY, |n| n.time.0);
        notes[i].end = Seconds(next.min(notes[i].time.0 + RING));
    }
}
