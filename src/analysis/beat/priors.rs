//! The table of priors: every number that weighs beats, tempi, meters and bars against each other.
//!
//! Owns the numbers and says where each comes from; what they weigh is said where they are used.
//! "Kept back" are performances of `xtask/train/beats` that the network did not learn from; the
//! rendered pieces are corpus seed 12. Nothing here was fitted to a recording of a player; the
//! real takes were looked at while choosing.

/// Weight of the network's view of an instant beside the likelihood of the notes (kept back,
/// rendered), and of its view of a beat's length.
pub(super) const INSTANT: f64 = 0.5;
pub(super) const LENGTH: f64 = 0.3;
/// Weight of the likelihood of the notes under the rules of thumb and fingers.
pub(super) const RULES: f32 = 0.5;
/// Log-odds of a beat at any instant, taken off the network's: 2 frames of 20 ms in 15 or so.
pub(super) const ANY: f64 = -2.0;
/// The most that one instant may say for or against a beat, nats.
pub(super) const MOST: f64 = 4.5;
/// Tempi: their middle (beats a minute) and width (octaves, SD), near those that listeners tap
/// (Parncutt 1994, Music Perception 11, from memory), and the events of a pattern that they are set
/// against once (rendered).
pub(super) const TEMPO: f64 = 88.0;
pub(super) const OCTAVES: f64 = 0.3;
pub(super) const EVENTS: f64 = 120.0;
/// Relative change of the beat from one to the next (SD of its logarithm) in steady playing with
/// some freedom: about the just noticeable change of tempo (Drake & Botte 1993: 3 to 6 %).
pub(super) const BENDS: f64 = 0.035;
/// What each beat of one unbending tempo saves, nats.
pub(super) const EVEN: f32 = 0.2;
/// The same once the player has told tempo and place, and how much more an instant that is told
/// counts then (by hand, on the real takes).
pub(super) const EVEN_TOLD: f32 = 1.5;
pub(super) const INSISTS: f32 = 5.0;
/// Cost of a sudden change of tempo, of entering and of leaving a stretch with a pulse, nats
/// (rendered: dearer ones keep the beat through sixteenths, cheaper ones follow free time).
pub(super) const JUMP: f32 = 18.0;
pub(super) const ENTER: f32 = 9.0;
pub(super) const LEAVE: f32 = 6.0;
/// Weight of the beats' score beside that of the bars: notes of a pattern are not independent
/// (rendered).
pub(super) const PATH: f64 = 0.7;
/// Weight of the network's downbeats and meters (kept back), and of the table of meters beside them.
pub(super) const DOWNBEATS: f64 = 0.7;
pub(super) const METERS: f64 = 1.0;
pub(super) const COMMON: f64 = 1.0;
/// What the network says of a meter that it does not know, nats.
pub(super) const UNKNOWN: f64 = -4.0;
/// Nats that count as one when readings are turned into odds: notes overstate their case.
pub(super) const OVERSTATED: f64 = 4.0;

/// Rewards, nats: a tap, a dragged beat, a beat that is to start a bar, a beat that an edit is to
/// leave (chosen by hand on invented notes).
pub(super) const TAPPED: f32 = 14.0;
pub(super) const DRAGGED: f32 = 40.0;
pub(super) const BAR_TOLD: f32 = 8.0;
pub(super) const KEPT: f32 = 3.0;
/// Confidence in beats whose place the player has told (by hand: players mean what they say).
pub(super) const SETTLED: f32 = 0.9;

/// Logistic regression of "this bar is right: its beats and both its bar lines": constant; mean
/// probability of the beats around; share of them that the thumb plays; how much more the bar lines
/// among them look like downbeats than the other beats; lead over the next bars, and over the next
/// other beats (tens of nats). Fitted on 240 performances that were kept back, half of them of
/// played music, and the rendered pieces of two seeds, each set alike; judged on others
/// (`DEVELOPERS.md`).
const SURE: [f64; 6] = [-2.50, 1.17, 0.88, 3.07, 0.50, 0.16];

/// Probability that a bar is right.
pub(super) fn sure(known: [f64; 5]) -> f64 {
    let sum: f64 = known.iter().zip(&SURE[1..]).map(|(x, w)| x * w).sum();
    1.0 / (1.0 + (-SURE[0] - sum).exp())
}
