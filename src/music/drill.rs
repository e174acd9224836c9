//! Lessons made from a picking pattern, a scale path, a technique or a guitar's harmonics: stages, each
//! with its goal, what to say, a rule for the tempo and a rest.
//!
//! Owns what is practised and in which order; how it sounds is `dsp::pluck`, when each note falls is
//! `performance`. Pattern stages stay on open strings, so that the left hand rests, unless chords are
//! given. The order (thumb alone, say and mute, together, off the beat, backbeat click, silent bars)
//! is common practice, no source.

use super::chord::{Chord, Shape};
use super::fingering::Path;
use super::meter::Meter;
use super::note::{Attack, Role};
use super::performance::{Manner, Performance, PlayedNote};
use super::picking::{Cell, CellNote, count, swung, thumb_walk};
use super::pitch::Key;
use super::progression::Held;
use super::scale::Scale;
use super::score::{Finger, Score, Written};
use super::syncopation::Sense;
use super::tuning::Tuning;
use crate::dsp::pluck::Played;
use crate::unit::{Beats, Bpm, Seconds, Span};

/// Which beats click while a stage is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Clicks {
    /// As the session has it: every beat or none.
    #[default]
    AsAsked,
    /// On two and four: the player keeps one and three.
    Backbeat,
    /// Every other bar.
    EveryOtherBar,
    /// Two bars with it, two in silence: does the next click fall on your beat?
    TwoAndTwo,
}

impl Clicks {
    /// Does beat `beat` of bar `bar` (both from 0) click?
    fn on(self, bar: usize, beat: usize, asked: bool) -> bool {
        match self {
            Self::AsAsked => asked,
            Self::Backbeat => beat % 2 == 1,
            Self::EveryOtherBar => bar.is_multiple_of(2),
            Self::TwoAndTwo => bar % 4 < 2,
        }
    }
}

/// One step of a lesson.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What is practised, in a player's words.
    pub title: String,
    /// When it is good: what to hear before going on.
    pub goal: String,
    /// What to say aloud, where saying helps.
    pub say: Option<String>,
    /// When to go faster and when slower.
    pub tempo_rule: &'static str,
    /// Hands off afterwards, at least so long.
    pub rest: Span,
    /// Which beats click.
    pub clicks: Clicks,
    /// Share of a beat that its first half takes: 0.5 is straight.
    pub swing: f64,
    /// What is played, once through.
    pub score: Score,
}

/// The rule for the tempo of most stages.
const FASTER: &str = "Four times clean: 4 beats a minute faster. Twice spoiled: 8 slower.";
/// Of stages that are played slowly on purpose.
const SLOWLY: &str = "Stay at the slowest tempo until it is easy; speed comes in the next stages.";
/// Rest after a stage.
const REST: Span = Span(8.0);

impl Stage {
    fn new(title: &str, goal: &str, score: Score) -> Self {
        Self {
            title: title.to_owned(),
            goal: goal.to_owned(),
            say: None,
            tempo_rule: FASTER,
            rest: REST,
            clicks: Clicks::AsAsked,
            swing: 0.5,
            score,
        }
    }

    fn saying(mut self, words: String) -> Self {
        self.say = Some(words);
        self
    }

    fn clicking(mut self, clicks: Clicks) -> Self {
        self.clicks = clicks;
        self
    }
}

/// A chord to practise a pattern on.
type On<'a> = Option<(&'a Shape, &'a Chord)>;

/// What a pattern becomes on open strings: see [`lesson`].
pub fn pattern_stages(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
) -> Vec<Stage> {
    lesson(name, cell, tuning, tempo, bars, &[])
}

