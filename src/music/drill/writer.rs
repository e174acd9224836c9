//! Writing a pattern's stages: which of its strokes are played where, on which strings.

use super::stage::{SLOWLY, Stage};
use crate::music::chord::{Chord, Shape};
use crate::music::note::{Attack, Role};
use crate::music::picking::{Cell, CellNote, count, thumb_walk};
use crate::music::pitch::Key;
use crate::music::progression::HeldChord;
use crate::music::score::{Score, Written};
use crate::music::syncopation::Sense;
use crate::music::tuning::Tuning;
use crate::unit::{Beats, Bpm};

/// A chord to practise a pattern on.
type On<'a> = Option<(&'a Shape, &'a Chord)>;

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

/// A beat or count by its number, as it is said.
pub(super) fn spoken_number(number: usize) -> String {
    const NUMBERS: [&str; 12] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    let word = number.checked_sub(1).and_then(|i| NUMBERS.get(i));
    word.map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

/// What is said between the beats: `&` is `and`.
fn spoken_part(part: &str) -> &str {
    match part {
        "&" => "and",
        "+1/3" => "trip",
        "+2/3" => "let",
        other => other,
    }
}

/// Do several fingers play one string after the thumb?
fn is_tremolo(group: &[CellNote]) -> bool {
    let mut fingers = group.iter().filter(|n| n.role == Role::Melody);
    let first = fingers.next().and_then(|n| n.strings.first());
    let rest: Vec<&CellNote> = fingers.collect();
    rest.len() >= 2 && rest.iter().all(|n| n.strings.first() == first)
}

/// Writes a pattern's stages.
pub(super) struct Writer<'a> {
    pub(super) name: &'a str,
    pub(super) cell: &'a Cell,
    pub(super) tuning: &'a Tuning,
    pub(super) tempo: Bpm,
    pub(super) bars: usize,
    pub(super) chords: &'a [HeldChord],
}

