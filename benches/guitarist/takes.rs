//! Takes against recordings, through sound.

use crate::compare_sound::measure;
use std::ops::Range;

/// Prints how many pairs were right and how exactly the planted lateness was read.
pub fn run(seeds: Range<u64>) {
    let (mut right, mut pairs, mut both, mut held, mut told) = (0, 0, 0, 0, 0);
    let (mut errors, mut thumb_errors) = (Vec::new(), Vec::new());
    let (mut takes, mut refused, mut silent) = (0, 0, 0);
    for seed in seeds {
        let found = measure(seed);
        println!("seed {seed}: {found:.2?}");
        takes += 1;
        refused += usize::from(found.same_tune < 0.5);
        right += found.right;
        pairs += found.pairs;
        both += found.both;
        held += found.held.0;
        told += found.held.1;
        match found.error_ms {
            Some(error) => {
                errors.push(error);
                thumb_errors.extend(found.thumb_error_ms);
            }
            None => silent += 1,
        }
    }
    println!(
        "takes: {takes}, called another tune {refused}, no figure for the planted slot {silent}"
    );
    println!(
        "  pairs right {:.4} of {pairs}, {:.3} of the notes played on both sides paired",
        right as f64 / pairs as f64,
        right as f64 / both as f64
    );
    spread("against the grid", errors);
    spread("against the thumb", thumb_errors);
    println!("  what was played lay inside the interval at {held} of {told} slots");
}

fn spread(what: &str, mut errors: Vec<f64>) {
    errors.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let last = errors.len().saturating_sub(1);
        errors
            .get(((share * errors.len() as f64) as usize).min(last))
            .copied()
            .unwrap_or(f64::NAN)
    };
    println!(
        "  planted lateness {what}: off by {:.2} ms (median), {:.2} ms (95 %), {:.2} ms (most)",
        at(0.5),
        at(0.95),
        at(1.0)
    );
}
