//! Window functions.

use std::f64::consts::PI;

/// A periodic Hann window of `len` points: 0.5 − 0.5 cos(2πn/len).
pub fn hann(len: usize) -> Vec<f32> {
    (0..len)
        .map(|n| (0.5 - 0.5 * (2.0 * PI * n as f64 / len as f64).cos()) as f32)
        .collect()
}

/// Modified Bessel function of the first kind, order 0, by its power series (converges quickly
/// for the arguments windows use, 0 to 30).
pub fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > 1e-12 * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

/// Kaiser's window at `at` from −1 to 1 (0 outside), shape `beta` (Kaiser 1974, from memory).
pub fn kaiser(at: f64, beta: f64) -> f64 {
    if at.abs() > 1.0 {
        return 0.0;
    }
    bessel_i0(beta * (1.0 - at * at).sqrt()) / bessel_i0(beta)
}
