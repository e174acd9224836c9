//! Notes as the tracker sees them: one event for each hand's part at one moment.
//!
//! Owns the joining of chords, rolls and doubled onsets into events and the reading of their
//! harmony and weight; the tracker knows no other view of the notes.

use crate::music::note::{Attack, Note, Role};

/// Notes of one hand closer than this are one event: a pinch, a strum or one step of a roll.
/// The slowest rolls of the tuning data spread 34 ms a string; sixteenths at 240 beats a minute
/// are 62 ms apart.
pub(super) const JOIN: f64 = 0.038;

/// One hand's part at one moment.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Event {
    /// Its first note, in seconds.
    pub time: f64,
    /// Thumb or fingers.
    pub role: Role,
    /// How much it counts, 0 to 1: probability of being a note.
    pub weight: f64,
    /// Probability of its role, 0.5 to 1.
    pub sure: f64,
    /// Level of its strongest note, dB.
    pub level: f64,
    /// Lowest pitch, where known (MIDI).
    pub lowest: Option<f64>,
    /// Indices of its notes.
    pub notes: Vec<usize>,
}

/// Events in order of time. Knocks on the body count as neither hand and are left out, as are
/// notes at instants that are no numbers.
pub(crate) fn collect(notes: &[Note]) -> Vec<Event> {
    let mut order: Vec<usize> = (0..notes.len())
        .filter(|&i| notes[i].time.0.is_finite() && notes[i].attack != Attack::Tap)
        .collect();
    order.sort_by(|&a, &b| notes[a].time.total_cmp(&notes[b].time));
    let mut events: Vec<Event> = Vec::new();
    let mut open: [Option<(usize, f64)>; 2] = [None, None];
    for i in order {
        let note = &notes[i];
        let hand = usize::from(note.role == Role::Melody);
        let time = note.time.0;
        let weight = weight(note);
        let sure = f64::from(note.role_confidence).clamp(0.5, 1.0);
        let sure = if sure.is_nan() { 0.5 } else { sure };
        let level = if note.strength.0.is_finite() {
            note.strength.0
        } else {
            -20.0
        };
        let pitch = note.pitch.map(|p| p.0).filter(|p| p.is_finite());
        match open[hand] {
            Some((at, last)) if time - last < JOIN => {
                let event = &mut events[at];
                event.weight = event.weight.max(weight);
                event.sure = event.sure.max(sure);
                event.level = event.level.max(level);
                event.lowest = match (event.lowest, pitch) {
                    (Some(a), Some(b)) => Some(a.min(b)),
                    (a, b) => a.or(b),
                };
                event.notes.push(i);
                open[hand] = Some((at, time));
            }
            _ => {
                open[hand] = Some((events.len(), time));
                events.push(Event {
                    time,
                    role: note.role,
                    weight,
                    sure,
                    level,
                    lowest: pitch,
                    notes: vec![i],
                });
            }
        }
    }
    events
}

/// Probability that a note is one, and of its role; legato notes of the fretting hand place
/// themselves more loosely than plucks.
fn weight(note: &Note) -> f64 {
    let sure = f64::from(note.confidence.clamp(0.05, 1.0));
    let legato = match note.attack {
        Attack::HammerOn | Attack::PullOff | Attack::Slide => 0.7,
        _ => 1.0,
    };
    if sure.is_nan() { 0.5 } else { sure * legato }
}
