//! The left hand in millimetres: which frets it can hold at once, with which fingers, how hard.
//!
//! One model for chord shapes, changes, paths and the fingers shown in tablature. Frets lie where the
//! rule of the twelfth root of two puts them, a capo moves the nut, and what two fingers reach shrinks
//! no further up: three frets are a stretch at the nut and comfortable at the seventh. The reaches are
//! those of an adult's hand, from memory and tried on a guitar of 648 mm; no source. A small hand can
//! ask for less with [`Hand::reach`].

use super::harmonics::fret_distance_mm;

/// Scale length of a usual steel-string guitar, nut to saddle, in mm.
pub const SCALE_MM: f64 = 648.0;

/// From one string to the next near the nut, in mm (a nut of 43 mm; from memory).
const STRING_GAP_MM: f64 = 7.4;

/// Highest fret above the capo that the left hand is sent to.
pub const HIGHEST_FRET: i32 = 14;

/// Along the neck, what two fingers reach without a thought, and at most, in mm.
const REACH: [((u8, u8), f64, f64); 6] = [
    ((1, 2), 38.0, 70.0),
    ((1, 3), 70.0, 98.0),
    ((1, 4), 98.0, 128.0),
    ((2, 3), 36.0, 52.0),
    ((2, 4), 66.0, 88.0),
    ((3, 4), 36.0, 54.0),
];

/// Effort of one finger, of the thumb over the neck, of the little finger besides, and of a string
/// that a finger must keep silent, next to the bass or elsewhere. One finger on one string is the
/// unit's origin: 0.6.
const FINGER: f64 = 0.6;
const THUMB: f64 = 1.8;
const LITTLE: f64 = 0.1;
const LEANT: f64 = 1.1;
const MUTE: f64 = 1.3;
/// Effort of a full stretch.
const STRETCH: f64 = 1.3;
/// In one fret, each string that two fingers are further apart than two a finger.
const ACROSS: f64 = 0.05;
/// Each fret above the fourth.
const HEIGHT: f64 = 0.1;
/// What a barre of 2 to 6 (or more) strings adds, by the index finger and by another.
const BARRE: [f64; 5] = [0.35, 0.6, 0.9, 1.1, 1.2];
const OTHER_BARRE: [f64; 2] = [0.6, 0.75];
/// A barre of four strings or more is harder right behind the nut or the capo.
const AT_THE_NUT: f64 = 0.6;
/// The tip's joint bends back so that a string on the treble side stays clear: the index finger's, which
/// three fingers side by side spare, and another's.
const BENT_BACK: f64 = 1.0;
const OTHER_BENT_BACK: f64 = 0.4;
/// A small barre arches over a string that is stopped higher.
const ARCHED: f64 = 0.3;

/// A left hand on one guitar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hand {
    /// Scale length, nut to saddle, in mm.
    pub scale_mm: f64,
    /// Fret of the capo, 0 for none.
    pub capo: i32,
    /// What the fingers reach, as a share of an adult's usual reach: 0.7 to 1.3 make sense.
    pub reach: f64,
}

/// One finger on one or several strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Press {
    /// 0 is the thumb over the neck, 1 index, 2 middle, 3 ring, 4 little finger.
    pub finger: u8,
    /// Fret above the capo, at least 1.
    pub fret: i32,
    /// The string nearest to the bass that it covers (largest number).
    pub low: u8,
    /// The string nearest to the treble; the same as `low` unless it is a barre.
    pub high: u8,
}

impl Press {
    /// Strings that it covers.
    pub fn width(self) -> u8 {
        self.low - self.high + 1
    }

    /// Does it lie on `string`?
    pub fn covers(self, string: u8) -> bool {
        (self.high..=self.low).contains(&string)
    }
}

/// A way to hold some frets at once.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Grip {
    /// Fingers from the lowest fret and the bass side on; no finger twice.
    pub presses: Vec<Press>,
    /// Strings between sounding ones that a finger beside them keeps silent.
    pub muted: Vec<u8>,
    /// How hard it is, 0 for open strings; a common open chord lies about 2, a full barre about 3.
    pub effort: f64,
    /// From the lowest to the highest fingertip along the neck, in mm.
    pub span_mm: f64,
}

impl Grip {
    /// The finger on `string`: 0 thumb to 4 little finger; none when it is open or silent.
    pub fn finger(&self, string: u8, fret: i32) -> Option<u8> {
        self.presses
            .iter()
            .find(|p| p.fret == fret && p.covers(string))
            .map(|p| p.finger)
    }

    /// The fret of the index finger, or the one it would stand at beside the others; 0 when nothing is held.
    pub fn position(&self) -> i32 {
        let index = self.presses.iter().find(|p| p.finger == 1);
        let others = self.presses.iter().filter(|p| p.finger > 0);
        let beside = others.map(|p| (p.fret - i32::from(p.finger) + 1).max(1));
        index.map(|p| p.fret).or_else(|| beside.max()).unwrap_or(0)
    }

