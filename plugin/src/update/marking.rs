//! What a player marks: the loop, kept regions, and the settings of practice.

use super::telling;
use crate::command::Way;
use crate::effect::Effect;
use crate::session::{Edges, Region};
use crate::snapshot::{End, Snap};
use crate::state::State;
use thumbline::analysis::Analysis;
use thumbline::deck::Message;
use thumbline::unit::{Beats, Seconds};

/// Shortest loop in seconds: what the deck plays.
const SHORTEST: f64 = 0.05;
/// Nearer than this, in seconds, two places are one.
const SAME: f64 = 1e-3;

/// Loops this stretch; its ends hold on to what the player chose, or to something finer where that
/// would leave nothing between them. A stretch that is none changes nothing.
pub fn stretch(state: &mut State, ends: Option<(Seconds, Seconds)>, out: &mut Vec<Effect>) {
    let Some((from, to)) = ends else {
        set(state, None, out);
        return;
    };
    let chosen = state.session.snap;
    let finer = Snap::ALL.into_iter().skip_while(|snap| *snap != chosen);
    let held = finer
        .map(|snap| (snapped(state, snap, from), snapped(state, snap, to)))
        .find(|(from, to)| is_loop(*from, *to));
    if held.is_some() {
        set(state, held, out);
    }
}

/// Loops exactly this stretch, where it is one.
pub fn exactly(state: &mut State, from: Seconds, to: Seconds, out: &mut Vec<Effect>) {
    if from.0 >= 0.0 && is_loop(from, to) {
        set(state, Some((from, to)), out);
    }
}

/// Is there enough between these to be looped?
fn is_loop(from: Seconds, to: Seconds) -> bool {
    (to - from).0 >= SHORTEST
}

/// Moves an end of the loop to the next place of `by` after it, or before it; where nothing would
/// be left of the loop it stays.
pub fn move_end(state: &mut State, end: End, by: Snap, way: Way, out: &mut Vec<Effect>) {
    let region = state.marks().and_then(|m| m.region.clone());
    let (Some(region), Some(analysis)) = (region, state.hearing.view.ready()) else {
        return;
    };
    let at = match end {
        End::Start => region.from,
        End::Finish => region.to,
    };
    let mut places = places(analysis, by, state.hearing.swing).into_iter();
    let next = match way {
        Way::Later => places.find(|p| p.0 > at.0 + SAME),
        Way::Earlier => places.rfind(|p| p.0 < at.0 - SAME),
    };
    let Some(next) = next else { return };
    let (from, to) = match end {
        End::Start => (next, region.to),
        End::Finish => (region.from, next),
    };
    exactly(state, from, to, out);
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

/// The places that ends of loops hold on to, in order of time; none for [`Snap::Free`].
fn places(analysis: &Analysis, snap: Snap, swing: f64) -> Vec<Seconds> {
    let grid = &analysis.grid;
    let bars = grid.bars();
    let mut places: Vec<Seconds> = match snap {
        Snap::Free => return Vec::new(),
        Snap::Bar => bars.iter().flat_map(|b| [b.start, b.end]).collect(),
        Snap::Beat => grid.beats().iter().map(|b| b.time).collect(),
        Snap::Slot => (grid.beats().iter().enumerate())
            .flat_map(|(i, beat)| slots(i, beat.parts, swing))
            .filter_map(|at| grid.time_at(at))
            .collect(),
    };
    places.extend(bars.iter().map(|b| b.end));
    places.retain(|p| p.0 >= 0.0);
    places.sort_by(Seconds::total_cmp);
    places.dedup_by(|later, earlier| later.0 - earlier.0 < SAME);
    places
}

/// The slots of beat `index` in beats; a beat of two parts is divided where the playing swings.
fn slots(index: usize, parts: u8, swing: f64) -> impl Iterator<Item = Beats> {
    let parts = parts.max(2);
    (0..parts).map(move |part| {
        let share = if parts == 2 && part == 1 {
            swing
        } else {
            f64::from(part) / f64::from(parts)
        };
        Beats(index as f64 + share)
    })
}

/// The nearest place that ends of loops hold on to.
fn snapped(state: &State, snap: Snap, place: Seconds) -> Seconds {
    let place = if place.0.is_finite() {
        Seconds(place.0.max(0.0))
    } else {
        Seconds(0.0)
    };
    let Some(analysis) = state.hearing.view.ready() else {
        return place;
    };
    places(analysis, snap, state.hearing.swing)
        .into_iter()
        .min_by(|a, b| (*a - place).abs().total_cmp(&(*b - place).abs()))
        .unwrap_or(place)
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