/// A pattern as a lesson of a few stages, each of `bars` bars (rounded up to whole cells), a chord a
/// cell where `chords` are given.
///
/// An arpeggio is planted as a block, rolled, then played whole. Everything else begins with the thumb
/// alone, is said and tapped on muted strings, then played with the melody on the beats it belongs to
/// (`syncopation::senses`); then notes are pushed ahead of their beat, then delayed behind it, to the
/// whole pattern. A pattern off the beat is played against a click on two and four and through silent
/// bars; one that swings first straight; chords are joined at last.
pub fn lesson(
    name: &str,
    cell: &Cell,
    tuning: &Tuning,
    tempo: Bpm,
    bars: usize,
    chords: &[Held],
) -> Vec<Stage> {
    let writer = Writer {
        name,
        cell,
        tuning,
        tempo,
        bars,
        chords,
    };
    let mut stages = if is_arpeggio(cell) {
        writer.arpeggio()
    } else {
        writer.against_the_thumb()
    };
    if cell.swing > 0.5
        && let Some(whole) = stages.last().cloned()
    {
        let mut swing = whole.clone();
        if let Some(straight) = stages.last_mut() {
            straight.title += ", straight";
        }
        swing.title += ", swung";
        swing.swing = cell.swing;
        "long and short are the same in every beat, and the thumb stays on the beat"
            .clone_into(&mut swing.goal);
        stages.push(swing.saying("ONE-a TWO-a THREE-a FOUR-a".to_owned()));
    }
    let syncopated = cell
        .melody_senses()
        .iter()
        .any(|(_, s)| *s != Sense::Passing);
    if syncopated
        && !is_arpeggio(cell)
        && let Some(whole) = stages.last().cloned()
    {
        if cell.meter == Meter::COMMON {
            let mut back = whole.clone().clicking(Clicks::Backbeat);
            "the whole pattern, click on two and four".clone_into(&mut back.title);
            "you count one and three; the click answers".clone_into(&mut back.goal);
            stages.push(back);
        }
        let mut silent = whole.clicking(Clicks::TwoAndTwo);
        "the whole pattern, two bars with the click and two without".clone_into(&mut silent.title);
        "the click comes back on your beat".clone_into(&mut silent.goal);
        stages.push(silent);
    }
    if chords.len() > 1 {
        stages.push(writer.join());
    }
    stages
}

/// Does every slot sound in turn, with two or more fingers' strokes after a thumb's?
fn is_arpeggio(cell: &Cell) -> bool {
    let mut places: Vec<f64> = cell.notes.iter().map(|n| n.at.0).collect();
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let Some(step) = places
        .windows(2)
        .map(|p| p[1] - p[0])
        .min_by(f64::total_cmp)
    else {
        return false;
    };
    let even = (places.len() as f64 * step - cell.beats()).abs() < 1e-6
        && places.windows(2).all(|p| (p[1] - p[0] - step).abs() < 1e-6);
    let special = cell
        .notes
        .iter()
        .any(|n| n.touch.brush.is_some() || n.attack != Attack::Pluck);
    let thumb = |at: f64| {
        cell.notes
            .iter()
            .any(|n| n.role == Role::Bass && (n.at.0 - at).abs() < 1e-6)
    };
    let run = places.windows(2).any(|p| !thumb(p[0]) && !thumb(p[1]));
    even && !special && step < 1.0 - 1e-6 && run && thumb(places[0])
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

/// A count as it is said: `2&` is `two-and`, `2e` `two-e`, `2a` `two-a`.
fn spoken_count(text: &str) -> String {
    const NUMBERS: [&str; 12] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    let digits: String = text.chars().take_while(char::is_ascii_digit).collect();
    let number: usize = digits.parse().unwrap_or(0);
    let said = match number.checked_sub(1).and_then(|i| NUMBERS.get(i)) {
        Some(word) => (*word).to_owned(),
        None => digits.clone(),
    };
    match &text[digits.len()..] {
        "" => said,
        "&" => format!("{said}-and"),
        "e" => format!("{said}-e"),
        "a" => format!("{said}-a"),
        "+1/3" => format!("{said}-trip"),
        "+2/3" => format!("{said}-let"),
        _ => said,
    }
}

/// Writes a pattern's stages.
struct Writer<'a> {
    name: &'a str,
    cell: &'a Cell,
    tuning: &'a Tuning,
    tempo: Bpm,
    bars: usize,
    chords: &'a [Held],
}

