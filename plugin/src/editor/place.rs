//! Places of the recording as a player says them: bar and beat, stretches of bars, minutes and
//! seconds; and back from what is typed.

use thumbline::music::grid::{Beat, Grid};
use thumbline::unit::{Beats, Seconds};

/// Nearer than this share of a beat, a place is on it.
const ON: f64 = 0.06;

/// Minutes, seconds and tenths.
pub fn clock(at: Seconds) -> String {
    let tenths = if at.0.is_finite() {
        (at.0.max(0.0) * 10.0).floor()
    } else {
        0.0
    };
    let minutes = (tenths / 600.0).floor();
    format!("{minutes:.0}:{:04.1}", tenths / 10.0 - 60.0 * minutes)
}

/// Bar and beat of a place; none where there is no beat.
pub fn beat(grid: &Grid, at: Seconds) -> Option<&Beat> {
    grid.beat_at(at)?;
    // A lead-in starts a hair before the beat that it leads to.
    let index = grid.beats().partition_point(|b| b.time.0 <= at.0 + 0.02);
    index.checked_sub(1).and_then(|i| grid.beats().get(i))
}

/// The beat before `at` that counts in beats lie after, and what is left: 0 on it, 0.5 half way.
fn within(grid: &Grid, at: Seconds) -> Option<(usize, f64)> {
    let at = grid.beat_at(at)?.0;
    let index = (at + ON).floor();
    (index >= 0.0).then_some((index as usize, (at - index).max(0.0)))
}

/// A beat's bar and place, also one beat beyond the last.
fn named(grid: &Grid, index: usize) -> Option<(i32, u8)> {
    let beats = grid.beats();
    match beats.get(index) {
        Some(beat) => Some((beat.bar, beat.place)),
        None => beats.last().filter(|_| index == beats.len()).map(|last| {
            if last.place >= grid.meter.beats() {
                (last.bar + 1, 1)
            } else {
                (last.bar, last.place + 1)
            }
        }),
    }
}

/// A stretch, its last beat included: "bar 9", "bars 9–10", "9.3–10.2"; minutes and seconds where
/// there is no beat.
pub fn stretch(grid: Option<&Grid>, from: Seconds, to: Seconds) -> String {
    let counted = grid.and_then(|grid| counted(grid, from, to));
    counted.unwrap_or_else(|| format!("{}–{}", clock(from), clock(to)))
}

fn counted(grid: &Grid, from: Seconds, to: Seconds) -> Option<String> {
    let half = |left: f64| (left - 0.5).abs() < 0.2;
    let (first, left) = within(grid, from)?;
    let (bar, place) = named(grid, first)?;
    let start = match left {
        l if l < ON => "",
        l if half(l) => "+",
        _ => return None,
    };
    let (beyond, left) = within(grid, to)?;
    let more = match left {
        l if l < ON => "",
        l if half(l) => "½",
        _ => return None,
    };
    let (last_bar, last_place) = named(grid, beyond.checked_sub(1)?)?;
    let whole = start.is_empty() && more.is_empty() && place == 1;
    if whole && named(grid, beyond).is_some_and(|(_, place)| place == 1) {
        return Some(if bar == last_bar {
            format!("bar {bar}")
        } else {
            format!("bars {bar}–{last_bar}")
        });
    }
    Some(format!(
        "{bar}.{place}{start}–{last_bar}.{last_place}{more}"
    ))
}

/// What was typed, as [`stretch`] says it: "9", "9-10", "9.3-10.2", "9.2+-9.4".
pub fn typed(grid: &Grid, text: &str) -> Option<(Seconds, Seconds)> {
    let text = text.trim().trim_start_matches(char::is_alphabetic).trim();
    let (first, last) = text.split_once(['-', '–']).unwrap_or((text, text));
    let point = |text: &str| {
        let text = text.trim();
        let (plain, half) = match text.strip_suffix(['+', '½']) {
            Some(plain) => (plain, 0.5),
            None => (text, 0.0),
        };
        let (bar, place) = match plain.split_once('.') {
            Some((bar, place)) => (bar, Some(place.trim().parse::<u8>().ok()?)),
            None => (plain, None),
        };
        Some((bar.trim().parse::<i32>().ok()?, place, half))
    };
    let index = |bar: i32, place: u8| {
        let mut beats = grid.beats().iter();
        beats.position(|b| b.bar == bar && b.place == place)
    };
    let (bar, place, half) = point(first)?;
    let from = grid.time_at(Beats(index(bar, place.unwrap_or(1))? as f64 + half))?;
    let (bar, place, half) = point(last)?;
    let to = match place {
        Some(place) => grid.time_at(Beats(index(bar, place)? as f64 + 1.0 + half))?,
        None => grid.bar_range(bar, bar)?.1,
    };
    (from < to).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;
    use thumbline::music::meter::Meter;

    fn grid() -> Grid {
        let times: Vec<Seconds> = (0..16).map(|i| Seconds(1.0 + 0.5 * f64::from(i))).collect();
        Grid::from_beats(&times, 0, Meter::COMMON)
    }

    #[test]
    fn stretches_are_said_and_read_alike() {
        let grid = grid();
        for (text, from, to) in [
            ("bar 2", 3.0, 5.0),
            ("bars 2–3", 3.0, 7.0),
            ("1.3–2.2", 2.0, 4.0),
            ("2.1+–2.3", 3.25, 4.5),
            ("4.3–4.4", 8.0, 9.0),
        ] {
            assert_eq!(stretch(Some(&grid), Seconds(from), Seconds(to)), text);
            let (a, b) = typed(&grid, text).expect(text);
            assert!(
                (a.0 - from).abs() < 1e-9 && (b.0 - to).abs() < 1e-9,
                "{text}"
            );
        }
        assert_eq!(typed(&grid, "9.3-8.1"), None);
        assert_eq!(typed(&grid, "once more"), None);
        assert_eq!(stretch(None, Seconds(1.0), Seconds(62.5)), "0:01.0–1:02.5");
        assert_eq!(clock(Seconds(f64::NAN)), "0:00.0");
    }
}
