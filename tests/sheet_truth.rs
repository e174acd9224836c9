//! Sentence, row label, strip, drawing, table and JSON of one piece never contradict each other, on
//! 200 generated pieces with and without a take.

use std::collections::BTreeMap;
use thumbline::analysis::Analysis;
use thumbline::compare::{Model, compare};
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Note, Role};
use thumbline::music::tuning::Tuning;
use thumbline::report::sheet::{Fold, Ink, Options, Piece, Shape, Sheet, Take, sentences};
use thumbline::report::table;
use thumbline::timing::{Drift, Reference, Verdict, measure};
use thumbline::unit::{Beats, Decibels, Seconds, Span};

/// xorshift64 (Marsaglia 2003).
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }

    /// About normal, SD 1.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// One stroke of the pattern: beats after the bar's start.
#[derive(Clone, Copy)]
struct Stroke {
    at: f64,
    role: Role,
    string: u8,
}

/// What is planted: nothing, or one place that drifts.
struct Habit {
    stroke: usize,
    by: f64,
}

const METERS: [(u8, u8); 6] = [(4, 4), (3, 4), (2, 4), (5, 4), (6, 8), (12, 8)];

struct Made {
    found: Analysis,
    strokes: Vec<Stroke>,
    bars: usize,
}

/// A pattern of thumb on the beats and fingers on some slots, `bars` times.
fn pattern(chance: &mut Chance, meter: Meter) -> Vec<Stroke> {
    let beats = usize::from(meter.beats());
    let parts = usize::from(meter.plain_parts());
    let mut strokes: Vec<Stroke> = (0..beats)
        .map(|beat| Stroke {
            at: beat as f64,
            role: Role::Bass,
            string: [6, 4, 5][beat % 3],
        })
        .collect();
    for slot in 0..beats * parts {
        if chance.unit() < 0.55 {
            strokes.push(Stroke {
                at: slot as f64 / parts as f64,
                role: Role::Melody,
                string: 1 + chance.below(3) as u8,
            });
        }
    }
    strokes
}

fn played(
    chance: &mut Chance,
    (strokes, bars, meter): (&[Stroke], usize, Meter),
    (bpm, spread): (f64, f64),
    habit: Option<&Habit>,
    late: f64,
) -> Analysis {
    let beats = usize::from(meter.beats());
    let times: Vec<Seconds> = (0..=bars * beats)
        .map(|i| Seconds(0.5 + 60.0 / bpm * i as f64))
        .collect();
    let grid = Grid::from_beats(&times[..bars * beats], 0, meter);
    let tuning = Tuning::standard();
    let mut notes = Vec::new();
    for bar in 0..bars {
        for (i, stroke) in strokes.iter().enumerate() {
            let own = habit.filter(|h| h.stroke == i).map_or(0.0, |h| h.by);
            let off = late + own + spread * chance.normal();
            let at = grid.time_at(Beats((bar * beats) as f64 + stroke.at));
            let time = at.expect("on the grid") + Span(off);
            let fret = (bar + i) as u8 % 4;
            notes.push(Note {
                time,
                end: time + Span(0.4),
                role: stroke.role,
                role_confidence: 0.9,
                pitch: tuning.sounding(stroke.string, i32::from(fret)),
                string: Some(stroke.string),
                fret: Some(fret),
                attack: Attack::Pluck,
                strength: Decibels(-6.0),
                confidence: 0.9,
            });
        }
    }
    notes.sort_by(|a, b| a.time.total_cmp(&b.time));
    Analysis {
        notes,
        grid,
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning,
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end: Seconds(1.0 + 60.0 / bpm * (bars * beats) as f64),
        alternatives: Vec::new(),
        warnings: Vec::new(),
    }
}