    /// The widest barre, in strings; 0 without one.
    pub fn barre(&self) -> u8 {
        let widths = self.presses.iter().map(|p| p.width());
        widths.filter(|w| *w > 1).max().unwrap_or(0)
    }
}

impl Default for Hand {
    fn default() -> Self {
        Self {
            scale_mm: SCALE_MM,
            capo: 0,
            reach: 1.0,
        }
    }
}

impl Hand {
    /// The usual hand with the capo at `fret`.
    pub fn with_capo(fret: i32) -> Self {
        Self {
            capo: fret.max(0),
            ..Self::default()
        }
    }

    /// Where a fingertip stands on `fret` above the capo, in mm from the nut: a quarter of the space
    /// behind the wire.
    pub fn at_mm(&self, fret: i32) -> f64 {
        let wire = |f: i32| fret_distance_mm(self.scale_mm, f64::from(f + self.capo));
        wire(fret) - 0.25 * (wire(fret) - wire(fret - 1))
    }

    /// How far apart two frets lie, in mm.
    pub fn between_mm(&self, a: i32, b: i32) -> f64 {
        (self.at_mm(a) - self.at_mm(b)).abs()
    }

    /// What it costs to hold fret `a` with finger `i` and fret `b` with finger `j` (1 to 4, `i` below
    /// `j`): 0 at ease, 1 at full stretch; none beyond.
    pub fn stretch(&self, i: u8, a: i32, j: u8, b: i32) -> Option<f64> {
        let (_, easy, most) = REACH.iter().find(|r| r.0 == (i, j))?;
        let apart = self.at_mm(b) - self.at_mm(a);
        if apart < -1e-9 {
            return None;
        }
        let (easy, most) = (easy * self.reach, most * self.reach);
        (apart <= most).then(|| ((apart - easy) / (most - easy)).max(0.0))
    }

    /// The easiest way to hold `frets` (string 1 first, 0 open, none not played); none when no hand
    /// can. A string that is not played between two that are must be one that a finger beside it can
    /// keep silent.
    pub fn grip(&self, frets: &[Option<i32>]) -> Option<Grip> {
        let muted = muted(frets)?;
        let stopped: Vec<(u8, i32)> = frets
            .iter()
            .enumerate()
            .filter_map(|(i, f)| f.filter(|f| *f > 0).map(|f| (i as u8 + 1, f)))
            .collect();
        if stopped.is_empty() {
            return muted.is_empty().then(Grip::default);
        }
        let mut best = self.fingered(frets, &stopped, None);
        // The thumb comes over for the sixth string of six.
        let last = frets.len() as u8;
        if last == 6
            && let Some(at) = stopped.iter().position(|(string, _)| *string == last)
        {
            let mut rest = stopped.clone();
            let (_, fret) = rest.remove(at);
            if let Some(with) = self.fingered(frets, &rest, Some(fret))
                && best.as_ref().is_none_or(|b| with.effort < b.effort)
            {
                best = Some(with);
            }
        }
        let mut grip = best?;
        // The finger on the bass leans against the next string; further up, a silent string is a hole
        // among those that are picked.
        let lowest = frets.iter().rposition(Option::is_some).unwrap_or(0);
        let beside = |string: u8| usize::from(string) == lowest && frets[lowest] > Some(0);
        let silent = muted.iter().map(|s| if beside(*s) { LEANT } else { MUTE });
        grip.effort += silent.sum::<f64>();
        grip.muted = muted;
        Some(grip)
    }

    /// The easiest fingers for `stopped` places, the thumb on `thumb` of the lowest string.
    fn fingered(
        &self,
        frets: &[Option<i32>],
        stopped: &[(u8, i32)],
        thumb: Option<i32>,
    ) -> Option<Grip> {
        if stopped.is_empty() {
            return None; // nobody brings the thumb over for a lone note
        }
        let mut best: Option<Grip> = None;
        for touches in groupings(frets, stopped) {
            let count = touches.len();
            // Every way to give rising fingers to the touches.
            for set in 1u8..16 {
                if set.count_ones() as usize != count {
                    continue;
                }
                let fingers = (1..=4u8).filter(|f| set & (1 << (f - 1)) != 0);
                let presses: Vec<Press> = fingers
                    .zip(&touches)
                    .map(|(finger, t)| Press { finger, ..*t })
                    .collect();
                let Some(effort) = self.effort(frets, &presses, thumb) else {
                    continue;
                };
                if best.as_ref().is_none_or(|b| effort < b.effort - 1e-9) {
                    best = Some(self.held(presses, thumb, frets.len() as u8, effort));
                }
            }
        }
        best
    }

    fn held(&self, mut presses: Vec<Press>, thumb: Option<i32>, last: u8, effort: f64) -> Grip {
        if let Some(fret) = thumb {
            let over = Press {
                finger: 0,
                fret,
                low: last,
                high: last,
            };
            presses.insert(0, over);
        }
        let low = presses.iter().map(|p| p.fret).min().unwrap_or(1);
        let high = presses.iter().map(|p| p.fret).max().unwrap_or(1);
        Grip {
            presses,
            muted: Vec::new(),
            effort,
            span_mm: self.between_mm(low, high),
        }
    }

