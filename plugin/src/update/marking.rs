//! What a player marks: the loop, kept regions, and the settings of practice.

use super::telling;
use crate::effect::Effect;
use crate::session::{Edges, Region};
use crate::snapshot::Snap;
use crate::state::State;
use thumbline::deck::Message;
use thumbline::unit::Seconds;

/// Loops this stretch; its ends hold on to what the player chose.
pub fn stretch(state: &mut State, ends: Option<(Seconds, Seconds)>, out: &mut Vec<Effect>) {
    let region = ends
        .map(|(a, b)| (snapped(state, a), snapped(state, b)))
        .filter(|(a, b)| a.0 < b.0);
    set(state, region, out);
}

/// Loops these bars, first and last included.
pub fn bars(state: &mut State, first: i32, last: i32, out: &mut Vec<Effect>) {
    let analysis = state.hearing.view.ready();
    let range = analysis.and_then(|a| a.grid.bar_range(first, last));
    if range.is_some() {
        set(state, range, out);
    }
}

fn set(state: &mut State, region: Option<(Seconds, Seconds)>, out: &mut Vec<Effect>) {
    let edges = region.map(|ends| edges(state, ends));
    state.marks_mut().region = region.zip(edges).map(|((from, to), edges)| Region {
        name: String::new(),
        from,
        to,
        edges,
    });
    out.push(Effect::Changed);
    telling::region(state, out);
}

/// Do the ends of a loop lie on beats, so that they move with them when the beat is corrected?
fn edges(state: &State, (from, to): (Seconds, Seconds)) -> Edges {
    let on_beat = |place: Seconds| {
        let grid = state.hearing.view.ready().map(|a| &a.grid);
        grid.is_some_and(|g| g.beats().iter().any(|b| (b.time - place).abs().0 < 1e-6))
    };
    if on_beat(from) && on_beat(to) {
        Edges::Beats
    } else {
        Edges::Free
    }
}

/// The beat was corrected: ends of loops that lie on beats move to where these are now.
pub fn follow_beats(state: &mut State, out: &mut Vec<Effect>) {
    let Some(analysis) = state.hearing.view.ready().cloned() else {
        return;
    };
    let beats = analysis.grid.beats();
    let moved = |place: Seconds| {
        let gap = |b: &thumbline::music::grid::Beat| (b.time - place).abs().0;
        let nearest = beats.iter().min_by(|a, b| gap(a).total_cmp(&gap(b)))?;
        let half = analysis.grid.beat_length(nearest.time)?.0 / 2.0;
        (gap(nearest) < half).then_some(nearest.time)
    };
    let marks = state.marks_mut();
    let before = (marks.region.clone(), marks.regions.clone());
    for region in marks.region.iter_mut().chain(&mut marks.regions) {
        if region.edges == Edges::Beats
            && let (Some(from), Some(to)) = (moved(region.from), moved(region.to))
            && from.0 < to.0
        {
            (region.from, region.to) = (from, to);
        }
    }
    if (&marks.region, &marks.regions) != (&before.0, &before.1) {
        out.push(Effect::Changed);
        telling::region(state, out);
    }
}

/// The nearest place that loop ends hold on to.
fn snapped(state: &State, place: Seconds) -> Seconds {
    let place = if place.0.is_finite() {
        Seconds(place.0.max(0.0))
    } else {
        Seconds(0.0)
    };
    let Some(analysis) = state.hearing.view.ready() else {
        return place;
    };
    let nearest = |places: &mut dyn Iterator<Item = Seconds>| {
        places.min_by(|a, b| (*a - place).abs().total_cmp(&(*b - place).abs()))
    };
    let grid = &analysis.grid;
    let found = match state.session.snap {
        Snap::Free => None,
        Snap::Onset => nearest(&mut analysis.notes.iter().map(|n| n.time)),
        Snap::Beat => nearest(&mut grid.beats().iter().map(|b| b.time)),
        Snap::Bar => nearest(&mut grid.bars().iter().flat_map(|b| [b.start, b.end])),
    };
    found.unwrap_or(place)
}

/// Keeps the loop under a name.
pub fn keep(state: &mut State, name: String, out: &mut Vec<Effect>) {
    let marks = state.marks_mut();
    if let Some(region) = marks.region.clone() {
        marks.regions.push(Region { name, ..region });
        marks.regions.sort_by(|a, b| a.from.total_cmp(&b.from));
        out.push(Effect::Changed);
    }
}

/// Loops a kept region.
pub fn take_up(state: &mut State, index: usize, out: &mut Vec<Effect>) {
    let known = state.marks().and_then(|m| m.regions.get(index).cloned());
    if let Some(region) = known {
        let from = region.from;
        state.marks_mut().region = Some(region);
        out.push(Effect::Changed);
        telling::region(state, out);
        out.push(Effect::Deck(Message::Seek(from)));
    }
}

/// Goes on to another kept region.
pub fn hop(state: &mut State, by: i32, out: &mut Vec<Effect>) {
    let Some(marks) = state.marks() else { return };
    let current = marks.region.as_ref().and_then(|r| {
        let same = |k: &Region| k.from == r.from && k.to == r.to;
        marks.regions.iter().position(same)
    });
    let regions = marks.regions.len() as i32;
    if regions > 0 {
        let next = current.map_or(if by > 0 { by - 1 } else { by }, |i| i as i32 + by);
        take_up(state, next.rem_euclid(regions) as usize, out);
    }
}

/// Renames a kept region.
pub fn rename(state: &mut State, index: usize, name: String, out: &mut Vec<Effect>) {
    if let Some(region) = state.marks_mut().regions.get_mut(index) {
        region.name = name;
        out.push(Effect::Changed);
    }
}

/// Forgets a kept region.
pub fn forget(state: &mut State, index: usize, out: &mut Vec<Effect>) {
    let marks = state.marks_mut();
    if index < marks.regions.len() {
        marks.regions.remove(index);
        out.push(Effect::Changed);
    }
}
