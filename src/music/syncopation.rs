//! Syncopation by two published measures, per bar and attributed to notes.
//!
//! Main: the note-to-missed-beat measure of Longuet-Higgins & Lee 1984 (Music Perception 1:424–441)
//! in variant A: each note is set against the heaviest silent pulse before the next onset.
//! Second: the weighted note-to-beat distance (WNBD) of Gómez, Melvin, Rappaport & Toussaint 2005
//! (BRIDGES). Both take onsets on a grid of pulses; neither knows loudness or pitch.

use super::meter::Meter;

/// A note that syncopates and the stronger pulse it leaves silent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Syncope {
    /// Pulse of the note.
    pub note: usize,
    /// The heaviest silent pulse before the next onset.
    pub missed: usize,
    /// Weight of that pulse over the note's, above 0.
    pub strength: i32,
}

/// Metrical weights of one bar's pulses, each beat divided by `division`: 0 on the downbeat, one
/// less for every level of division below it (Longuet-Higgins & Lee 1984). Bars of 4 divide in two
/// and two, of 6 in two and three and so on; a prime number of beats are all alike.
pub fn weights(meter: Meter, division: u8) -> Vec<i32> {
    let beats = usize::from(meter.beats().max(1));
    let mut levels = factors(beats);
    levels.extend(factors(usize::from(division.max(1))));
    let pulses = beats * usize::from(division.max(1));
    let mut weights = vec![0; pulses];
    for (pulse, weight) in weights.iter_mut().enumerate().skip(1) {
        let mut spacing = pulses;
        for level in &levels {
            if pulse % spacing == 0 {
                break;
            }
            spacing /= level;
            *weight -= 1;
        }
    }
    weights
}

/// Prime factors, smallest first; none of 1.
fn factors(mut n: usize) -> Vec<usize> {
    let mut found = Vec::new();
    let mut p = 2;
    while n > 1 {
        if n.is_multiple_of(p) {
            found.push(p);
            n /= p;
        } else {
            p += 1;
        }
    }
    found
}

/// Longuet-Higgins & Lee, variant A, over `onsets` (pulses, rising, each below `pulses`), with
/// `weights` repeated to the end. With `wrap` the line is a cycle; without, the last note is set
/// against the silence up to the end.
pub fn note_to_missed_beat(
    onsets: &[usize],
    weights: &[i32],
    pulses: usize,
    wrap: bool,
) -> Vec<Syncope> {
    if weights.is_empty() || pulses == 0 {
        return Vec::new();
    }
    let weight = |pulse: usize| weights[pulse % pulses % weights.len()];
    let mut found = Vec::new();
    for (i, &note) in onsets.iter().enumerate() {
        let next = match onsets.get(i + 1) {
            Some(next) => *next,
            None if wrap => onsets[0] + pulses,
            None => pulses,
        };
        // Of equally heavy silent pulses the first is the one missed.
        let mut missed: Option<usize> = None;
        for pulse in note + 1..next {
            if missed.is_none_or(|m| weight(pulse) > weight(m)) {
                missed = Some(pulse);
            }
        }
        if let Some(missed) = missed {
            let strength = weight(missed) - weight(note);
            if strength > 0 {
                found.push(Syncope {
                    note,
                    missed,
                    strength,
                });
            }
        }
    }
    found
}

/// What a note off the beat does to the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// It belongs to the beat after it, which is silent: played early.
    Pushed {
        /// Pulse of that beat; the line's end when it lies beyond.
        to: usize,
    },
    /// It belongs to the beat before it, which is silent: played late.
    Delayed {
        /// Pulse of that beat.
        from: usize,
    },
    /// Both beats are played: it passes between them and syncopates nothing.
    Passing,
}