impl Writer<'_> {
    fn of_part(&self, role: Role) -> Vec<CellNote> {
        let notes = self.cell.notes.iter().filter(|n| n.role == role);
        notes.cloned().collect()
    }

    fn stage(&self, title: &str, goal: &str, notes: &[CellNote]) -> Stage {
        Stage::new(title, goal, self.score(title, notes))
    }

    /// Places as they are counted, bar by bar: `2& 3& | 4&`.
    fn counted(&self, places: &[f64]) -> String {
        self.named(places, " | ", str::to_owned)
    }

    /// The same to be spoken: `two-and three-and, four-and`.
    fn spoken(&self, places: &[f64]) -> String {
        self.named(places, ", ", spoken_count)
    }

    fn named(&self, places: &[f64], between: &str, name: impl Fn(&str) -> String) -> String {
        let per_bar = f64::from(self.cell.meter.beats().max(1));
        let mut places = places.to_vec();
        places.sort_by(f64::total_cmp);
        places.dedup_by(|a, b| same(*a, *b));
        let bars: Vec<String> = (0..self.cell.bars.max(1))
            .map(|bar| {
                let inside = places
                    .iter()
                    .filter(|p| (**p / per_bar + 1e-9).floor() as u8 == bar);
                let names: Vec<String> = inside
                    .map(|p| name(&count(self.cell.meter, Beats(*p))))
                    .collect();
                if names.is_empty() {
                    "–".to_owned()
                } else {
                    names.join(" ")
                }
            })
            .collect();
        bars.join(between)
    }

    fn places(&self) -> Vec<f64> {
        self.cell.notes.iter().map(|n| n.at.0).collect()
    }

    /// Planted block, roll, half, whole.
    fn arpeggio(&self) -> Vec<Stage> {
        let thumb: Vec<f64> = self.of_part(Role::Bass).iter().map(|n| n.at.0).collect();
        let group_of = |at: f64| {
            let before = thumb.iter().copied().filter(|t| *t <= at + 1e-6);
            before.fold(0.0, f64::max)
        };
        let mut block: Vec<CellNote> = Vec::new();
        for note in &self.cell.notes {
            let mut note = note.clone();
            note.at = Beats(group_of(note.at.0));
            let there =
                |n: &CellNote| same(n.at.0, note.at.0) && n.strings.first() == note.strings.first();
            if !block.iter().any(there) {
                block.push(note);
            }
        }
        let first = group_of(0.0);
        let second = thumb.iter().copied().find(|t| *t > first + 1e-6);
        let group: Vec<CellNote> = self
            .cell
            .notes
            .iter()
            .filter(|n| same(group_of(n.at.0), first))
            .cloned()
            .collect();
        // One stroke a beat, as slowly as the bar allows.
        let slots = {
            let mut places: Vec<f64> = group.iter().map(|n| n.at.0).collect();
            places.sort_by(f64::total_cmp);
            places.dedup_by(|a, b| same(*a, *b));
            places
        };
        let room = self.cell.beats() / slots.len().max(1) as f64;
        let pace = if room >= 1.0 { 1.0 } else { room };
        let slow: Vec<CellNote> = group
            .iter()
            .map(|note| {
                let mut note = note.clone();
                let slot = slots.iter().position(|p| same(*p, note.at.0)).unwrap_or(0);
                note.at = Beats(slot as f64 * pace);
                note
            })
            .collect();
        let fingers: Vec<String> = slots
            .iter()
            .filter_map(|at| group.iter().find(|n| same(n.at.0, *at)))
            .map(|n| n.finger.to_string())
            .collect();
        let mut stages = vec![
            self.stage(
                "planted block",
                "every finger rests on its string before any sounds; all sound as one",
                &block,
            )
            .saying("plant, play".to_owned()),
            self.stage(
                "the roll, one stroke after the other",
                "each finger leaves its string only when its turn comes; all are equally loud",
                &slow,
            )
            .saying(fingers.join(" ")),
        ];
        stages[0].tempo_rule = SLOWLY;
        stages[1].tempo_rule = SLOWLY;
        if second.is_some() {
            stages.push(self.stage(
                "the first roll in time, then rest",
                "it ends exactly where the next one would begin",
                &group,
            ));
        }
        let whole = self.stage(
            "the whole pattern",
            "no seam is heard between one roll and the next; the thumb is no louder",
            &self.cell.notes,
        );
        stages.push(whole.saying(self.spoken(&self.places())));
        stages
    }

    /// Thumb alone, said on muted strings, together, pushed, delayed, whole.
    fn against_the_thumb(&self) -> Vec<Stage> {
        let thumb = self.of_part(Role::Bass);
        let melody = self.of_part(Role::Melody);
        let mut stages = Vec::new();
        let beats: Vec<f64> = thumb.iter().map(|n| n.at.0).collect();
        if !thumb.is_empty() {
            let alone = self.stage(
                "thumb alone",
                "every stroke is as loud as the last and falls on the click",
                &thumb,
            );
            stages.push(alone.saying(self.spoken(&beats)));
        }
        if melody.is_empty() {
            return stages;
        }
        let off: Vec<(f64, Sense)> = self.cell.melody_senses();
        if off.is_empty() {
            let whole = self.stage(
                "the whole pattern",
                "thumb and fingers sound as one wherever they meet",
                &self.cell.notes,
            );
            stages.push(whole.saying(self.spoken(&self.places())));
            return stages;
        }
        let mut muted = self.cell.notes.clone();
        for note in &mut muted {
            if note.attack == Attack::Pluck {
                note.attack = Attack::Dead;
            }
        }
        let say = self.stage(
            "say it and tap it on muted strings",
            "what you say and what you tap are one; then mute nothing and listen for the same",
            &muted,
        );
        let mut say = say.saying(self.spoken(&self.places()));
        say.tempo_rule = SLOWLY;
        let on_beat = self.freed(&thumb, &melody, &off, |_| false);
        stages.push(self.stage(
            "melody with the thumb",
            "each melody note stands on the beat it belongs to; thumb and finger sound as one",
            &on_beat,
        ));
        stages.push(say);
        let of = |wanted: fn(&Sense) -> bool| -> Vec<f64> {
            let found = off.iter().filter(|(_, s)| wanted(s));
            found.map(|(at, _)| *at).collect()
        };
        let pushed = of(|s| matches!(s, Sense::Pushed { .. }));
        let delayed = of(|s| matches!(s, Sense::Delayed { .. }));
        let passing = of(|s| *s == Sense::Passing);
        let mut free: Vec<f64> = Vec::new();
        let mut steps: Vec<(String, String, Vec<f64>)> = Vec::new();
        if !passing.is_empty() {
            let named = self.counted(&passing);
            steps.push((
                format!("between the beats, {named}"),
                "it passes half-way, and hurries nothing".to_owned(),
                passing,
            ));
        }
        for (places, word, goal) in [
            (
                &pushed,
                "pushed",
                "it belongs to the next beat and comes early; that beat stays silent above the thumb",
            ),
            (
                &delayed,
                "delayed",
                "it belongs to the beat before and comes late; the thumb does not wait for it",
            ),
        ] {
            // One place first, then all of its kind.
            if let [first, _, ..] = places.as_slice() {
                let named = self.counted(&[*first]);
                steps.push((format!("{word}, {named}"), goal.to_owned(), vec![*first]));
            }
            if !places.is_empty() {
                let named = self.counted(places);
                steps.push((format!("{word}, {named}"), goal.to_owned(), places.clone()));
            }
        }
        let all = off.len();
        for (title, goal, places) in steps {
            for place in places {
                if !free.iter().any(|f| same(*f, place)) {
                    free.push(place);
                }
            }
            if free.len() == all {
                break;
            }
            let notes = self.freed(&thumb, &melody, &off, |at| {
                free.iter().any(|f| same(*f, at))
            });
            let stage = self.stage(&title, &goal, &notes);
            stages
                .push(stage.saying(self.spoken(&notes.iter().map(|n| n.at.0).collect::<Vec<_>>())));
        }
        let pushes = if pushed.is_empty() {
            String::new()
        } else {
            format!(", {} pushed", self.counted(&pushed))
        };
        let delays = if delayed.is_empty() {
            String::new()
        } else {
            format!(", {} delayed", self.counted(&delayed))
        };
        let whole = self.stage(
            &format!("the whole pattern{pushes}{delays}"),
            "the thumb is as steady as it was alone",
            &self.cell.notes,
        );
        stages.push(whole.saying(self.spoken(&self.places())));
        stages
    }

    /// The thumb, and the melody with what is not free on the beat that it belongs to.
    fn freed(
        &self,
        thumb: &[CellNote],
        melody: &[CellNote],
        off: &[(f64, Sense)],
        free: impl Fn(f64) -> bool,
    ) -> Vec<CellNote> {
        let parts = f64::from(self.cell.division.max(1));
        let length = self.cell.beats();
        let mut notes = thumb.to_vec();
        for note in melody {
            let mut note = note.clone();
            let sense = off.iter().find(|(at, _)| same(*at, note.at.0)).map(|o| o.1);
            if let Some(sense) = sense.filter(|_| !free(note.at.0)) {
                note.at = match sense {
                    Sense::Pushed { to } => Beats((to as f64 / parts).rem_euclid(length)),
                    Sense::Delayed { from } => Beats(from as f64 / parts),
                    Sense::Passing => continue,
                };
            }
            let taken = notes
                .iter()
                .any(|n| same(n.at.0, note.at.0) && n.strings.first() == note.strings.first());
            if !taken {
                notes.push(note);
            }
        }
        notes.sort_by(|a, b| a.at.total_cmp(&b.at));
        notes
    }

    /// The second half of one bar and the first half of the next, over the change of chord.
    fn join(&self) -> Stage {
        let half = self.cell.beats() / 2.0;
        let late: Vec<CellNote> = self
            .cell
            .notes
            .iter()
            .filter(|n| n.at.0 >= half - 1e-6)
            .cloned()
            .collect();
        let early: Vec<CellNote> = self
            .cell
            .notes
            .iter()
            .filter(|n| n.at.0 < half - 1e-6)
            .cloned()
            .collect();
        let length = self.cell.beats();
        let mut written = Vec::new();
        for (i, pair) in self.chords.windows(2).enumerate() {
            let start = 2.0 * i as f64 * length;
            self.write(
                &mut written,
                &late,
                start,
                Some((&pair[0].shape, &pair[0].chord)),
            );
            self.write(
                &mut written,
                &early,
                start + length,
                Some((&pair[1].shape, &pair[1].chord)),
            );
        }
        let score = self.finished("the joins", written);
        Stage::new(
            "the joins: half a bar into half a bar",
            "the hand arrives with the first note of the new chord, not after it",
            score,
        )
    }

    fn score(&self, title: &str, notes: &[CellNote]) -> Score {
        let per = usize::from(self.cell.bars.max(1));
        let times = self.bars.max(1).div_ceil(per).max(self.chords.len());
        let mut written = Vec::new();
        for time in 0..times {
            let start = time as f64 * self.cell.beats();
            let on = (!self.chords.is_empty())
                .then(|| &self.chords[time % self.chords.len()])
                .map(|held| (&held.shape, &held.chord));
            self.write(&mut written, notes, start, on);
        }
        self.finished(title, written)
    }

    fn finished(&self, title: &str, notes: Vec<Written>) -> Score {
        let mut score = Score {
            title: format!("{}: {title}", self.name),
            tuning: self.tuning.clone(),
            meter: self.cell.meter,
            tempo: self.tempo,
            key: self
                .chords
                .first()
                .map_or_else(Key::default, |c| c.chord.key),
            notes,
        };
        score.settle();
        if !self.chords.is_empty() {
            score.let_ring();
        }
        self.silence(&mut score);
        score
    }

    /// Notes stop where the cell silences all strings, and go on where they are tied.
    fn silence(&self, score: &mut Score) {
        let length = self.cell.beats();
        for note in &mut score.notes {
            let cell = (note.at.0 / length + 1e-9).floor() * length;
            let rest = self
                .cell
                .rests
                .iter()
                .map(|r| cell + r.0)
                .find(|r| *r > note.at.0 + 1e-6);
            if let Some(rest) = rest {
                let sounds = note.rings.map_or(4.0, |r| r.0).min(rest - note.at.0);
                note.rings = Some(Beats(sounds));
                note.length = Beats(note.length.0.min(sounds));
            }
        }
    }

    /// One cell's strokes from `start` on.
    fn write(&self, written: &mut Vec<Written>, notes: &[CellNote], start: f64, on: On<'_>) {
        let walk = on.map(|(shape, chord)| thumb_walk(shape, chord, self.tuning));
        for note in notes {
            let strings: Vec<u8> = if note.touch.brush.is_some() {
                note.strings.clone()
            } else {
                self.string(note, walk, on).into_iter().collect()
            };
            for string in strings {
                let fret = match on {
                    None => Some(0),
                    Some((shape, chord)) => fret_on(shape, chord, self.tuning, string),
                };
                let (Some(_), Some(fret)) = (self.tuning.open(string), fret) else {
                    continue;
                };
                let mut stroke = Written::pluck(Beats(start + note.at.0), Beats(1.0), string, fret);
                stroke.role = note.role;
                stroke.finger = Some(note.finger);
                stroke.attack = note.attack;
                stroke.touch = note.touch;
                stroke.left = on.and_then(|(shape, _)| shape.finger(string));
                if note.tied {
                    stroke.rings = Some(Beats(2.0));
                }
                written.push(stroke);
            }
        }
    }

    /// The string of a stroke: the thumb's by the chord, the fingers' the first that sounds.
    fn string(&self, note: &CellNote, walk: Option<[u8; 4]>, on: On<'_>) -> Option<u8> {
        if let (Some(walk), Role::Bass, Attack::Pluck) = (walk, note.role, note.attack) {
            let later = note
                .at
                .0
                .rem_euclid(f64::from(self.cell.meter.beats().max(1)))
                >= 2.0;
            return Some(match note.strings.as_slice() {
                [6, 5, ..] => walk[0],
                [5, 6, ..] => walk[2],
                _ if later => walk[3],
                _ => walk[1],
            });
        }
        let sounds = |string: &u8| match on {
            None => self.tuning.open(*string).is_some(),
            Some((shape, chord)) => fret_on(shape, chord, self.tuning, *string).is_some(),
        };
        note.strings.iter().copied().find(sounds)
    }
}

