//! Swing and the lateness of the fingers: what is systematic in the playing.
//!
//! Owns both readings because neither can be had without the other: an off-beat that is late
//! by the hand's own lateness is not swung, and a swung off-beat is not late.

use super::figures::{Feel, Figure, Swing};
use super::slot;
use super::stats;
use crate::analysis::beat::hand_gap::{self, Touch};
use crate::music::grid::{Grid, off_beat};
use crate::music::note::{Note, Role};
use crate::unit::Span;

/// A finger note this near to a beat (share of the beat) is on it.
const ON: f64 = 0.2;
/// A finger note in this part of the beat can be a swung or straight off-beat: from a little
/// before the middle to 4 : 1.
const OFF: (f64, f64) = (0.35, 0.8);
/// Off-beats that a ratio needs.
const LEAST: usize = 3;

/// A note's place in its beat.
#[derive(Debug, Clone, Copy)]
pub(super) struct Phase {
    pub role: Role,
    /// When it was heard, seconds.
    pub time: f64,
    /// Beat index.
    pub beat: usize,
    /// Place in the beat, 0 to below 1.
    pub at: f64,
    /// Length of the beat, seconds.
    pub length: f64,
    /// Slots of the beat.
    pub parts: u8,
    /// How sure the role is, 0 to 1.
    pub weight: f64,
}

impl Phase {
    /// Distance from the nearest beat, seconds.
    fn away_from_beat(&self) -> f64 {
        ((self.at + 0.5).fract() - 0.5) * self.length
    }

    fn on_beat(&self) -> bool {
        self.at < ON || self.at > 1.0 - ON
    }
}

/// Places of all notes that lie on the grid, where it is sure.
pub(super) fn phases(notes: &[Note], grid: &Grid) -> Vec<Phase> {
    let last = grid.beats().len() as f64;
    let sure = grid.sure();
    notes
        .iter()
        .filter_map(|note| {
            let at = grid.beat_at(note.time)?;
            let length = grid.beat_length(note.time)?;
            if at.0 < -0.5 || at.0 >= last + 0.5 {
                return None;
            }
            let beat = at.0.floor().clamp(0.0, last - 1.0) as usize;
            sure[beat].then_some(Phase {
                role: note.role,
                time: note.time.0,
                beat,
                at: at.0 - at.0.floor(),
                length: length.0,
                parts: grid.beats()[beat].parts,
                weight: f64::from(2.0 * note.role_confidence - 1.0).clamp(0.05, 1.0),
            })
        })
        .collect()
}

/// Ratio of the long to the short part of beats that divide in two; none where fewer than
/// three off-beats are played or the beats divide otherwise.
///
/// The place of the off-beat is the median place of the fingers' off-beats less the fingers' own
/// lateness on the beat.
pub(super) fn swing(phases: &[Phase]) -> Option<Swing> {
    read(phases, |_| true, true)
}

/// Other readings of the same playing, for where one place of the bar alone drifts and pulls all
/// others with it: without a lateness of the hand, and by the off-beats of each beat of the bar
/// (`place` of a beat index) alone. Each with whether it takes the hand's lateness off.
pub(super) fn others(phases: &[Phase], place: impl Fn(usize) -> u8) -> Vec<(Swing, bool)> {
    let mut places: Vec<u8> = off_beats(phases, |_| true).map(|p| place(p.beat)).collect();
    places.sort_unstable();
    places.dedup();
    let mut found = Vec::new();
    for hand in [false, true] {
        if !hand {
            found.extend(read(phases, |_| true, hand).map(|s| (s, hand)));
        }
        for &at in &places {
            let own = read(phases, |p| place(p.beat) == at, hand);
            found.extend(own.map(|s| (s, hand)));
        }
    }
    found
}

/// At how many places of the bar (`place` of a beat index) the fingers play on the beat.
pub(super) fn places_on_beat(phases: &[Phase], place: impl Fn(usize) -> u8) -> usize {
    let fingers = phases
        .iter()
        .filter(|p| p.role == Role::Melody && p.on_beat());
    let mut places: Vec<u8> = fingers.map(|p| place(p.beat)).collect();
    places.sort_unstable();
    places.dedup();
    places.len()
}

fn off_beats<'a>(
    phases: &'a [Phase],
    keep: impl Fn(&Phase) -> bool + 'a,
) -> impl Iterator<Item = &'a Phase> + 'a {
    let fingers = phases
        .iter()
        .filter(|p| p.role == Role::Melody && p.parts == 2);
    fingers.filter(move |p| (OFF.0..OFF.1).contains(&p.at) && keep(p))
}

/// The off-beats that pass `keep`, less the hand's own lateness where `hand` says that it has one.
fn read(phases: &[Phase], keep: impl Fn(&Phase) -> bool, hand: bool) -> Option<Swing> {
    let mut off: Vec<f64> = off_beats(phases, keep).map(|p| p.at).collect();
    if off.len() < LEAST {
        return None;
    }
    let (mut on, unsure) = on_beat(phases);
    let (base, error) = if hand && on.len() >= LEAST {
        let centre = stats::median(&mut on)?;
        (centre, half_width(&on).max(unsure))
    } else {
        (0.0, 0.0)
    };
    let place = stats::median(&mut off)? - base;
    let half = half_width(&off).hypot(error);
    if !(0.2..0.85).contains(&place) {
        return None;
    }
    let ratio = |place: f64| {
        let place = place.clamp(0.05, 0.95);
        place / (1.0 - place)
    };
    Some(Swing {
        n: off.len(),
        ratio: ratio(place),
        low: ratio(place - half),
        high: ratio(place + half),
    })
}

