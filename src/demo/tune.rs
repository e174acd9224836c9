//! The invented tune of the demo.

use crate::music::meter::Meter;
use crate::music::pitch::Key;
use crate::music::score::Score;
use crate::music::tuning::Tuning;
use crate::unit::Bpm;

/// Twenty bars in D, DADGAD. Bars 1–8: the melody falls on the thumb's beats. Bars 9–16: the same
/// melody steps off the beat, and pushes into the next bar. Bars 17–20: hammer-ons, a pull-off and
/// harmonics to end on. One line a bar, one word a note: `beat:string.fret`.
const BARS: &str = "
1:6.0 1:1.0 2:4.0 2:1.2 3:5.0 3:1.4 4:4.0
1:6.0 1:1.5 2:4.0 2:1.4 3:5.0 3:1.2 4:4.0
1:6.5 1:2.2 2:4.0 2:1.0 3:6.5 3:1.5 4:4.0
1:6.5 1:1.4 2:4.0 3:6.5 3:1.2 4:4.0 4:2.2
1:6.0 1:1.0 2:4.0 2:1.4 3:5.0 3:1.7 4:4.0
1:5.0 1:1.5 2:4.2 2:1.4 3:5.0 3:1.2 4:4.2
1:5.0 1:2.4 2:4.2 2:1.2 3:5.0 3:2.2 4:4.2
1:6.0 1:1.0 2:4.0 3:5.0 3:2.0 4:4.0 4:3.2
1:6.0 1:1.0 2:4.0 2&:1.2 3:5.0 3&:1.4 4:4.0 4&:1.5
1:6.0 2:4.0 2&:1.4 3:5.0 3&:1.2 4:4.0 4&:2.2
1:6.5 2:4.0 2&:1.0 3:6.5 3&:1.5 4:4.0 4&:1.4
1:6.5 2:4.0 2&:1.2 3:6.5 3&:2.2 4:4.0 4&:1.0
1:6.0 2:4.0 2&:1.4 3:5.0 3&:1.7 4:4.0
1:5.0 1&:1.5 2:4.2 2&:1.4 3:5.0 3&:1.2 4:4.2 4&:2.4
1:5.0 2:4.2 2&:1.2 3:5.0 3&:2.2 4:4.2 4&:1.0
1:6.0 2:4.0 2&:2.0 3:5.0 3&:3.2 4:4.0
1:6.0 1:1.0 2:4.0 2&:3.0 3:5.0 3&:3.2h 4:4.0 4&:2.2
1:6.5 2:4.0 2&:1.4 3:6.5 3:1.2p 3&:1.0 4:4.0
1:5.0 1:2.2 2:4.2 2&:2.0 3:5.0 3&:3.2 4:4.2
1:6.0 1:3.12* 2:2.12* 2&:1.12* 3:4.12*
";

/// "Thimble Lane", written for this demo.
pub fn tune() -> Score {
    let tuning = Tuning::dadgad();
    let read = Score::parse("Thimble Lane", tuning, Meter::COMMON, TEMPO, BARS);
    let tune = read.unwrap_or_else(|e| unreachable!("the demo's own tune is well formed: {e}"));
    Score {
        key: Key::new(2),
        ..tune
    }
}

/// Tempo of the recording.
pub const TEMPO: Bpm = Bpm(92.0);