/// The fret of `string` in a shape; a string that the shape leaves out is played open where that is a
/// note of the chord.
fn fret_on(shape: &Shape, chord: &Chord, tuning: &Tuning, string: u8) -> Option<u8> {
    let held = shape.frets.get(usize::from(string).checked_sub(1)?)?;
    if let Some(fret) = held {
        u8::try_from(*fret).ok()
    } else {
        let open = tuning.open(string)?.rem_euclid(12);
        chord.classes().contains(&open).then_some(0)
    }
}

/// A technique of the left hand that can be practised by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Technique {
    /// The finger comes down on the ringing string.
    HammerOns,
    /// The finger leaves the string sideways.
    PullOffs,
    /// The finger slides along the string.
    Slides,
}

/// A technique on the notes of `scale`, string after string in the first five frets: first each pair
/// by itself with a rest, then in a row.
pub fn technique_stages(what: Technique, scale: &Scale, tuning: &Tuning, tempo: Bpm) -> Vec<Stage> {
    let attack = match what {
        Technique::HammerOns => Attack::HammerOn,
        Technique::PullOffs => Attack::PullOff,
        Technique::Slides => Attack::Slide,
    };
    let mut pairs: Vec<(u8, u8, u8)> = Vec::new();
    for string in (1..=tuning.strings()).rev() {
        let Some(open) = tuning.open(string) else {
            continue;
        };
        let frets: Vec<u8> = (0..=5u8)
            .filter(|f| scale.contains(open + i32::from(*f)))
            .collect();
        for pair in frets.windows(2).take(2) {
            // A slide needs a finger on both frets.
            if what != Technique::Slides || pair[0] > 0 {
                pairs.push((string, pair[0], pair[1]));
            }
        }
    }
    let (name, goal) = match what {
        Technique::HammerOns => (
            "hammer-ons",
            "the second note is as loud as the first; the finger falls from close by",
        ),
        Technique::PullOffs => (
            "pull-offs",
            "the finger plucks as it leaves, a little downwards; the next one waits on its fret",
        ),
        Technique::Slides => (
            "slides",
            "the finger keeps its pressure on the way and stops on the beat",
        ),
    };
    let score = |title: &str, spread: f64| {
        let mut notes = Vec::new();
        for (i, (string, low, high)) in pairs.iter().enumerate() {
            let (from, to) = if what == Technique::PullOffs {
                (*high, *low)
            } else {
                (*low, *high)
            };
            let at = spread * i as f64;
            let mut first = Written::pluck(Beats(at), Beats(0.5), *string, from);
            first.left = (from > 0).then_some(from.min(4));
            let mut second = Written::pluck(Beats(at + spread / 2.0), Beats(0.5), *string, to);
            second.attack = attack;
            second.finger = None;
            second.left = if what == Technique::Slides {
                first.left
            } else {
                (to > 0).then_some(to.min(4))
            };
            notes.extend([first, second]);
        }
        let mut score = Score {
            title: format!("{name}: {title}"),
            tuning: tuning.clone(),
            meter: Meter::COMMON,
            tempo,
            key: scale.key,
            notes,
        };
        score.settle();
        score
    };
    let mut slow = Stage::new(
        &format!("{name}, one at a time"),
        goal,
        score("one at a time", 2.0),
    );
    slow.tempo_rule = SLOWLY;
    let row = Stage::new(
        &format!("{name} in a row"),
        "the rhythm is as even as if every note were plucked",
        score("in a row", 1.0),
    );
    vec![
        slow,
        row.saying("one-and two-and three-and four-and".to_owned()),
    ]
}

