//! What the distance between notes and grid means for a player: slots, drift, swing, lateness,
//! steadiness, tempo — each with an interval and absent where it cannot be told.
//!
//! Owns the reading of a grid; it never moves a beat (`analysis/beat` does). Robust throughout:
//! centres are medians, spreads are scaled median distances.

use crate::analysis::Analysis;
use crate::music::grid::Grid;
use crate::music::note::{Attack, Note, Role};
use crate::unit::{Beats, Bpm, Seconds, Span};
use serde::{Deserialize, Serialize};

pub mod floor;
mod reference;
mod slot;
pub mod stats;
pub mod steady;
mod swing;
mod told;

pub use steady::{Steadiness, Trend};
pub use told::{Feel, Verdict};

/// What a note is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reference {
    /// The player's own tempo, smoothed: the grid as it is.
    #[default]
    OwnTempo,
    /// A strict tempo, as from a click or a host: beats of this length; without a figure, the
    /// steady tempo that fits the grid best.
    Strict(Option<Bpm>),
    /// The thumb itself: each beat where the thumb played it, where it did.
    Thumb,
    /// The player on a recording: each note where the recording has it. Only a comparison measures
    /// so ([`compare`](crate::compare)); a grid alone reads as
    /// [`Reference::OwnTempo`].
    Recording,
}

/// A place in the bar that a note is meant for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Slot {
    /// Beat in the bar, 1 is the downbeat.
    pub beat: u8,
    /// Part of the beat, 0 is the beat itself.
    pub part: u8,
    /// Parts the beat divides into.
    pub parts: u8,
}

/// How a note stands to its slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Meant for the slot: its drift is its timing.
    Plain,
    /// Part of a rolled chord, after its first note: late by the roll, not by drift.
    Rolled,
    /// A grace note just before the note it leads into.
    Grace,
    /// The same pluck found twice; the other one counts.
    Doubled,
    /// Between the slots: no slot is near enough to say which one was meant.
    Between,
}

/// One note against the grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteDrift {
    /// Bar it is in (see [`Beat::bar`](crate::music::grid::Beat::bar)).
    pub bar: i32,
    /// Slot it is meant for.
    pub slot: Slot,
    /// Place of that slot, in beats of the grid.
    pub at: Beats,
    /// How it stands to that slot.
    pub standing: Standing,
    /// Onset minus the slot's place; positive is late. None for a [`Standing::Between`].
    pub drift: Option<Span>,
    /// The same as a share of the beat.
    pub share: Option<f64>,
    /// Below this nobody hears it, or nobody can measure it here.
    pub floor: Span,
}

impl NoteDrift {
    /// The drift, when it is large enough to be heard and to be trusted, of a note whose timing
    /// counts.
    pub fn audible(&self) -> Option<Span> {
        self.drift
            .filter(|d| self.standing == Standing::Plain && d.abs().0 > self.floor.0)
    }
}

/// A robust summary of several drifts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// Notes it rests on.
    pub n: usize,
    /// Median.
    pub centre: Span,
    /// Robust spread: 1.4826 times the median distance from the median (an SD, were the
    /// drifts normally distributed).
    pub spread: Span,
    /// Lower end of the 95 % interval of the centre; none for fewer than six notes.
    pub low: Option<Span>,
    /// Upper end of it.
    pub high: Option<Span>,
}

/// Long against short part of the beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Swing {
    /// Off-beats it rests on.
    pub n: usize,
    /// Long part over short part: 1 is straight, 2 triplets.
    pub ratio: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
}

/// Drifts gathered at one slot of the bar, one hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SlotFigure {
    /// The slot.
    pub slot: Slot,
    /// Thumb or fingers.
    pub role: Role,
    /// Its drifts.
    pub figure: Figure,
    /// Median drift as a share of the beat.
    pub share: f64,
    /// Below this a single drift here is not heard.
    pub floor: Span,
    /// What the measuring itself may be wrong by: the interval must clear 0 by it.
    #[serde(default)]
    pub doubt: Span,
}

/// Drifts gathered in one bar, one hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BarFigure {
    /// Number of the bar.
    pub bar: i32,
    /// Thumb or fingers.
    pub role: Role,
    /// Its drifts.
    pub figure: Figure,
}

/// Eight bars, or what is left of them before free time or the end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Section {
    /// First bar.
    pub first: i32,
    /// Last bar.
    pub last: i32,
    /// Where it begins.
    pub from: Seconds,
    /// Where it ends.
    pub to: Seconds,
    /// The thumb's drifts.
    pub thumb: Option<Figure>,
    /// The fingers' drifts.
    pub fingers: Option<Figure>,
    /// Fingers against thumb.
    pub lateness: Option<Figure>,
    /// Long against short eighth.
    pub swing: Option<Swing>,
    /// Median tempo.
    pub tempo: Bpm,
}