/// Distances from the beat, as shares of it, of the fingers' notes on beats of two parts; attacks
/// shared with the thumb are taken apart, with the second value as the 95 % error of that.
fn on_beat(phases: &[Phase]) -> (Vec<f64>, f64) {
    let mut two: Vec<&Phase> = phases
        .iter()
        .filter(|p| p.parts == 2 && p.on_beat())
        .collect();
    two.sort_by(|a, b| a.time.total_cmp(&b.time));
    let mut touches: Vec<Touch> = two
        .iter()
        .map(|p| Touch {
            time: p.time,
            away: p.away_from_beat(),
            role: p.role,
            weight: p.weight,
        })
        .collect();
    let mut unsure = 0.0;
    if let Some(apart) = hand_gap::apart(&touches) {
        touches = hand_gap::taken_apart(&touches, &apart);
        let lengths = two.iter().map(|p| p.length).sum::<f64>();
        unsure = 1.96 * apart.sd * two.len() as f64 / lengths;
    }
    let on = two
        .iter()
        .zip(touches)
        .filter(|(p, _)| p.role == Role::Melody)
        .map(|(p, touch)| touch.away / p.length)
        .collect();
    (on, unsure)
}

/// Half of the 95 % interval of a median; the whole range where there are too few values.
fn half_width(sorted: &[f64]) -> f64 {
    match (
        stats::median_interval(sorted),
        sorted.first(),
        sorted.last(),
    ) {
        (Some((low, high)), ..) => (high - low) / 2.0,
        (None, Some(first), Some(last)) => (last - first) / 2.0,
        _ => 0.0,
    }
}

/// Place of the off-beat of two parts that a swing means: half way unless it reads as swung.
pub(super) fn place(swing: Option<Swing>) -> f64 {
    match swing.map(|s| s.feel()) {
        Some(Feel::Swung(ratio)) => off_beat(ratio),
        Some(Feel::Hurried(ratio)) => off_beat(1.0 / ratio),
        _ => 0.5,
    }
}

/// How much later than the thumb the fingers are, net of the slots; positive is behind. None
/// where either hand has fewer than three notes to tell it by.
///
/// Where beats divide in two, only fingers on the beat tell: an off-beat's lateness cannot be
/// told from swing; unless `hand` says that those drift by themselves, and all fingers tell. Notes of rolled chords count: they do sound later. Attacks that both hands
/// share are taken apart as [`hand_gap`] tells.
pub(super) fn lateness(phases: &[Phase], swing_place: f64, hand: bool) -> Option<Figure> {
    let halves = hand && 2 * phases.iter().filter(|p| p.parts == 2).count() > phases.len();
    let away = |p: &Phase| {
        (0..p.parts)
            .map(|part| p.at - slot::share(p.parts, part, swing_place))
            .chain([p.at - 1.0])
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .map_or(0.0, |away| away * p.length)
    };
    let mut touches: Vec<Touch> = phases
        .iter()
        .filter(|p| p.role == Role::Bass || !halves || p.on_beat())
        .map(|p| Touch {
            time: p.time,
            away: if halves && p.role == Role::Melody {
                p.away_from_beat()
            } else {
                away(p)
            },
            role: p.role,
            weight: p.weight,
        })
        .collect();
    touches.sort_by(|a, b| a.time.total_cmp(&b.time));
    let apart = hand_gap::apart(&touches);
    if let Some(apart) = &apart {
        touches = hand_gap::taken_apart(&touches, apart);
    }
    let of = |role: Role| -> Vec<(f64, f64)> {
        let own = touches.iter().filter(|t| t.role == role);
        own.map(|t| (t.away, t.weight)).collect()
    };
    let (mut thumb, mut fingers) = (of(Role::Bass), of(Role::Melody));
    if thumb.len() < LEAST || fingers.len() < LEAST {
        return None;
    }
    let plain =
        |pairs: &[(f64, f64)]| stats::figure(&pairs.iter().map(|p| p.0).collect::<Vec<_>>());
    let (t, f) = (plain(&thumb)?, plain(&fingers)?);
    let centre = stats::weighted_median(&mut fingers)? - stats::weighted_median(&mut thumb)?;
    let half = |figure: &Figure| Some((figure.high? - figure.low?).0 / 2.0);
    let both = half(&t).zip(half(&f)).map(|(a, b)| a.hypot(b));
    // Taking shared attacks apart has an error of its own.
    let both = both.map(|b| b.max(apart.map_or(0.0, |a| 1.96 * a.sd)));
    Some(Figure {
        n: f.n,
        centre: Span(centre),
        spread: Span(t.spread.0.hypot(f.spread.0)),
        low: both.map(|b| Span(centre - b)),
        high: both.map(|b| Span(centre + b)),
    })
}
