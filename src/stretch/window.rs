//! Windows: a Hann window of two halves of different length, and its transform.
//!
//! Next to an onset a frame sees less on one side; its window is made of two half Hann windows
//! that meet at the frame's centre, so that it stays smooth whatever its lengths.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use super::phase::cosine;
use realfft::num_complex::Complex64;
use std::f32::consts::FRAC_PI_2;
use std::f64::consts::PI;

/// First moment of a half Hann window over its length: ∫x(½ + ½cos πx)dx from 0 to 1, twice,
/// because its mass is ½ (so the centroid of a window of halves l, r lies at 2·MOMENT·(r − l)).
const MOMENT: f64 = 0.25 - 1.0 / (PI * PI);

/// Fills `out[i]` with a falling half Hann window of `out.len()` samples at distance `i`.
pub(super) fn fall(out: &mut [f32]) {
    let step = FRAC_PI_2 / out.len().max(1) as f32;
    for (i, o) in (0i32..).zip(out) {
        let cos = cosine(i as f32 * step);
        *o = cos * cos;
    }
}

/// Fills `out` with a rising half Hann window, its last sample at distance 1 from the top.
pub(super) fn rise(out: &mut [f32]) {
    let step = FRAC_PI_2 / out.len().max(1) as f32;
    for (i, o) in (1i32..).zip(out.iter_mut().rev()) {
        let cos = cosine(i as f32 * step);
        *o = cos * cos;
    }
}

/// Centroid of a window of halves `left`, `right` samples, in samples after its centre.
pub(super) fn centroid(left: usize, right: usize) -> f64 {
    2.0 * MOMENT * (right as f64 - left as f64)
}

/// Transform of a window of halves `left`, `right` at `offset` radians a frame from the bin, its
/// centre at phase 0: Σ w(r) exp(i·offset·r), the sums taken as integrals.
pub(super) fn transform(left: usize, right: usize, offset: f64) -> Complex64 {
    let after = half_transform(offset * right as f64) * right as f64;
    let before = half_transform(offset * left as f64).conj() * left as f64;
    after + before
}

/// ∫(½ + ½cos πx) exp(iyx) dx from 0 to 1.
fn half_transform(y: f64) -> Complex64 {
    // ∫exp(izx)dx from 0 to 1, exp(iz) given.
    let unit = |z: f64, turned: Complex64| {
        if z.abs() < 1e-6 {
            Complex64::new(1.0, 0.5 * z)
        } else {
            (turned - 1.0) / Complex64::new(0.0, z)
        }
    };
    // Half a turn more or less is the same turn the other way.
    let turned = Complex64::cis(y);
    unit(y, turned) * 0.5 + (unit(y + PI, -turned) + unit(y - PI, -turned)) * 0.25
}

/// Raised cosine: 0 at 0, 1 at 1.
pub(super) fn raised(x: f32) -> f32 {
    0.5 - 0.5 * (std::f32::consts::PI * x).cos()
}