/// A chord rolled from thumb to fingers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Roll {
    /// Indices of its notes, first to last.
    pub notes: Vec<usize>,
    /// From its first note to its last.
    pub spread: Span,
}

/// Everything that notes say against a grid. What cannot be told is absent.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Drift {
    /// What it was measured against.
    pub reference: Reference,
    /// How much later the whole take came than what it is measured against, taken off before all
    /// else was told; none where there is no such lateness, or no common clock to tell it by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late: Option<Figure>,
    /// One for each note given, in the same order; none in free time, where the beat is unsure and
    /// outside the grid.
    pub notes: Vec<Option<NoteDrift>>,
    /// By slot of the bar and hand, in order of the bar.
    pub slots: Vec<SlotFigure>,
    /// By bar and hand.
    pub bars: Vec<BarFigure>,
    /// By eight bars.
    pub sections: Vec<Section>,
    /// Rolled chords.
    pub rolls: Vec<Roll>,
    /// The thumb's drifts.
    pub thumb: Option<Figure>,
    /// The fingers' drifts.
    pub fingers: Option<Figure>,
    /// Fingers against thumb, net of the slots; positive is behind.
    pub lateness: Option<Figure>,
    /// Long against short eighth, where beats divide in two.
    pub swing: Option<Swing>,
    /// Where the player has set the off-beat, share of the beat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_off_beat: Option<f64>,
    /// How evenly the thumb keeps the beat.
    pub steadiness: Option<Steadiness>,
    /// The course of the tempo.
    pub trend: Option<Trend>,
}

impl Drift {
    /// Where the off-beat of beats of two parts is held to be, share of the beat: where the player
    /// has set it, else where the playing swings it, else half way.
    pub fn off_beat(&self) -> f64 {
        off(self.set_off_beat, self.swing)
    }

    /// The slots at which the drift repeats.
    pub fn slants(&self) -> impl Iterator<Item = &SlotFigure> {
        self.slots.iter().filter(|s| s.slant().is_some())
    }
}

/// Bars of one [`Section`].
const SECTION: i32 = 8;
/// Half of the 95 % interval of a single onset and of the place the grid gives its slot: onsets
/// are found within about 1.5 ms (SD), beats within about 2.5 ms (SD). Measured on rendered
/// pieces.
const MEASURING: Span = Span::from_ms(5.7);

/// Measures what was heard against its own grid; where something else than one guitar plays there are no
/// thumb and fingers to measure, and nothing is.
pub fn of(found: &Analysis, reference: Reference) -> Drift {
    if found.solo.is_one_guitar() {
        return measure(&found.notes, &found.grid, reference);
    }
    Drift {
        reference,
        notes: vec![None; found.notes.len()],
        ..Drift::default()
    }
}

/// Measures `notes` against `grid`.
pub fn measure(notes: &[Note], grid: &Grid, reference: Reference) -> Drift {
    measure_pinned(notes, grid, reference, &[])
}

/// Measures `notes` against `grid`; notes in `pins` (index, and an instant near the slot) are
/// meant for the slot that a player named, however far they lie from it.
pub fn measure_pinned(
    notes: &[Note],
    grid: &Grid,
    reference: Reference,
    pins: &[(usize, Seconds)],
) -> Drift {
    if grid.is_empty() {
        return Drift {
            reference,
            notes: vec![None; notes.len()],
            ..Drift::default()
        };
    }
    let phases = swing::phases(notes, grid);
    let read = |swing, hand| {
        let given = Given {
            notes,
            grid,
            reference,
            pins,
            phases: &phases,
        };
        read_as(&given, swing, hand)
    };
    let mut best = read(swing::swing(&phases), true);
    if grid.off_beat.is_some() {
        return best;
    }
    // One place that drifts can be taken for a swing of all others, or for a hand that is late: of
    // all readings the one with the fewest causes is the simplest.
    let place = |beat: usize| grid.beats()[beat].place;
    let mut fewest = best.causes(notes);
    for (swing, hand) in swing::others(&phases, place) {
        if fewest == 0 || best.slants().next().is_none() {
            break;
        }
        let other = read(Some(swing), hand);
        let causes = other.causes(notes);
        if causes < fewest {
            (best, fewest) = (other, causes);
        }
    }
    best
}

/// What is measured, and against what.
struct Given<'a> {
    notes: &'a [Note],
    grid: &'a Grid,
    reference: Reference,
    pins: &'a [(usize, Seconds)],
    phases: &'a [swing::Phase],
}