    /// Effort of fingers in place; none when a hand cannot.
    fn effort(&self, frets: &[Option<i32>], presses: &[Press], thumb: Option<i32>) -> Option<f64> {
        let first = presses.first()?;
        let mut effort = 0.0;
        for (i, press) in presses.iter().enumerate() {
            effort += FINGER + if press.finger == 4 { LITTLE } else { 0.0 };
            effort += HEIGHT * f64::from((press.fret - 4).max(0));
            effort += barre(frets, *press)?;
            for other in &presses[i + 1..] {
                let strain = self.stretch(press.finger, press.fret, other.finger, other.fret)?;
                let across = f64::from(press.low.abs_diff(other.low)) * STRING_GAP_MM;
                // Side by side in one fret there is room for one string's width a finger, no more
                // than five.
                if press.fret == other.fret && across > 5.0 * STRING_GAP_MM + 1e-9 {
                    return None;
                }
                // Beside the index finger no other lies flat: the index finger itself would.
                if press.fret == other.fret && press.finger == 1 && other.width() > 1 {
                    return None;
                }
                if press.fret == other.fret {
                    let room = 2 * (other.finger - press.finger);
                    let far = press.high.abs_diff(other.low).saturating_sub(room);
                    effort += ACROSS * f64::from(far);
                }
                effort += STRETCH * strain;
            }
        }
        if presses.len() == 1 && first.width() > 2 {
            effort -= 0.3; // the whole hand leans on one finger
        }
        if let Some(fret) = thumb {
            // It stands opposite the index finger, and does not go with a wide barre.
            let near = (fret - first.fret).abs() <= 1 && fret < 8;
            if !near || first.width() > 3 {
                return None;
            }
            effort += THUMB;
        }
        Some(effort.max(0.0))
    }
}

/// What a barre adds; none for one that nobody can hold.
fn barre(frets: &[Option<i32>], press: Press) -> Option<f64> {
    let width = usize::from(press.width());
    if width == 1 {
        return Some(0.0);
    }
    // Strings on the treble side lie under the finger, too.
    let beyond = frets[..usize::from(press.high - 1)].iter().flatten();
    let free = beyond.filter(|f| **f < press.fret).count();
    if press.finger == 1 {
        let at_nut = width > 3 && press.fret == 1;
        let bent = match free {
            0 => 0.0,
            _ if width > 3 => return None,
            _ => BENT_BACK,
        };
        let inside = &frets[usize::from(press.high)..usize::from(press.low) - 1];
        let arched = width < 5 && inside.iter().flatten().any(|f| *f > press.fret);
        return Some(
            BARRE[(width - 2).min(4)]
                + bent
                + if at_nut { AT_THE_NUT } else { 0.0 }
                + if arched { ARCHED } else { 0.0 },
        );
    }
    let most = if press.finger == 4 { 2 } else { 3 };
    if width > most {
        return None;
    }
    let bent = if free > 0 { OTHER_BENT_BACK } else { 0.0 };
    let weak = if press.finger == 4 { 0.3 } else { 0.0 };
    Some(OTHER_BARRE[width - 2] + bent + weak)
}

/// Strings not played between sounding ones; none when one of them has no finger beside it.
fn muted(frets: &[Option<i32>]) -> Option<Vec<u8>> {
    let first = frets.iter().position(Option::is_some)?;
    let last = frets.iter().rposition(Option::is_some)?;
    let mut muted = Vec::new();
    for i in first..last {
        if frets[i].is_some() {
            continue;
        }
        let stopped = |j: usize| frets.get(j).copied().flatten().is_some_and(|f| f > 0);
        if !stopped(i + 1) && (i == 0 || !stopped(i - 1)) {
            return None;
        }
        muted.push(i as u8 + 1);
    }
    Some(muted)
}

/// All ways to join the stopped places of one fret to barres: fingers from the lowest fret up, in one
/// fret from the bass side on. The finger is still to be said.
fn groupings(frets: &[Option<i32>], stopped: &[(u8, i32)]) -> Vec<Vec<Press>> {
    let mut places = stopped.to_vec();
    places.sort_by_key(|(string, fret)| (*fret, std::cmp::Reverse(*string)));
    let mut ways: Vec<Vec<Press>> = vec![Vec::new()];
    for (string, fret) in places {
        let mut next = Vec::with_capacity(2 * ways.len());
        for way in ways {
            if let Some(last) = way.last().filter(|p| p.fret == fret) {
                let between = &frets[usize::from(string)..usize::from(last.high - 1)];
                if between.iter().flatten().all(|f| *f >= fret) {
                    let mut joined = way.clone();
                    if let Some(press) = joined.last_mut() {
                        press.high = string;
                    }
                    next.push(joined);
                }
            }
            if way.len() < 4 {
                let mut apart = way;
                apart.push(Press {
                    finger: 1,
                    fret,
                    low: string,
                    high: string,
                });
                next.push(apart);
            }
        }
        ways = next;
    }
    ways
}