/// A path up and down again in even beats of 4/4, thumb on the low strings, i and m in turn above.
pub fn scale_stage(title: &str, path: &Path, tuning: &Tuning, key: Key, tempo: Bpm) -> Stage {
    let places = path.places.iter();
    let back = path.places.iter().rev().skip(1);
    let mut turn = false;
    let notes = places
        .chain(back)
        .enumerate()
        .filter_map(|(i, place)| {
            let fret = u8::try_from(place.fret).ok()?;
            let mut note = Written::pluck(Beats(i as f64), Beats(1.0), place.string, fret);
            let index = i.min(2 * (path.places.len() - 1) - i.min(2 * (path.places.len() - 1)));
            note.left = path.fingers.get(index).copied().flatten();
            if note.role == Role::Melody {
                turn = !turn;
                note.finger = Some(if turn { Finger::I } else { Finger::M });
            }
            Some(note)
        })
        .collect();
    let mut score = Score {
        title: title.to_owned(),
        tuning: tuning.clone(),
        meter: Meter::COMMON,
        tempo,
        key,
        notes,
    };
    score.settle();
    score.let_ring();
    Stage::new(
        title,
        "each note sounds on into the next; no string is touched by accident",
        score,
    )
}

/// Harmonics to relax with: across the strings at the 12th, 7th and 5th fret, two beats each, the
/// last bar all together at the 12th.
pub fn harmonics_stage(tuning: &Tuning, tempo: Bpm) -> Stage {
    let strings: Vec<u8> = (1..=tuning.strings())
        .rev()
        .filter(|s| tuning.open(*s).is_some())
        .collect();
    let mut notes = Vec::new();
    let mut at = 0.0;
    let mut touch = |at: f64, string: u8, fret: u8| {
        let mut note = Written::pluck(Beats(at), Beats(2.0), string, fret);
        note.attack = Attack::Harmonic;
        notes.push(note);
    };
    for (row, fret) in [12, 7, 5, 12].into_iter().enumerate() {
        let mut order = strings.clone();
        if row % 2 == 1 {
            order.reverse();
        }
        for string in order {
            touch(at, string, fret);
            at += 2.0;
        }
        at = (at / 4.0).ceil() * 4.0;
    }
    for string in &strings {
        touch(at, *string, 12);
    }
    let mut score = Score {
        title: "Harmonics".to_owned(),
        tuning: tuning.clone(),
        meter: Meter::COMMON,
        tempo,
        key: Key::default(),
        notes,
    };
    score.settle();
    Stage::new(
        "harmonics at the 12th, 7th and 5th fret",
        "touch over the wire, pluck, lift at once: every note rings on by itself",
        score,
    )
}

