//! What the ringing of notes says of their strings.
//!
//! A string sounds one note at a time: a note that rings through another's onset lies on another
//! string; one that ends there was probably stopped by it, on the same string. Owns which pairs of
//! notes say so; what it is worth is their users' business (`guess`, and the analysis's strings).

use crate::unit::Seconds;

/// Notes nearer than this are played together, seconds.
const TOGETHER: f64 = 0.09;
/// A note is asked for at the onsets of this long, seconds.
const LONGEST: f64 = 1.5;
/// Pitches further apart than this hardly lie on one string, semitones.
const WIDEST: i32 = 9;
/// A note that ends this much before to this much after an onset ends at it, seconds.
const AT: (f64, f64) = (0.03, 0.05);

/// A note as far as its ringing goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// When it begins.
    pub time: Seconds,
    /// Until when it is known to ring.
    pub rang: Seconds,
    /// When it ends; far away where that is not known.
    pub end: Seconds,
    /// Whole semitone, MIDI number.
    pub midi: i32,
}

/// What the first of two notes does when the second begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pair {
    /// Index of the first.
    pub first: usize,
    /// Index of the second.
    pub second: usize,
    /// The first ends there; otherwise it rings on.
    pub stops: bool,
}

/// All pairs of `notes` (in order of time) that say something, in the order of their second notes.
/// Of notes that begin together none is said to stop another, and what stops there is stopped by the
/// one that is nearest in pitch.
pub fn pairs(notes: &[Rung]) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for (second, now) in notes.iter().enumerate() {
        let together = |other: &Rung| (other.time - now.time).0.abs() < TOGETHER;
        let from = notes[..second].partition_point(|n| (now.time - n.time).0 >= TOGETHER);
        let beside: Vec<i32> = notes[from..]
            .iter()
            .take_while(|n| together(n))
            .map(|n| n.midi)
            .collect();
        let mut later = vec![now.midi];
        for (first, note) in notes[..second].iter().enumerate().rev() {
            if (now.time - note.time).0 > LONGEST {
                break;
            }
            if together(note) || later.contains(&note.midi) {
                continue;
            }
            later.push(note.midi);
            let after = (note.end - now.time).0;
            let apart = |midi: i32| (note.midi - midi).abs();
            let nearest = beside.iter().all(|midi| apart(now.midi) <= apart(*midi));
            let stops = after > -AT.0 && after <= AT.1;
            let rings = after > AT.1 && (note.rang - now.time).0 > -AT.0;
            if apart(now.midi) <= WIDEST && (stops && nearest || rings) {
                pairs.push(Pair {
                    first,
                    second,
                    stops,
                });
            }
        }
    }
    pairs
}