fn made(chance: &mut Chance) -> (Made, f64, f64, Option<Habit>) {
    let (count, unit) = METERS[chance.below(METERS.len())];
    let meter = Meter { count, unit };
    let strokes = pattern(chance, meter);
    let bars = 8 + chance.below(9);
    let bpm = 55.0 + 85.0 * chance.unit();
    let spread = 0.001 + 0.018 * chance.unit() * chance.unit();
    let habit = (chance.unit() < 0.7).then(|| Habit {
        stroke: chance.below(strokes.len()),
        by: (0.012 + 0.03 * chance.unit()) * if chance.unit() < 0.5 { -1.0 } else { 1.0 },
    });
    let whole = (&strokes[..], bars, meter);
    let found = played(chance, whole, (bpm, spread), habit.as_ref(), 0.0);
    let made = Made {
        found,
        strokes,
        bars,
    };
    (made, bpm, spread, habit)
}

fn hand(ink: Ink) -> Option<Role> {
    match ink {
        Ink::Thumb => Some(Role::Bass),
        Ink::Finger => Some(Role::Melody),
        _ => None,
    }
}

/// Wedges among shapes: whose, where the slot stands, how far the head left it.
fn wedges(shapes: &[Shape]) -> Vec<(Role, f64, f64)> {
    let wedge = |shape: &Shape| match shape {
        Shape::Sail { corners, ink } => {
            Some((hand(*ink)?, corners[0].x, corners[1].x - corners[0].x))
        }
        _ => None,
    };
    shapes.iter().filter_map(wedge).collect()
}

fn texts(shapes: &[Shape]) -> Vec<(f64, String)> {
    let text = |shape: &Shape| match shape {
        Shape::Text { at, text, .. } => Some((at.y, text.clone())),
        _ => None,
    };
    shapes.iter().filter_map(text).collect()
}

/// Does a text call something late (1) or early (−1)?
fn side(text: &str) -> Option<f64> {
    let late = ["late", "later", "after the thumb", "behind"];
    let early = ["early", "earlier", "before the thumb", "ahead"];
    let has = |words: &[&str]| {
        words.iter().any(|w| {
            text.split([' ', ',', '.'])
                .collect::<Vec<_>>()
                .windows(w.split(' ').count())
                .any(|part| part.join(" ") == *w)
        })
    };
    match (has(&late), has(&early)) {
        (true, false) => Some(1.0),
        (false, true) => Some(-1.0),
        _ => None,
    }
}

/// The number before "ms".
fn ms(text: &str) -> Option<f64> {
    let words: Vec<&str> = text.split([' ', ',']).collect();
    let at = words.iter().position(|w| *w == "ms")?;
    words[at.checked_sub(1)?].parse().ok()
}

fn hand_name(role: Role) -> &'static str {
    match role {
        Role::Bass => "thumb",
        Role::Melody => "fingers",
    }
}

/// Everything that can be said of a piece, against everything that is drawn of it.
fn contradictions(piece: &Piece) -> Vec<String> {
    let told = piece.told();
    let mut wrong = Vec::new();
    let options = Options::default();
    let sheet = Sheet::plan(piece, options);
    strip_against_words(piece, &sheet, &mut wrong);
    let drawn = rows_against_labels(piece, &sheet, &mut wrong);
    // The same of bars that are laid over each other.
    let fold = Fold::Alike { open: 2 };
    let folded = Sheet::plan(piece, Options { fold, ..options });
    rows_against_labels(piece, &folded, &mut wrong);
    if folded.bars().count() != sheet.bars().count() {
        wrong.push("folding loses bars".to_owned());
    }
    let stray = sentences(piece).iter().find_map(|s| {
        s.text
            .split_once(" notes stray")
            .map(|(n, _)| n.parse::<usize>())
    });
    if let Some(Ok(said)) = stray
        && said != drawn
    {
        wrong.push(format!("{said} notes stray, {drawn} are drawn so"));
    }
    for slot in &told.slots {
        if slot.slant().is_some() != slot.verdict().drifts() {
            wrong.push(format!("{slot:?}"));
        }
    }
    wrong
}

