//! A player's corrections of the grid: a short list of constraints, kept apart from what was
//! heard and applied to it anew whenever the list changes.
//!
//! Owns the list, its order and its contradictions; how a constraint bends the grid is in
//! `constraints` and `solve`.

use crate::music::meter::Meter;
use crate::unit::{Bpm, Seconds};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Two instants a player gives that lie closer than this mean the same beat: half the shortest
/// beat that is tracked (240 a minute).
const SAME: f64 = 0.125;

/// One correction. Instants are seconds from the start of the recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "edit", rename_all = "snake_case")]
pub enum Edit {
    /// A beat was tapped here: one falls close by (a tap is off by some 4 % of a beat).
    Tap {
        /// Where the tap fell.
        at: Seconds,
    },
    /// The beat near `from` belongs exactly at `to`.
    DragBeat {
        /// Where the grid had it.
        from: Seconds,
        /// Where it belongs.
        to: Seconds,
    },
    /// Bar 1 begins at the beat nearest to this instant.
    BarOne {
        /// The downbeat of bar 1.
        at: Seconds,
    },
    /// A bar begins at the beat nearest to this instant, whatever the count before it.
    BarStart {
        /// The downbeat.
        at: Seconds,
    },
    /// The time signature of the whole recording.
    Meter {
        /// Any signature, heard or not.
        meter: Meter,
    },
    /// Beats that begin in this stretch divide into so many slots.
    Subdivision {
        /// Start of the stretch.
        from: Seconds,
        /// End of the stretch.
        to: Seconds,
        /// Slots a beat: 1, 2, 3, 4 or 6.
        parts: u8,
    },
    /// How beats of two parts divide, in the whole recording.
    Swing {
        /// Long against short, 1 (straight) to 3; none: as it is played.
        ratio: Option<f64>,
    },
    /// No pulse in this stretch.
    FreeTime {
        /// Start of the stretch.
        from: Seconds,
        /// End of the stretch.
        to: Seconds,
    },
    /// There is a pulse in this stretch: do not leave it free.
    Pulse {
        /// Start of the stretch.
        from: Seconds,
        /// End of the stretch.
        to: Seconds,
    },
    /// Every second beat is none: half the tempo.
    Halve,
    /// A beat between every two: double the tempo.
    Double,
    /// The tempo lies near this one.
    Tempo {
        /// Beats a minute, 40 to 240.
        bpm: Bpm,
    },
}

impl fmt::Display for Edit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tap { at } => write!(f, "beat tapped at {:.2} s", at.0),
            Self::DragBeat { from, to } => {
                write!(f, "beat moved from {:.2} s to {:.2} s", from.0, to.0)
            }
            Self::BarOne { at } => write!(f, "bar 1 set at {:.2} s", at.0),
            Self::BarStart { at } => write!(f, "bar started at {:.2} s", at.0),
            Self::Meter { meter } => write!(f, "meter {meter}"),
            Self::Subdivision { from, to, parts } => {
                write!(
                    f,
                    "{parts} to the beat from {:.2} s to {:.2} s",
                    from.0, to.0
                )
            }
            Self::Swing { ratio: None } => write!(f, "off-beats as they are played"),
            Self::Swing { ratio: Some(long) } => write!(f, "off-beats set {long:.1} to 1"),
            Self::FreeTime { from, to } => {
                write!(f, "free time from {:.2} s to {:.2} s", from.0, to.0)
            }
            Self::Pulse { from, to } => {
                write!(f, "a pulse from {:.2} s to {:.2} s", from.0, to.0)
            }
            Self::Halve => write!(f, "tempo halved"),
            Self::Double => write!(f, "tempo doubled"),
            Self::Tempo { bpm } => write!(f, "tempo near {:.0}", bpm.0),
        }
    }
}

impl Edit {
    /// Are its numbers usable: finite, in order, in range?
    fn sound(&self) -> bool {
        let instant = |t: &Seconds| t.0.is_finite() && t.0 >= 0.0;
        match self {
            Self::Tap { at } | Self::BarOne { at } | Self::BarStart { at } => instant(at),
            Self::DragBeat { from, to } => instant(from) && instant(to),
            Self::Meter { meter } => {
                (1..=15).contains(&meter.count) && matches!(meter.unit, 2 | 4 | 8 | 16)
            }
            Self::Subdivision { from, to, parts } => {
                instant(from) && instant(to) && from < to && matches!(parts, 1 | 2 | 3 | 4 | 6)
            }
            Self::FreeTime { from, to } | Self::Pulse { from, to } => {
                instant(from) && instant(to) && from < to
            }
            Self::Tempo { bpm } => (40.0..=240.0).contains(&bpm.0),
            Self::Swing { ratio } => ratio.is_none_or(|long| (1.0..=3.0).contains(&long)),
            Self::Halve | Self::Double => true,
        }
    }

