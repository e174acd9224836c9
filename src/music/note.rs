//! A note as a guitarist thinks of it: when, by which hand's part, at which pitch and place.

use crate::unit::{Decibels, MidiNote, Seconds, Span};
use serde::{Deserialize, Serialize};

/// Which part of the hand plays a note, in the words of the music: the thumb plays the bass
/// (strings 6, 5, 4), the fingers the melody (strings 3, 2, 1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Thumb.
    Bass,
    /// Fingers.
    Melody,
}

/// How a note begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Attack {
    /// Plucked by thumb or finger.
    Pluck,
    /// Sounded by the fretting hand coming down on a ringing string.
    HammerOn,
    /// Sounded by the fretting hand leaving the string.
    PullOff,
    /// Reached by sliding.
    Slide,
    /// A natural harmonic.
    Harmonic,
    /// Plucked on a damped string: little or no pitch.
    Dead,
    /// A knock on the body or strings: no note.
    Tap,
}

/// One note found in a recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// Physical start: the first rise above 10 % of the attack's peak.
    pub time: Seconds,
    /// When it is damped or has died away; not before `time`.
    pub end: Seconds,
    /// Bass (thumb) or melody (fingers).
    pub role: Role,
    /// Probability of that role, 0.5 to 1.
    pub role_confidence: f32,
    /// Sounding pitch with fraction (cents), where it has one.
    pub pitch: Option<MidiNote>,
    /// Probable string, 1 = highest.
    pub string: Option<u8>,
    /// Fret above the capo on that string, 0 = open.
    pub fret: Option<u8>,
    /// How it begins.
    pub attack: Attack,
    /// Level of its attack against the recording's loudest one, 0 dB or less.
    pub strength: Decibels,
    /// Probability that it is a note at all, 0 to 1.
    pub confidence: f32,
}

impl Note {
    /// A note that a player adds by hand: surely there, a plucked one of unknown pitch, .2 s long.
    pub fn by_hand(time: Seconds, role: Role) -> Self {
        Self {
            time,
            end: time + Span(0.2),
            role,
            role_confidence: 1.0,
            pitch: None,
            string: None,
            fret: None,
            attack: Attack::Pluck,
            strength: Decibels(0.0),
            confidence: 1.0,
        }
    }
}

/// Those of `notes` (in order of time) that sound at `at`.
pub fn sounding(notes: &[Note], at: Seconds) -> impl Iterator<Item = &Note> {
    let begun = notes.partition_point(|n| n.time <= at);
    notes[..begun].iter().filter(move |n| n.end > at)
}