/// What is drawn of every row against what its notes and its label say; how many heads leave their slots.
fn rows_against_labels(piece: &Piece, sheet: &Sheet, wrong: &mut Vec<String>) -> usize {
    let mut drawn = 0;
    for row in 0..sheet.rows().len() {
        let (shapes, marks) = sheet.row_shapes(piece, row);
        let left = wedges(&shapes);
        drawn += left.len();
        row_against_label(sheet, row, &shapes, &left, wrong);
        for mark in marks {
            let spoken = mark.second || piece.second.is_none();
            let placed = if mark.second {
                piece.second(mark.note).expect("marked").1
            } else {
                piece.placed(mark.note)
            };
            let text = sheet.describe(piece, row, &mark);
            let Some(foot) = mark.foot.filter(|_| spoken && placed.counts) else {
                continue;
            };
            let away = mark.head.x - foot.x;
            let off = (away.abs() > 1e-6).then(|| away.signum());
            if off != side(&text) {
                wrong.push(format!("drawn {away:.1} points off: {text}"));
            }
        }
    }
    drawn
}

fn strip_against_words(piece: &Piece, sheet: &Sheet, wrong: &mut Vec<String>) {
    let told = piece.told();
    let meter = piece.grid.meter;
    let strip = sheet.repeats_shapes(piece, 0.0);
    let left = wedges(&strip);
    let slants: Vec<_> = told.slants().collect();
    if left.len() != slants.len() {
        wrong.push(format!("{} wedges, {} slants", left.len(), slants.len()));
    }
    for slant in &slants {
        let way = slant.figure.centre.0.signum();
        let drawn = left.iter().filter(|w| w.0 == slant.role);
        if !drawn.into_iter().any(|w| w.2 * way > 0.0) {
            wrong.push(format!("no wedge for {slant:?}"));
        }
        let want = told.reference.off(slant.figure.centre);
        if !texts(&strip).iter().any(|(_, text)| *text == want) {
            wrong.push(format!("the strip does not say {want}"));
        }
    }
    let said = sentences(piece);
    let advice: Vec<_> = said.iter().filter(|s| s.bar.is_some()).collect();
    if advice.len() != slants.len().min(3) {
        wrong.push(format!("{} of {} slants said", advice.len(), slants.len()));
    }
    for sentence in &advice {
        let fits = slants.iter().any(|s| {
            let name = s.slot.name(meter).to_lowercase();
            let text = sentence.text.to_lowercase();
            text.contains(&name)
                && text.contains(hand_name(s.role))
                && side(&text) == Some(s.figure.centre.0.signum())
                && ms(&text).is_some_and(|ms| (ms - s.figure.centre.abs().ms()).abs() < 0.51)
        });
        if !fits {
            wrong.push(format!("not drawn: {}", sentence.text));
        }
    }
    if let Some(well) = said.iter().find(|s| s.text.starts_with("In place: ")) {
        let (thumb, fingers) = well
            .text
            .split_once(';')
            .unwrap_or((&well.text, &well.text));
        for slot in told.slots.iter().filter(|s| s.verdict() != Verdict::With) {
            let part = if slot.role == Role::Bass {
                thumb
            } else {
                fingers
            };
            let praised = part.contains(hand_name(slot.role))
                && (part.contains("everywhere") || names(part, &slot.slot.name(meter)));
            if praised && slot.verdict() != Verdict::TooFew {
                wrong.push(format!("{}, but {slot:?}", well.text));
            }
        }
    }
    if slants.is_empty() {
        let called = said.iter().filter(|s| s.bar.is_none());
        let of_a_place = |text: &str| {
            let mut places = told.slots.iter().map(|s| s.slot.name(meter));
            side(text).is_some() && places.any(|name| names(text, &name))
        };
        for sentence in called.filter(|s| of_a_place(&s.text)) {
            wrong.push(format!("no slant, but: {}", sentence.text));
        }
    }
}