/// A click of a practice piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// When.
    pub at: Seconds,
    /// On the first beat of a bar.
    pub accent: bool,
}

/// A whole practice session in time: every stage at every tempo, each after a bar's count-in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Session {
    /// Strokes for the plucked-string model.
    pub strokes: Vec<Played>,
    /// Notes, in order of time.
    pub notes: Vec<PlayedNote>,
    /// Clicks: the count-in, and every beat where they go on.
    pub clicks: Vec<Click>,
    /// Where each stage at each tempo begins (its count-in), with what it is.
    pub marks: Vec<(Seconds, String)>,
    /// All beats, count-ins included.
    pub beats: Vec<Seconds>,
    /// Its length.
    pub length: Span,
}

/// Silence before the first count-in.
const LEAD: f64 = 0.5;

/// Longest that is played without a long rest, in seconds, and how long that rest is. Breaks of a
/// minute every few minutes are common practice; common advice is to rest every ten.
pub const WITHOUT_REST: f64 = 6.0 * 60.0;
const LONG_REST: f64 = 60.0;

impl Session {
    /// `stages` in order, each at all of `tempi`; `click` on every beat, or in the count-in only.
    pub fn of(stages: &[Stage], tempi: &[Bpm], click: bool) -> Self {
        let mut session = Self::default();
        let mut now = LEAD;
        let mut rested = now;
        for stage in stages {
            for tempo in tempi {
                let beats = f64::from(stage.score.meter.beats().max(1));
                let takes = beats * (stage.score.bars() + 1) as f64 * tempo.beat().0;
                if now - rested > 1.0 && now + takes - rested > WITHOUT_REST {
                    let rest = "a minute's rest: hands down, shoulders loose".to_owned();
                    session.marks.push((Seconds(now), rest));
                    now = session.rest(now, LONG_REST, *tempo);
                    rested = now;
                }
                now = session.add(stage, *tempo, click, now);
            }
        }
        session.length = Span(now + 2.0);
        session
    }

