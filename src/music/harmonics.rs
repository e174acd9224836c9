//! Harmonics: where the nodes of a string lie, what sounds there, and how it is touched and plucked.
//!
//! A finger on the node at k/n of a string lets partial n sound, n times the open frequency; the
//! node lies at fret 12·log₂(n/(n−k)) (equal-tempered frets on an ideal string).

use super::pitch::Key;
use super::scale::{Scale, ScaleKind};
use super::tuning::Tuning;
use crate::unit::{Cents, MidiNote};

/// Highest partial that is listed: weaker ones hardly sound on a guitar.
pub const HIGHEST: u8 = 7;

/// One node of one string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// String, 1 = highest.
    pub string: u8,
    /// Partial that sounds, 2 to [`HIGHEST`].
    pub number: u8,
    /// Where it is touched, in frets above nut or capo, with fraction.
    pub fret: f64,
    /// Sounding pitch.
    pub pitch: MidiNote,
    /// Distance of that pitch from the equal-tempered note nearest to it (of a string in tune).
    pub cents: Cents,
}

impl Node {
    /// Distance from nut (or capo) to the node on a string of sounding length `mm`.
    pub fn distance_mm(&self, mm: f64) -> f64 {
        fret_distance_mm(mm, self.fret)
    }
}

/// Distance of `fret` (with fraction) from nut or capo: L·(1 − 2^(−n/12)).
pub fn fret_distance_mm(length_mm: f64, fret: f64) -> f64 {
    length_mm * (1.0 - (-fret / 12.0).exp2())
}

/// Fret positions where partial `number` can be touched and no lower one sounds, nut side first.
pub fn node_frets(number: u8) -> Vec<f64> {
    (1..number)
        .filter(|k| gcd(*k, number) == 1)
        .map(|k| 12.0 * (f64::from(number) / f64::from(number - k)).log2())
        .collect()
}

/// The partial that sounds when a string is touched over `fret`: the lowest with a node within a
/// fifth of a fret; none where there is no clear node up to [`HIGHEST`].
pub fn number_at(fret: u8) -> Option<u8> {
    (2..=HIGHEST).find(|n| {
        node_frets(*n)
            .iter()
            .any(|node| (node - f64::from(fret)).abs() < 0.2)
    })
}

/// Sounding length of strings behind a capo, in mm, of a guitar of scale length `scale_mm`.
pub fn sounding_length_mm(scale_mm: f64, capo: i32) -> f64 {
    scale_mm - fret_distance_mm(scale_mm, f64::from(capo.max(0)))
}

/// Where to pluck partial `number` of a string of sounding length `length_mm`, in mm from the saddle:
/// the belly of its wave that lies nearest to the saddle, where the string swings widest.
pub fn pluck_mm(number: u8, length_mm: f64) -> f64 {
    length_mm / (2.0 * f64::from(number.max(1)))
}

/// How a natural harmonic is played, as a teacher says it.
pub const TOUCH: &str =
    "Touch the string over the wire, do not press; pluck, and lift the finger at once.";

/// How an artificial one is.
pub const WITH_ONE_HAND: &str = "Stop the note with the left hand. Touch the string twelve frets higher \
with the right index finger, and pluck behind it with the thumb or the ring finger.";

/// An artificial harmonic: a stopped note sounded an octave higher by the right hand alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Artificial {
    /// String, 1 = highest.
    pub string: u8,
    /// Fret that the left hand stops, 0 for an open string.
    pub stopped: i32,
    /// Fret over which the right index finger touches.
    pub touched: i32,
    /// Sounding pitch.
    pub pitch: MidiNote,
}

/// The artificial harmonics of the stopped notes `frets` (string 1 first, none not played): each an
/// octave above its note. Those that would be touched beyond fret 24 are left out.
pub fn artificial(tuning: &Tuning, frets: &[Option<i32>]) -> Vec<Artificial> {
    frets
        .iter()
        .enumerate()
        .rev()
        .filter_map(|(i, fret)| {
            let (string, stopped) = (i as u8 + 1, (*fret)?);
            let pitch = MidiNote(tuning.sounding(string, stopped)?.0 + 12.0);
            (stopped + 12 <= 24).then_some(Artificial {
                string,
                stopped,
                touched: stopped + 12,
                pitch,
            })
        })
        .collect()
}

/// Every node of every string up to partial `highest`, string 1 first, each string from the 12th
/// fret's octave to the higher partials.
pub fn nodes(tuning: &Tuning, highest: u8) -> Vec<Node> {
    let mut found = Vec::new();
    for string in 1..=tuning.strings() {
        let Some(open) = tuning.sounding(string, 0) else {
            continue;
        };
        for number in 2..=highest.clamp(2, HIGHEST) {
            let above = 12.0 * f64::from(number).log2();
            for fret in node_frets(number) {
                found.push(Node {
                    string,
                    number,
                    fret,
                    pitch: MidiNote(open.0 + above),
                    cents: Cents(100.0 * (above - above.round())),
                });
            }
        }
    }
    found
}

/// A scale in harmonics: what sounds and what is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct InHarmonics {
    /// The scale.
    pub scale: Scale,
    /// Pitch classes of it that no harmonic sounds: each needs at least one stopped place.
    pub missing: Vec<i32>,
}

/// Harmonics further than this from equal temperament clash with stopped strings: it lets the
/// fifth partial pass (−13.7 cents) but not the seventh (−31.2).
const IN_TUNE: f64 = 15.0;

/// How much of every scale of `kinds` on every tonic sounds in `nodes` alone, fewest missing first,
/// then larger scales first.
pub fn scales(nodes: &[Node], kinds: &[ScaleKind]) -> Vec<InHarmonics> {
    let sounding: Vec<i32> = nodes
        .iter()
        .filter(|n| n.cents.0.abs() <= IN_TUNE)
        .map(|n| n.pitch.nearest().rem_euclid(12))
        .collect();
    let mut found = Vec::new();
    for kind in kinds {
        for tonic in 0..12 {
            // Spelled with few accidentals.
            let name = Key::new(0).class_name(tonic);
            let Some(scale) = Scale::on(&name, kind) else {
                continue;
            };
            let missing = scale
                .classes()
                .into_iter()
                .filter(|class| !sounding.contains(class))
                .collect();
            found.push(InHarmonics { scale, missing });
        }
    }
    found.sort_by_key(|s| (s.missing.len(), std::cmp::Reverse(s.scale.steps.len())));
    found
}

fn gcd(a: u8, b: u8) -> u8 {
    if b == 0 { a } else { gcd(b, a % b) }
}
