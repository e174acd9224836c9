//! Numbers as the documents have them: rounded for the eye.

use crate::unit::{Seconds, Span};

/// To the microsecond: finer than any sample rate here.
pub(in crate::report) fn seconds(time: Seconds) -> f64 {
    plain(time.0, 6)
}

pub(in crate::report) fn share(probability: f32) -> f64 {
    plain(f64::from(probability), 3)
}

pub(in crate::report) fn ms(span: Span) -> Option<f64> {
    round(span.ms(), 3)
}

/// Rounded for the eye; none when it is not a number, for JSON has no other way to say so.
pub(in crate::report) fn round(value: f64, places: i32) -> Option<f64> {
    let scale = 10f64.powi(places);
    let rounded = (value * scale).round() / scale;
    rounded.is_finite().then_some(rounded + 0.0) // −0 becomes 0
}

/// The same for values that are numbers by construction.
pub(in crate::report) fn plain(value: f64, places: i32) -> f64 {
    round(value, places).unwrap_or_default()
}
