//! A practice round, and what makes it the round it is.

use super::error::JournalError;
use super::moment::Moment;
use crate::music::note::Role;
use crate::recording::ContentHash;
use serde::{Deserialize, Serialize};

/// How one part of the hand did in a round.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HandFigure {
    /// Notes measured, at least 1.
    pub notes: u32,
    /// Centre of the drift in ms; positive is behind.
    pub drift_ms: f64,
    /// Robust spread of the drift in ms (standard-deviation scale), 0 or more.
    pub spread_ms: f64,
}

/// One practice round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PracticeRound {
    /// Identity of the recording's sound.
    pub recording: ContentHash,
    /// What the recording is called.
    pub name: String,
    /// Tuning it was practised in, as spelled by the player (`D A D G A D`).
    pub tuning: Option<String>,
    /// When the round ended.
    pub at: Moment,
    /// Start of the practised region, seconds of the recording.
    pub from_s: f64,
    /// End of the practised region, seconds of the recording.
    pub to_s: f64,
    /// What the region is called (`bars 5-6`).
    pub region: String,
    /// Speed it was practised at; 1 is the recording's own.
    pub speed: f64,
    /// Thumb's figures, where it could be measured.
    pub thumb: Option<HandFigure>,
    /// Fingers' figures, where they could be measured.
    pub fingers: Option<HandFigure>,
    /// Identity of the take that was recorded, where one was.
    pub take: Option<ContentHash>,
    /// The player's own words.
    pub note: String,
    /// What the take repeats that a listener hears; the same in every round of a take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<Fault>,
}

/// A place of the bar at which a take lies off the player it learns from, again and again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Thumb or fingers.
    pub role: Role,
    /// The place as it is counted: `2 &`.
    pub slot: String,
    /// First bar of the recording in which it occurs.
    pub bar: i32,
    /// In how many notes.
    pub notes: u32,
    /// How much later than the recording's player, in ms; earlier is below 0.
    pub late_ms: f64,
    /// Tempo of the take in beats a minute.
    pub bpm: f64,
    /// Within this a listener hears no difference: the goal.
    pub goal_ms: f64,
}

impl PracticeRound {
    /// Identity of the round: the same round kept on two machines is one round, also where the
    /// recording was renamed on one of them.
    pub(super) fn id(&self) -> String {
        let identity = Identity {
            recording: self.recording,
            name: "",
            tuning: self.tuning.as_deref(),
            at: self.at,
            from_s: self.from_s,
            to_s: self.to_s,
            region: &self.region,
            speed: self.speed,
            thumb: self.thumb.map(FigureIdentity::from),
            fingers: self.fingers.map(FigureIdentity::from),
            take: self.take,
            note: &self.note,
        };
        let said = serde_json::to_vec(&identity).unwrap_or_default();
        blake3::hash(&said).to_hex().to_string()
    }

    pub(super) fn check(&self) -> Result<(), JournalError> {
        let numbers = [self.from_s, self.to_s, self.speed];
        let figures = [self.thumb, self.fingers].into_iter().flatten();
        let finite = numbers.iter().all(|n| n.is_finite())
            && figures
                .clone()
                .all(|f| f.drift_ms.is_finite() && f.spread_ms.is_finite());
        if !finite {
            return Err(JournalError::Unusable(
                "one of its figures is not a number".into(),
            ));
        }
        if self.to_s <= self.from_s || self.from_s < 0.0 {
            return Err(JournalError::Unusable("its passage has no length".into()));
        }
        if !(0.05..=8.0).contains(&self.speed) {
            return Err(JournalError::Unusable(format!(
                "a speed of {} is not possible",
                self.speed
            )));
        }
        if figures.clone().any(|f| f.notes == 0 || f.spread_ms < 0.0) {
            return Err(JournalError::Unusable(
                "one of its figures rests on no note".into(),
            ));
        }
        Ok(())
    }
}

/// What makes a round the round it is: hashed as JSON in this order. Journals hold these hashes, so
/// nothing is ever added, left out or renamed here, whatever a [`PracticeRound`] comes to hold.
#[derive(Serialize)]
struct Identity<'a> {
    recording: ContentHash,
    name: &'static str,
    tuning: Option<&'a str>,
    at: Moment,
    from_s: f64,
    to_s: f64,
    region: &'a str,
    speed: f64,
    thumb: Option<FigureIdentity>,
    fingers: Option<FigureIdentity>,
    take: Option<ContentHash>,
    note: &'a str,
}

/// A [`HandFigure`] in an [`Identity`].
#[derive(Serialize)]
struct FigureIdentity {
    notes: u32,
    drift_ms: f64,
    spread_ms: f64,
}

impl From<HandFigure> for FigureIdentity {
    fn from(figure: HandFigure) -> Self {
        Self {
            notes: figure.notes,
            drift_ms: figure.drift_ms,
            spread_ms: figure.spread_ms,
        }
    }
}