/// Measures with the off-beats read as `swing`, and with a lateness of the fingers' hand on the beat
/// taken off them where `hand` says so.
fn read_as(given: &Given, swing: Option<Swing>, hand: bool) -> Drift {
    let &Given {
        notes,
        grid,
        reference,
        pins,
        phases,
    } = given;
    let mut drift = Drift {
        reference,
        notes: vec![None; notes.len()],
        swing,
        set_off_beat: grid.off_beat,
        ..Drift::default()
    };
    let off = drift.off_beat();
    drift.lateness = swing::lateness(phases, off, hand);
    drift.trend = steady::trend(grid);

    let mut order: Vec<usize> = (0..notes.len())
        .filter(|&i| notes[i].time.0.is_finite() && notes[i].attack != Attack::Tap)
        .collect();
    order.sort_by(|&a, &b| notes[a].time.total_cmp(&notes[b].time));
    let late = drift.lateness.map_or(0.0, |l| l.centre.0);
    let mut placed: Vec<Option<slot::Placed>> = vec![None; notes.len()];
    let sure = grid.sure();
    for &i in &order {
        let late = if notes[i].role == Role::Melody {
            late
        } else {
            0.0
        };
        placed[i] = slot::nearest(grid, notes[i].time, late, off).filter(|p| sure[p.beat]);
    }
    let rolls = slot::mark(grid, notes, &order, &mut placed);
    for &(i, near) in pins.iter().filter(|(i, _)| *i < notes.len()) {
        let pinned = slot::nearest(grid, near, 0.0, off);
        placed[i] = pinned.map(|p| slot::Placed {
            standing: Standing::Plain,
            ..p
        });
    }
    drift.rolls = rolls
        .into_iter()
        .map(|chord| Roll {
            spread: notes[chord[chord.len() - 1]].time - notes[chord[0]].time,
            notes: chord,
        })
        .collect();
    let thumbs = thumbs(notes, &order, &placed);
    drift.steadiness = steady::thumb(&thumbs, grid, !matches!(reference, Reference::Strict(_)));
    let against = reference::grid(grid, reference, &thumbs);
    let gaps = gaps(notes, &order);
    for &i in &order {
        drift.notes[i] = placed[i].and_then(|p| read(&notes[i], p, &against, gaps[i]));
    }
    if reference == Reference::Thumb {
        leave_out_unmeasured(&mut drift, notes, &order);
    }
    summarise(&mut drift, notes, grid, phases);
    drift
}

/// A finger note with the very time of a thumb note was not measured for itself: against the thumb it
/// would show a closeness that nobody played.
fn leave_out_unmeasured(drift: &mut Drift, notes: &[Note], order: &[usize]) {
    for same in order.chunk_by(|a, b| notes[*a].time == notes[*b].time) {
        let role = |i: &usize| notes[*i].role;
        if !same.iter().any(|i| role(i) == Role::Bass) {
            continue;
        }
        for i in same.iter().filter(|i| role(i) == Role::Melody) {
            if let Some(found) = &mut drift.notes[*i] {
                (found.drift, found.share) = (None, None);
            }
        }
    }
}

/// The off-beat's share of the beat: as it was set, else as it is played.
fn off(set: Option<f64>, played: Option<Swing>) -> f64 {
    set.filter(|share| (0.5..=0.75).contains(share))
        .unwrap_or_else(|| swing::place(played))
}

/// One note's drift against the reference's grid.
fn read(note: &Note, placed: slot::Placed, against: &Grid, gap: Span) -> Option<NoteDrift> {
    let place = against.time_at(placed.at)?;
    let drift = (placed.standing != Standing::Between).then_some(note.time - place);
    let interval = if gap < placed.length {
        gap
    } else {
        placed.length
    };
    Some(NoteDrift {
        bar: placed.bar,
        slot: placed.slot,
        at: placed.at,
        standing: placed.standing,
        drift,
        share: drift.map(|d| d.0 / placed.length.0),
        floor: floor::shown(interval, MEASURING),
    })
}

/// Thumb notes on beats, one a beat: (beat index, seconds).
fn thumbs(notes: &[Note], order: &[usize], placed: &[Option<slot::Placed>]) -> Vec<(usize, f64)> {
    let mut found: Vec<(usize, f64)> = Vec::new();
    for &i in order {
        let Some(p) = placed[i] else { continue };
        let plain = p.standing == Standing::Plain && p.slot.part == 0;
        if plain && notes[i].role == Role::Bass && found.last().is_none_or(|f| f.0 < p.beat) {
            found.push((p.beat, notes[i].time.0));
        }
    }
    found
}