/// What each note of `onsets` (pulses, rising) off the beat does, as (pulse, sense); `beat` pulses make
/// a beat. A beat that the line leaves silent until the next note is pushed to; else a silent beat
/// before is delayed from. With `wrap` (a length in pulses) the line comes round. One rule for what is
/// found in a recording and what is practised.
pub fn senses(onsets: &[usize], beat: usize, wrap: Option<usize>) -> Vec<(usize, Sense)> {
    let beat = beat.max(1);
    let played = |pulse: usize| match wrap {
        Some(length) if length > 0 => onsets.contains(&(pulse % length)),
        _ => onsets.contains(&pulse),
    };
    onsets
        .iter()
        .filter(|note| *note % beat != 0)
        .map(|note| {
            let before = note - note % beat;
            let after = before + beat;
            let between = (note + 1..after).any(played);
            let sense = if !played(after) && !between {
                Sense::Pushed { to: after }
            } else if !played(before) {
                Sense::Delayed { from: before }
            } else {
                Sense::Passing
            };
            (*note, sense)
        })
        .collect()
}

/// Weighted note-to-beat distance of a cycle of `pulses` with a beat every `beat` pulses: the
/// mean over all notes; 0 without notes.
pub fn note_to_beat_distance(onsets: &[usize], pulses: usize, beat: usize) -> f64 {
    if onsets.is_empty() || beat == 0 || pulses == 0 {
        return 0.0;
    }
    let total: f64 = onsets
        .iter()
        .enumerate()
        .map(|(i, &note)| {
            let next = onsets.get(i + 1).map_or(onsets[0] + pulses, |n| *n);
            weighted_distance(note, next, beat)
        })
        .sum();
    total / onsets.len() as f64
}

/// What one note, ending at the `next`, adds to the distance.
fn weighted_distance(note: usize, next: usize, beat: usize) -> f64 {
    let off = note % beat;
    if off == 0 {
        return 0.0;
    }
    let distance = off.min(beat - off) as f64 / beat as f64;
    let following = note - off + beat;
    // A note that rings over the next beat, but not up to the one after, counts double.
    let over = next > following && next < following + beat;
    if over { 2.0 / distance } else { 1.0 / distance }
}

/// One bar of a line.
#[derive(Debug, Clone, PartialEq)]
pub struct BarSyncopation {
    /// Index of the bar from the line's first.
    pub bar: usize,
    /// Note-to-missed-beat measure: the sum of its syncopes' strengths.
    pub missed_beat: i32,
    /// Weighted note-to-beat distance of its notes.
    pub beat_distance: f64,
    /// What makes it; pulses count from the line's start.
    pub syncopes: Vec<Syncope>,
}

/// Both measures for a line of `onsets` (pulses from the first bar's start, any order), bar by bar:
/// a syncope counts in the bar where its note sounds, and looks over the barline for the next
/// onset.
pub fn line(onsets: &[usize], meter: Meter, division: u8) -> Vec<BarSyncopation> {
    let mut onsets = onsets.to_vec();
    onsets.sort_unstable();
    onsets.dedup();
    let weights = weights(meter, division);
    let Some(last) = onsets.last() else {
        return Vec::new();
    };
    let bars = last / weights.len() + 1;
    let pulses = bars * weights.len();
    let syncopes = note_to_missed_beat(&onsets, &weights, pulses, false);
    let beat = usize::from(division.max(1));
    (0..bars)
        .map(|bar| {
            let within = bar * weights.len()..(bar + 1) * weights.len();
            let inside: Vec<Syncope> = syncopes
                .iter()
                .filter(|s| within.contains(&s.note))
                .copied()
                .collect();
            BarSyncopation {
                bar,
                missed_beat: inside.iter().map(|s| s.strength).sum(),
                beat_distance: bar_distance(&onsets, &within, pulses, beat),
                syncopes: inside,
            }
        })
        .collect()
}

/// Mean weighted distance of the notes in one bar, each ending at the line's next onset.
fn bar_distance(
    onsets: &[usize],
    within: &std::ops::Range<usize>,
    pulses: usize,
    beat: usize,
) -> f64 {
    let from = onsets.partition_point(|o| *o < within.start);
    let to = onsets.partition_point(|o| *o < within.end);
    if from == to {
        return 0.0;
    }
    let total: f64 = (from..to)
        .map(|i| {
            let next = onsets.get(i + 1).copied().unwrap_or(pulses);
            weighted_distance(onsets[i], next, beat)
        })
        .sum();
    total / (to - from) as f64
}