/// Is this place named, and not only a longer one that begins alike?
fn names(text: &str, place: &str) -> bool {
    text.match_indices(place).any(|(at, _)| {
        let after = text[at + place.len()..].chars().next();
        let before = text[..at].ends_with("the and of ");
        !after.is_some_and(char::is_alphanumeric) && !before
    })
}

fn row_against_label(
    sheet: &Sheet,
    row: usize,
    shapes: &[Shape],
    left: &[(Role, f64, f64)],
    wrong: &mut Vec<String>,
) {
    let line = sheet.line(row).expect("a row");
    for role in [Role::Bass, Role::Melody] {
        let own: Vec<_> = left.iter().filter(|w| w.0 == role).collect();
        let labels: Vec<String> = texts(shapes)
            .into_iter()
            .filter(|(y, text)| ms(text).is_some() && (*y > line) == (role == Role::Bass))
            .map(|(_, text)| text)
            .collect();
        match (own.as_slice(), labels.as_slice()) {
            ([], []) => {}
            (some, [label]) if !some.is_empty() => {
                let way = side(label).unwrap_or(0.0);
                let widest = some
                    .iter()
                    .max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))
                    .expect("some");
                if widest.2 * way <= 0.0 {
                    wrong.push(format!("row {row}: {label}, drawn {:.1}", widest.2));
                }
            }
            (some, labels) => wrong.push(format!("row {row}: {} drawn, {labels:?}", some.len())),
        }
    }
}

/// The table of `check` names the same places.
fn table_agrees(found: &Analysis, drift: &Drift) -> bool {
    let text = table::drift(found, drift);
    let said = text.matches("bar after bar").count();
    let json = serde_json::to_string(
        &drift
            .slots
            .iter()
            .map(thumbline::timing::SlotFigure::verdict)
            .collect::<Vec<_>>(),
    );
    let json = json.expect("verdicts");
    let written = json.matches("ahead").count() + json.matches("behind").count();
    said == drift.slants().count() && written == said
}

#[test]
fn sentence_label_and_drawing_never_contradict_each_other() {
    let mut chance = Chance(0x2545_f491_4f6c_dd1d);
    let mut wrong: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    let (mut planted, mut named) = (0, 0);
    for index in 0..200 {
        let (made, bpm, spread, habit) = made(&mut chance);
        let found = &made.found;
        let drift = measure(&found.notes, &found.grid, Reference::OwnTempo);
        let piece = Piece::of("A generated piece", found, &drift);
        let mut here = contradictions(&piece);
        if !table_agrees(found, &drift) {
            here.push("the table".to_owned());
        }
        if let Some(habit) = habit.filter(|h| h.by.abs() > 0.025 && spread < 0.006) {
            planted += 1;
            let stroke = made.strokes[habit.stroke];
            let near = |s: &&thumbline::timing::SlotFigure| {
                let at =
                    f64::from(s.slot.beat - 1) + f64::from(s.slot.part) / f64::from(s.slot.parts);
                (at - stroke.at).abs() < 0.01 && s.role == stroke.role
            };
            named += usize::from(drift.slants().any(|s| near(&s)));
        }
        // One in five with a take over it, some of them late throughout.
        if index % 5 == 0 {
            let late = if index % 2 == 0 { 0.03 } else { 0.0 };
            let own = Habit {
                stroke: chance.below(made.strokes.len()),
                by: 0.035 * (chance.unit() - 0.5),
            };
            let whole = (&made.strokes[..], made.bars, found.grid.meter);
            let take = played(&mut chance, whole, (bpm, spread), Some(&own), late);
            let model = Model {
                notes: &found.notes,
                grid: &found.grid,
                drifts: &drift.notes,
            };
            let answer = compare(model, &take.notes);
            for reference in [Reference::Recording, Reference::Thumb, Reference::OwnTempo] {
                let (notes, mut told) = answer.page(model, &take.notes, reference);
                told.late = answer.late(model, &take.notes);
                let both = Piece {
                    second: Some(Take {
                        notes: &notes,
                        drift: &told,
                    }),
                    ..piece
                };
                here.extend(contradictions(&both));
                let first = &sentences(&both)[0].text;
                let late_first = first.contains("ms late throughout");
                if answer.fault.is_none() && late_first != (late > 0.0) {
                    here.push(format!("late by {late}: {first}"));
                }
            }
        }
        if !here.is_empty() {
            wrong.insert(index, here);
        }
    }
    println!("clear habits named: {named} of {planted}");
    let all: usize = wrong.values().map(Vec::len).sum();
    assert!(wrong.is_empty(), "{all} contradictions: {wrong:#?}");
    assert!(
        named * 20 >= planted * 19 && planted > 10,
        "{named} of {planted}"
    );
}