impl Writer<'_> {
    fn of_part(&self, role: Role) -> Vec<CellNote> {
        let notes = self.cell.notes.iter().filter(|n| n.role == role);
        notes.cloned().collect()
    }

    fn stage(&self, title: &str, goal: &str, notes: &[CellNote]) -> Stage {
        Stage::new(title, goal, self.score(title, notes))
    }

    /// Places as they are counted: `2& 3&`; in a pattern of several bars `2& in bar 1, 4& in bar 2`.
    fn counted(&self, places: &[f64]) -> String {
        let bars = self.by_bar(places);
        let several = bars.len() > 1;
        let named = bars
            .iter()
            .enumerate()
            .filter(|(_, names)| !names.is_empty());
        let named: Vec<String> = named
            .map(|(i, names)| match (names.join(" "), several) {
                (names, true) => format!("{names} in bar {}", i + 1),
                (names, false) => names,
            })
            .collect();
        named.join(", ")
    }

    /// The bars to be counted aloud, what is played at `places`; a count on which nothing is played is
    /// said silently: `one (two) and three (four)`.
    fn spoken(&self, places: &[f64]) -> String {
        let bars = self.by_bar(places);
        let each = if self.cell.meter.is_compound() { 3 } else { 1 };
        let counts = usize::from(self.cell.meter.beats().max(1)) * each;
        let spoken = bars.iter().map(|names| {
            let mut words = Vec::new();
            for number in 1..=counts {
                let own = number.to_string();
                let parts: Vec<&str> = names
                    .iter()
                    .filter_map(|name| {
                        let digits = name.find(|c: char| !c.is_ascii_digit());
                        let (count, part) = name.split_at(digits.unwrap_or(name.len()));
                        (count == own).then_some(part)
                    })
                    .collect();
                let number = spoken_number(number);
                words.push(match parts.first() {
                    Some(&"") => number,
                    _ => format!("({number})"),
                });
                let between = parts.iter().filter(|part| !part.is_empty());
                words.extend(between.map(|part| spoken_part(part).to_owned()));
            }
            words.join(" ")
        });
        spoken.collect::<Vec<_>>().join(", ")
    }

    /// The counts of places, bar by bar.
    fn by_bar(&self, places: &[f64]) -> Vec<Vec<String>> {
        let per_bar = f64::from(self.cell.meter.beats().max(1));
        let mut places = places.to_vec();
        places.sort_by(f64::total_cmp);
        places.dedup_by(|a, b| same(*a, *b));
        let bar_of = |at: f64| (at / per_bar + 1e-9).floor() as u8;
        (0..self.cell.bars.max(1))
            .map(|bar| {
                let inside = places.iter().filter(|p| bar_of(**p) == bar);
                inside.map(|p| count(self.cell.meter, Beats(*p))).collect()
            })
            .collect()
    }

    fn places(&self) -> Vec<f64> {
        self.cell.notes.iter().map(|n| n.at.0).collect()
    }

    /// Planted block, roll, half, whole.
    pub(super) fn arpeggio(&self) -> Vec<Stage> {
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
        let tremolo = is_tremolo(&group);
        let first = if tremolo {
            let alone: Vec<CellNote> = slow
                .iter()
                .filter(|n| n.role == Role::Melody)
                .cloned()
                .collect();
            self.stage(
                "the fingers alone, one a beat",
                "each finger touches the string before it plays: short, dry, equally loud",
                &alone,
            )
            .saying(fingers[1..].join(" "))
        } else {
            self.stage(
                "planted block",
                "every finger rests on its string before any sounds; all sound as one",
                &block,
            )
            .saying("plant, play".to_owned())
        };
        let roll = self.stage(
            "the roll, one stroke after the other",
            if tremolo {
                "all strokes are equally long, and those of the fingers equally loud"
            } else {
                "each finger leaves its string only when its turn comes; all are equally loud"
            },
            &slow,
        );
        let mut stages = vec![first, roll.saying(fingers.join(" "))];
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
            if tremolo {
                "one long note seems to sing over the bass, without a gap where the thumb plays"
            } else {
                "no seam is heard between one roll and the next; the thumb is no louder"
            },
            &self.cell.notes,
        );
        stages.push(whole.saying(self.spoken(&self.places())));
        stages
    }

    /// Thumb alone, said on muted strings, together, pushed, delayed, whole.
    pub(super) fn against_the_thumb(&self) -> Vec<Stage> {
        let thumb = self.of_part(Role::Bass);
        let melody = self.of_part(Role::Melody);
        let mut stages = Vec::new();
        let beats: Vec<f64> = thumb.iter().map(|n| n.at.0).collect();
        if !thumb.is_empty() {
            let alone = self.stage(
                "thumb alone",
                if beats.iter().all(|at| same(at.fract(), 0.0)) {
                    "every stroke is as loud as the last and falls on the click"
                } else {
                    "every stroke is as loud as the last and falls where you say it"
                },
                &thumb,
            );
            stages.push(alone.saying(self.spoken(&beats)));
        }
        if melody.is_empty() {
            return stages;
        }
        let off: Vec<(f64, Sense)> = self.cell.melody_senses();
        if off.is_empty() {
            let whole = self.stage("the whole pattern", self.together(), &self.cell.notes);
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
            "what you say and what you tap fall together; then stop muting and listen for the same",
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
                format!("between the beats: {named}"),
                "it passes half-way, and hurries nothing".to_owned(),
                passing,
            ));
        }
        for (places, word, one, each) in [
            (
                &pushed,
                "pushed",
                "it belongs to the next beat and comes early; that beat stays silent above the thumb",
                "each belongs to the next beat and comes early; those beats stay silent above the thumb",
            ),
            (
                &delayed,
                "delayed",
                "it belongs to the beat before and comes late; the thumb does not wait for it",
                "each belongs to the beat before and comes late; the thumb does not wait for them",
            ),
        ] {
            // One place first, then all of its kind.
            if let [first, _, ..] = places.as_slice() {
                let named = self.counted(&[*first]);
                steps.push((format!("{word}: {named}"), one.to_owned(), vec![*first]));
            }
            if !places.is_empty() {
                let goal = if places.len() == 1 { one } else { each };
                let named = self.counted(places);
                steps.push((format!("{word}: {named}"), goal.to_owned(), places.clone()));
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
        let kinds = [("pushed", &pushed), ("delayed", &delayed)];
        let kinds = kinds.iter().filter(|(_, places)| !places.is_empty());
        let kinds: Vec<String> = kinds
            .map(|(word, places)| format!("{} {word}", self.counted(places)))
            .collect();
        let title = match kinds.join("; ") {
            none if none.is_empty() => "the whole pattern".to_owned(),
            named => format!("the whole pattern: {named}"),
        };
        let whole = self.stage(
            &title,
            "the thumb is as steady as it was alone",
            &self.cell.notes,
        );
        stages.push(whole.saying(self.spoken(&self.places())));
        stages
    }

    /// What to listen for where nothing of the melody lies off the beat.
    fn together(&self) -> &'static str {
        let notes = &self.cell.notes;
        let meets = |n: &CellNote| {
            let there = |m: &&CellNote| m.role != n.role && same(m.at.0, n.at.0);
            notes.iter().any(|m| there(&m))
        };
        if notes.iter().any(|n| n.touch.brush.is_some()) {
            "the hand swings evenly, also where it plays nothing; the brush is no louder than the bass"
        } else if notes.iter().any(meets) {
            "thumb and fingers sound as one wherever they meet"
        } else {
            "thumb and fingers take turns, and neither hurries the other"
        }
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

    /// The last half bar of a cell and the first half bar of the next, over the change of chord.
    pub(super) fn join(&self) -> Stage {
        let length = self.cell.beats();
        let bar = length / f64::from(self.cell.bars.max(1));
        let half = bar / 2.0;
        let late: Vec<CellNote> = self
            .cell
            .notes
            .iter()
            .filter(|n| n.at.0 >= length - half - 1e-6)
            .cloned()
            .collect();
        let early: Vec<CellNote> = self
            .cell
            .notes
            .iter()
            .filter(|n| n.at.0 < half - 1e-6)
            .cloned()
            .collect();
        let mut written = Vec::new();
        for (i, pair) in self.chords.windows(2).enumerate() {
            let start = 2.0 * i as f64 * bar;
            self.write(
                &mut written,
                &late,
                start + bar - length,
                Some((&pair[0].shape, &pair[0].chord)),
            );
            self.write(
                &mut written,
                &early,
                start + bar,
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

    pub(super) fn score(&self, title: &str, notes: &[CellNote]) -> Score {
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
        let mut score = Score::settled(
            &format!("{}: {title}", self.name),
            self.tuning,
            self.cell.meter,
            self.tempo,
            self.chords
                .first()
                .map_or_else(Key::default, |c| c.chord.key),
            notes,
        );
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
                // On muted strings the left hand lies flat.
                let stopped = note.attack != Attack::Dead;
                let held = on.filter(|_| stopped);
                stroke.left = held.and_then(|(shape, _)| shape.finger(string));
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
