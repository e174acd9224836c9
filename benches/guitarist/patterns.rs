//! The picking cell: whole analysis on rendered sound.

use crate::compare_sound::heard;
use crate::invented::{agreement, in_cell, long_and_short_cells};
use std::ops::Range;
use std::time::Instant;
use thumbline::music::picking::{find, place};

/// Prints how often the cell's length and its slots were right, with the beats as they were heard and
/// with the true ones, and how long it takes on three minutes.
pub fn run(seeds: Range<u64>) {
    let (mut right, mut right_beats, mut all) = (0, 0, 0);
    let (mut slots, mut slots_beats) = (Vec::new(), Vec::new());
    for seed in seeds {
        for (i, cell) in long_and_short_cells().iter().enumerate() {
            let take = in_cell(cell, 32, seed * 1000 + i as u64);
            let found = heard(&take.recording);
            all += 1;
            let own = find(&place(&found.notes, &found.grid), found.grid.meter);
            let same = own.filter(|f| f.cell.bars == cell.bars && f.cell.meter == cell.meter);
            right += usize::from(same.is_some());
            let share = same.map(|f| agreement(&f.cell, cell));
            let true_beats = find(&place(&found.notes, &take.grid), cell.meter);
            let there = true_beats.filter(|f| f.cell.bars == cell.bars);
            right_beats += usize::from(there.is_some());
            slots_beats.extend(there.map(|f| agreement(&f.cell, cell)));
            if share.is_none_or(|s| s < 0.9) {
                println!(
                    "seed {seed} cell {i}: {} bars of {}, heard in {}, slots {share:.2?}",
                    cell.bars, cell.meter, found.grid.meter
                );
            }
            slots.extend(share);
        }
    }
    let mean = |s: &[f64]| s.iter().sum::<f64>() / s.len().max(1) as f64;
    println!(
        "patterns: length right {right} of {all}, slots {:.3}",
        mean(&slots)
    );
    println!(
        "  with the true beats: {right_beats} of {all}, slots {:.3}",
        mean(&slots_beats)
    );
    let cell = &long_and_short_cells()[1];
    let take = in_cell(cell, 76, 7);
    let found = heard(&take.recording);
    let clock = Instant::now();
    let cell = find(&place(&found.notes, &found.grid), found.grid.meter);
    println!(
        "  {:.0} s of music: {:.3} s after the analysis ({} bars)",
        take.recording.end().0,
        clock.elapsed().as_secs_f64(),
        cell.map_or(0, |c| c.cell.bars)
    );
}
