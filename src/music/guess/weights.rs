//! What the kinds of evidence for a tuning weigh. Written by `cargo xtask fit hearing tuning`: the first three by
//! conditional logit on 180 invented pieces in twelve tunings with capos, played by sampled guitars; the last,
//! which such pieces cannot tell, was chosen with 45 rendered pieces of another hand in view.

/// In the order of [`super::Evidence::each`].
pub(super) const WEIGHTS: [f64; 4] = [0.51, 0.26, 0.10, 0.70];
