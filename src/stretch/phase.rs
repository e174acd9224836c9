//! Phases: whole turns taken off, angles and turns quick enough to be had for every peak; and complex
//! numbers from one precision to the other.
//!
//! The standard library calls out for each of these; here they are polynomials (least squares,
//! made even, over the range; errors below 1e-6) that the compiler puts in line.

#![deny(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types
)]

use realfft::num_complex::{Complex32, Complex64};
use std::f64::consts::TAU;

/// `phase` less whole turns: −π to π.
pub fn wrap(phase: f64) -> f64 {
    // Adding 1.5·2^52 leaves no room for a fraction.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let turns = (phase * (1.0 / TAU) + ROUND) - ROUND;
    phase - TAU * turns
}

/// `z` in double precision.
pub fn wide(z: Complex32) -> Complex64 {
    Complex64::new(f64::from(z.re), f64::from(z.im))
}

/// `z` in single precision.
pub fn narrow(z: Complex64) -> Complex32 {
    Complex32::new(z.re as f32, z.im as f32)
}

/// The angle of `z`, radians; 0 for 0.
pub fn angle(z: Complex32) -> f32 {
    const ATAN: [f32; 8] = [
        0.999_999_9,
        -0.333_320_94,
        0.199_713_75,
        -0.140_294_17,
        0.099_427_52,
        -0.059_904_614,
        0.024_557_05,
        -0.004_780_434,
    ];
    use std::f32::consts::{FRAC_PI_2, PI};
    let (x, y) = (z.re.abs(), z.im.abs());
    let part = x.min(y) / x.max(y).max(f32::MIN_POSITIVE);
    let near = part * polynomial(&ATAN, part * part);
    let acute = if y > x { FRAC_PI_2 - near } else { near };
    let upper = if z.re < 0.0 { PI - acute } else { acute };
    upper.copysign(z.im)
}

/// exp(iθ) for θ from −π to π; 1 exactly for 0.
pub fn turn(theta: f32) -> Complex32 {
    let half = 0.5 * theta;
    let (sin, cos) = (sine(half), cosine(half));
    Complex32::new(1.0 - 2.0 * sin * sin, 2.0 * sin * cos)
}

/// sin x for x from −π/2 to π/2.
fn sine(x: f32) -> f32 {
    const SINE: [f32; 5] = [
        1.0,
        -0.166_666_58,
        0.008_333_051,
        -0.000_198_090_75,
        2.605_225e-6,
    ];
    x * polynomial(&SINE, x * x)
}

/// cos x for x from −π/2 to π/2.
pub fn cosine(x: f32) -> f32 {
    const COSINE: [f32; 6] = [
        1.0,
        -0.5,
        0.041_666_636,
        -0.001_388_836_1,
        2.476_016e-5,
        -2.605_149_5e-7,
    ];
    polynomial(&COSINE, x * x)
}

fn polynomial<const N: usize>(coefficients: &[f32; N], x: f32) -> f32 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