/// Distance of each note to the nearest one that a listener hears apart from it.
fn gaps(notes: &[Note], order: &[usize]) -> Vec<Span> {
    const APART: f64 = 0.035;
    let mut gaps = vec![Span(f64::MAX); notes.len()];
    for (k, &i) in order.iter().enumerate() {
        let time = notes[i].time;
        let before = order[..k].iter().rev().map(|&j| time - notes[j].time);
        let after = order[k + 1..].iter().map(|&j| notes[j].time - time);
        for gap in [
            before.into_iter().find(|g| g.0 > APART),
            after.into_iter().find(|g| g.0 > APART),
        ]
        .into_iter()
        .flatten()
        {
            if gap < gaps[i] {
                gaps[i] = gap;
            }
        }
    }
    gaps
}

/// Drifts whose timing counts, of one hand, that pass `keep`.
fn gather(
    drift: &Drift,
    notes: &[Note],
    role: Role,
    keep: impl Fn(usize, &NoteDrift) -> bool,
) -> Vec<f64> {
    drift
        .notes
        .iter()
        .enumerate()
        .filter(|&(i, _)| notes[i].role == role)
        .filter_map(|(i, d)| d.as_ref().map(|d| (i, d)))
        .filter(|(i, d)| d.standing == Standing::Plain && keep(*i, d))
        .filter_map(|(_, d)| d.drift.map(|d| d.0))
        .collect()
}

fn summarise(drift: &mut Drift, notes: &[Note], grid: &Grid, phases: &[swing::Phase]) {
    drift.thumb = stats::figure(&gather(drift, notes, Role::Bass, |_, _| true));
    drift.fingers = stats::figure(&gather(drift, notes, Role::Melody, |_, _| true));
    let length = grid.tempo().map_or(0.5, |t| t.beat().0);
    let mut keys: Vec<Slot> = drift.notes.iter().flatten().map(|d| d.slot).collect();
    keys.sort();
    keys.dedup();
    for slot in keys {
        for role in [Role::Bass, Role::Melody] {
            let here = gather(drift, notes, role, |_, d| d.slot == slot);
            let floors = drift.notes.iter().flatten().filter(|d| d.slot == slot);
            let floor = floors.map(|d| d.floor.0).fold(0.0, f64::max);
            drift
                .slots
                .extend(stats::figure(&here).map(|figure| SlotFigure {
                    slot,
                    role,
                    figure,
                    share: figure.centre.0 / length,
                    floor: Span(floor),
                    doubt: Span(0.0),
                }));
        }
    }
    let bars = grid.bars();
    for bar in &bars {
        for role in [Role::Bass, Role::Melody] {
            let here = gather(drift, notes, role, |_, d| d.bar == bar.number);
            let figure = stats::figure(&here);
            drift.bars.extend(figure.map(|figure| BarFigure {
                bar: bar.number,
                role,
                figure,
            }));
        }
    }
    drift.sections = sections(drift, notes, grid, phases);
}

fn sections(drift: &Drift, notes: &[Note], grid: &Grid, phases: &[swing::Phase]) -> Vec<Section> {
    let bars = grid.bars();
    let mut sections = Vec::new();
    for run in grid.runs() {
        let inside: Vec<_> = bars
            .iter()
            .filter(|b| run.contains(&b.first_beat))
            .collect();
        for chunk in inside.chunks(SECTION as usize) {
            let (first, last) = (chunk[0], chunk[chunk.len() - 1]);
            let beats = first.first_beat..last.first_beat + last.beats;
            let here: Vec<swing::Phase> = phases
                .iter()
                .filter(|p| beats.contains(&p.beat))
                .copied()
                .collect();
            let swing = swing::swing(&here);
            let within = |i: usize, _: &NoteDrift| (first.start..last.end).contains(&notes[i].time);
            let count: usize = chunk.iter().map(|b| b.beats).sum();
            let tempo = Bpm(60.0 * count as f64 / (last.end - first.start).0.max(1e-3));
            sections.push(Section {
                first: first.number,
                last: last.number,
                from: first.start,
                to: last.end,
                thumb: stats::figure(&gather(drift, notes, Role::Bass, within)),
                fingers: stats::figure(&gather(drift, notes, Role::Melody, within)),
                lateness: swing::lateness(&here, off(grid.off_beat, swing), true),
                swing,
                tempo,
            });
        }
    }
    sections
}

/// How a slot is counted aloud: "2" on the beat, "2 &" between halves, "2 e", "2 &", "2 a" for
/// sixteenths, "2 trip", "2 let" for triplets.
impl std::fmt::Display for Slot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let syllable = match (self.parts, self.part) {
            (_, 0) => return write!(f, "{}", self.beat),
            (2, 1) | (4, 2) => "&",
            (4, 1) => "e",
            (4, 3) => "a",
            (3, 1) => "trip",
            (3, 2) => "let",
            (parts, part) => return write!(f, "{} {}/{parts}", self.beat, part + 1),
        };
        write!(f, "{} {syllable}", self.beat)
    }
}
