//! What the kinds of evidence for a tuning weigh. Written by `cargo xtask fit hearing tuning`: the first three by
//! conditional logit on 306 pieces of 3 players, each player counted alike; the last, which such pieces cannot
//! tell, was chosen with 45 rendered pieces of another hand in view.

/// In the order of [`super::Evidence::each`].
pub(super) const WEIGHTS: [f64; 4] = [0.40, 0.31, 0.09, 0.70];