    /// Whole beats of silence from `now`, at least `seconds` long; gives when they end.
    fn rest(&mut self, now: f64, seconds: f64, tempo: Bpm) -> f64 {
        let beat = tempo.beat().0;
        let beats = (seconds / beat).ceil().max(0.0) as usize;
        self.beats
            .extend((0..beats).map(|i| Seconds(now + i as f64 * beat)));
        now + beats as f64 * beat
    }

    /// The longest stretch without a rest of half a minute, in seconds.
    pub fn longest_without_rest(&self) -> f64 {
        let (mut longest, mut since, mut last) = (0.0f64, LEAD, LEAD);
        for note in &self.notes {
            let at = note.note.time.0;
            if at - last > 30.0 {
                since = at;
            }
            last = at;
            longest = longest.max(at - since);
        }
        longest
    }

    /// Adds one stage at `now`; gives when the next count-in can begin, on the beat.
    fn add(&mut self, stage: &Stage, tempo: Bpm, click: bool, now: f64) -> f64 {
        let beat = tempo.beat().0;
        let per_bar = usize::from(stage.score.meter.beats().max(1));
        let start = now + per_bar as f64 * beat;
        let mut heard = stage.score.clone();
        for note in &mut heard.notes {
            note.at = swung(note.at, stage.swing);
        }
        let mut performance = Performance::of(&heard, &Manner::exact(tempo, Span(start)));
        let beats = per_bar * (stage.score.bars() + 1);
        let end = now + beats as f64 * beat;
        // Whole bars to breathe in.
        let bar = per_bar as f64 * beat;
        let rest = per_bar * (stage.rest.0 / bar).ceil().max(1.0) as usize;
        for (stroke, played) in performance.strokes.iter_mut().zip(&mut performance.notes) {
            // Hands off at the end, so that the next count-in stands clear.
            let until = stroke.until.0.min(end + 0.5 * beat);
            stroke.until = Seconds(until);
            played.note.end = Seconds(played.note.end.0.min(until));
        }
        self.marks.push((
            Seconds(now),
            format!("{}, {} bpm", stage.title, (tempo.0 * 10.0).round() / 10.0),
        ));
        for i in 0..beats + rest {
            let at = Seconds(now + i as f64 * beat);
            self.beats.push(at);
            let (bar, in_bar) = (i / per_bar, i % per_bar);
            let sounding = i < beats && stage.clicks.on(bar.saturating_sub(1), in_bar, click);
            if i < per_bar || sounding {
                self.clicks.push(Click {
                    at,
                    accent: i % per_bar == 0,
                });
            }
        }
        self.strokes.extend(performance.strokes);
        self.notes.extend(performance.notes);
        end + rest as f64 * beat
    }
}