    /// Where this edit says that a beat is, when it says so.
    pub(super) fn beat(&self) -> Option<Seconds> {
        match *self {
            Self::Tap { at } | Self::BarOne { at } | Self::BarStart { at } => Some(at),
            Self::DragBeat { to, .. } => Some(to),
            _ => None,
        }
    }

    /// Can both not hold? Order matters: `self` came first.
    fn contradicts(&self, later: &Self) -> bool {
        use Edit::{
            BarOne, Double, DragBeat, FreeTime, Halve, Meter, Pulse, Subdivision, Swing, Tap, Tempo,
        };
        let near = |a: Seconds, b: Seconds| (a - b).abs().0 < SAME;
        let overlap = |a: (Seconds, Seconds), b: (Seconds, Seconds)| a.0 < b.1 && b.0 < a.1;
        match (*self, *later) {
            (Tap { at: a }, Tap { at: b }) => a != b && near(a, b),
            (BarOne { at: a }, BarOne { at: b }) => a != b,
            (Meter { meter: a }, Meter { meter: b }) => a != b,
            (Tempo { bpm: a }, Tempo { bpm: b }) => a != b,
            (Swing { ratio: a }, Swing { ratio: b }) => a != b,
            (Halve, Double) | (Double, Halve) | (Tempo { .. }, Halve | Double) => false,
            (DragBeat { from: a, to: x }, DragBeat { from: b, to: y }) => {
                x != y && (near(a, b) || near(x, y))
            }
            (Tap { at }, DragBeat { from, to }) => at != to && near(at, from),
            (DragBeat { to, .. }, Tap { at }) => at != to && near(at, to),
            (
                Subdivision { from, to, parts },
                Subdivision {
                    from: f,
                    to: t,
                    parts: p,
                },
            ) => parts != p && overlap((from, to), (f, t)),
            (FreeTime { from, to }, Pulse { from: f, to: t })
            | (Pulse { from, to }, FreeTime { from: f, to: t }) => overlap((from, to), (f, t)),
            (FreeTime { from, to }, other) => other.beat().is_some_and(|at| from < at && at < to),
            (one, FreeTime { from, to }) => one.beat().is_some_and(|at| from < at && at < to),
            _ => false,
        }
    }
}

/// A contradiction between two edits; the later one holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// Place in the list of the edit that gives way.
    pub loser: usize,
    /// Place in the list of the edit that holds; none when the edit cannot hold at all.
    pub winner: Option<usize>,
    /// The same in a plain sentence.
    pub sentence: String,
}

/// A player's corrections in the order in which they were made.
///
/// Serialises as the plain list, so that it can be kept beside the recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct GridEdits {
    /// Oldest first.
    pub list: Vec<Edit>,
}

impl GridEdits {
    /// No corrections.
    pub fn none() -> Self {
        Self::default()
    }

    /// The same list with one more edit at its end.
    pub fn with(mut self, edit: Edit) -> Self {
        self.list.push(edit);
        self
    }

    /// Adds an edit at the end of the list.
    pub fn push(&mut self, edit: Edit) {
        self.list.push(edit);
    }

    /// Are there none?
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The edits that hold, in order, and the contradictions: of two edits that cannot both hold
    /// the later one does; an edit with unusable numbers does not hold.
    pub fn resolved(&self) -> (Vec<Edit>, Vec<Conflict>) {
        let mut conflicts = Vec::new();
        let mut holds = Vec::new();
        for (i, edit) in self.list.iter().enumerate() {
            if !edit.sound() {
                conflicts.push(Conflict {
                    loser: i,
                    winner: None,
                    sentence: format!("“{edit}” is left out: its numbers make no sense."),
                });
                continue;
            }
            let beaten = self.list[i + 1..]
                .iter()
                .position(|later| later.sound() && edit.contradicts(later));
            match beaten {
                Some(offset) => {
                    let winner = i + 1 + offset;
                    conflicts.push(Conflict {
                        loser: i,
                        winner: Some(winner),
                        sentence: format!(
                            "“{edit}” gives way to the later “{}”.",
                            self.list[winner]
                        ),
                    });
                }
                None => holds.push(*edit),
            }
        }
        (holds, conflicts)
    }
}
