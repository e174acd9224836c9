//! Below what nothing is called early or late: what a listener notices, and what can be measured.

use crate::unit::Span;

/// Shortest interval for which the relative threshold holds (Friberg & Sundberg 1995).
const KNEE: Span = Span::from_ms(240.0);

/// Just noticeable displacement of one tone in a sequence of intervals of length `interval`:
/// 6 ms below 240 ms, 2.5 % of the interval above (Friberg & Sundberg 1995, JASA 98:2524–2531).
pub fn perception(interval: Span) -> Span {
    if interval < KNEE {
        Span::from_ms(6.0)
    } else {
        interval * 0.025
    }
}

/// The least drift that is shown as early or late: the greater of what a listener notices and
/// what was measured, `error` (for one note, at 95 %).
pub fn shown(interval: Span, error: Span) -> Span {
    let heard = perception(interval);
    if error > heard { error } else { heard }
}
