//! The table of priors: every number that weighs beats, tempi, meters and bars against each other.
//!
//! Owns the numbers and says where each comes from; what they weigh is said where they are used.
//! "Kept back" are performances of `xtask/train/beats` that the network did not learn from; the
//! rendered pieces are corpus seed 12. Nothing here was fitted to a recording of a player; the
//! real takes were looked at while choosing.

/// Weight of the network's view of an instant beside the likelihood of the notes (kept back,
/// rendered), and of its view of a beat's length.
pub(super) const INSTANT: f64 = 0.5;
pub(super) const LENGTH: f64 = 0.5;
/// Log-odds of a beat at any instant, taken off the network's: 2 frames of 20 ms in 15 or so.
pub(super) const ANY: f64 = -2.0;
/// Cost of a sudden change of tempo, of entering and of leaving a stretch with a pulse, nats
/// (rendered: dearer ones keep the beat through sixteenths, cheaper ones follow free time).
pub(super) const JUMP: f32 = 20.0;
pub(super) const ENTER: f32 = 12.0;
pub(super) const LEAVE: f32 = 9.0;
/// Weight of the beats' score beside that of the bars: notes of a pattern are not independent
/// (rendered).
pub(super) const PATH: f64 = 0.7;
/// Weight of the network's downbeats and meters (kept back), and of the table of meters beside them.
pub(super) const DOWNBEATS: f64 = 1.0;
pub(super) const METERS: f64 = 1.0;
pub(super) const COMMON: f64 = 0.7;
/// What the network says of a meter that it does not know, nats.
pub(super) const UNKNOWN: f64 = -4.0;
/// Nats that count as one when readings are turned into odds: notes overstate their case.
pub(super) const OVERSTATED: f64 = 4.0;

/// Logistic regression of "this bar is right: its beats and both its bar lines": constant; mean
/// probability of the beats around; how much more the bar lines among them look like downbeats
/// than the other beats; lead over the next bars (tens of nats). Fitted on 120 performances that
/// were kept back; judged on 60 others (`DEVELOPERS.md`).
const SURE: [f64; 4] = [-1.75, 1.93, 4.05, 0.55];

/// Probability that a bar is right.
pub(super) fn sure(known: [f64; 3]) -> f64 {
    let sum: f64 = known.iter().zip(&SURE[1..]).map(|(x, w)| x * w).sum();
    1.0 / (1.0 + (-SURE[0] - sum).exp())
}
