//! One sentence after each time round: what to change next.

use crate::along::LoopRound;
use crate::music::meter::Meter;
use crate::music::note::Role;
use crate::report::capitalised;

/// "The and of 2: 24 ms late, third time running." The slot that strays most comes first; then what was
/// left out or wrong; then the whole, where the round trip is known; a round with nothing to change says so.
pub fn sentence(round: &LoopRound, meter: Meter) -> String {
    let number = round.number + 1;
    if round.answered == 0 {
        return format!("Round {number}: I heard none of its notes");
    }
    if let Some(worst) = round.worst() {
        let hand = match worst.role {
            Role::Bass => "thumb",
            Role::Melody => "fingers",
        };
        let way = if worst.late.0 > 0.0 { "late" } else { "early" };
        let again = match worst.running {
            1 => String::new(),
            n => format!(", {} time running", nth(n)),
        };
        let place = capitalised(&worst.slot.name(meter));
        return format!(
            "{place}, {hand}: {:.0} ms {way}{again}",
            worst.late.abs().ms()
        );
    }
    let notes = |n: usize| {
        if n == 1 {
            "1 note".to_owned()
        } else {
            format!("{n} notes")
        }
    };
    if round.missed > 0 || round.wrong > 0 {
        let mut parts = Vec::new();
        if round.missed > 0 {
            parts.push(format!("{} left out", notes(round.missed)));
        }
        if round.wrong > 0 {
            parts.push(format!("{} at another pitch", notes(round.wrong)));
        }
        return format!("Round {number}: {}", parts.join(", "));
    }
    match round.whole.map(crate::unit::Span::ms) {
        Some(late) if late.abs() > WHOLE => {
            let way = if late > 0.0 { "late" } else { "early" };
            format!(
                "Round {number}: all of it {:.0} ms {way}, evenly",
                late.abs()
            )
        }
        _ => format!("Round {number}: with the recording"),
    }
}

/// A whole round is called late or early beyond this, ms: what a listener notices in the beat of a slow
/// tune (2.5 % of the interval, Friberg & Sundberg 1995, at 100 beats a minute).
const WHOLE: f64 = 15.0;

fn nth(n: usize) -> String {
    match n {
        2 => "second".into(),
        3 => "third".into(),
        4 => "fourth".into(),
        5 => "fifth".into(),
        n if n % 10 == 1 && n % 100 != 11 => format!("{n}st"),
        n if n % 10 == 2 && n % 100 != 12 => format!("{n}nd"),
        n if n % 10 == 3 && n % 100 != 13 => format!("{n}rd"),
        n => format!("{n}th"),
    }
}