/// A take 30 ms late throughout and otherwise as the recording: that is said first and on its own,
/// and nothing else is called late.
#[test]
fn a_constant_lateness_is_told_once() {
    let mut chance = Chance(77);
    let meter = Meter::COMMON;
    let strokes = pattern(&mut chance, meter);
    let whole = (&strokes[..], 12, meter);
    let found = played(&mut chance, whole, (96.0, 0.002), None, 0.0);
    let take = played(&mut chance, whole, (96.0, 0.003), None, 0.030);
    let drift = measure(&found.notes, &found.grid, Reference::OwnTempo);
    let model = Model {
        notes: &found.notes,
        grid: &found.grid,
        drifts: &drift.notes,
    };
    let answer = compare(model, &take.notes);
    let late = answer.late(model, &take.notes).expect("heard");
    assert!((late.centre.ms() - 30.0).abs() < 2.0, "{late:?}");
    let said = thumbline::report::compare::sentences(&answer, Some(late));
    let first = format!("You are {:.0} ms late throughout", late.centre.ms());
    assert!(said[0].starts_with(&first), "{said:?}");
    for reference in [Reference::Recording, Reference::Thumb, Reference::OwnTempo] {
        let (notes, mut told) = answer.page(model, &take.notes, reference);
        told.late = Some(late);
        let piece = Piece {
            second: Some(Take {
                notes: &notes,
                drift: &told,
            }),
            ..Piece::of("Late throughout", &found, &drift)
        };
        let said = sentences(&piece);
        assert!(said[0].text.starts_with(&first), "{said:?}");
        let others = said[1..].iter().filter(|s| side(&s.text).is_some());
        assert_eq!(others.count(), 0, "{said:?}");
    }
}

/// Players count eighths in 6/8, 12/8 and 5/8, "the and of" in simple meters. Common practice, no
/// source.
#[test]
fn slots_are_named_as_players_count() {
    use thumbline::timing::Slot;
    let slot = |beat, part, parts| Slot { beat, part, parts };
    for (count, unit, at, name, aloud) in [
        (4, 4, slot(2, 0, 1), "beat 2", "2"),
        (4, 4, slot(2, 1, 2), "the and of 2", "&"),
        (4, 4, slot(3, 1, 4), "the e of 3", "e"),
        (4, 4, slot(3, 3, 4), "the a of 3", "a"),
        (4, 4, slot(3, 2, 4), "the and of 3", "&"),
        (4, 4, slot(2, 1, 3), "the 2nd triplet of 2", ""),
        (5, 4, slot(5, 1, 2), "the and of 5", "&"),
        (12, 8, slot(2, 1, 3), "the 5th eighth", "5"),
        (12, 8, slot(4, 2, 3), "the 12th eighth", "12"),
        (6, 8, slot(2, 0, 3), "the 4th eighth", "4"),
        (6, 8, slot(1, 1, 6), "the and of the 1st eighth", ""),
        (9, 8, slot(3, 2, 3), "the 9th eighth", "9"),
        (5, 8, slot(3, 0, 1), "the 3rd eighth", "3"),
        (7, 8, slot(7, 0, 1), "the 7th eighth", "7"),
    ] {
        let meter = Meter { count, unit };
        assert_eq!(at.name(meter), name);
        assert_eq!(at.count(meter), aloud);
    }
}
