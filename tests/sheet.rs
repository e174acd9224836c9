//! The bar sheet: layout, its truth on the page, bad input.

#[path = "sheet_pieces.rs"]
mod pieces;

use pieces::{Score, from_labels, tune};
use proptest::prelude::*;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::note::Role;
use thumbline::report::sheet::{
    Fold, Ground, Hands, Ink, Mark, Options, Point, Shape, Sheet, describe, sentences,
};
use thumbline::report::svg;
use thumbline::unit::{Seconds, Span};

/// Writes pictures to look at into the folder `THUMBLINE_PICTURES` names; without it, only checks
/// that they can be made.
#[test]
fn pictures_can_be_made() {
    let strings = Options {
        strings: true,
        ..Options::default()
    };
    let folded = Options {
        fold: Fold::Alike { open: 0 },
        ..Options::default()
    };
    let mut cases = vec![
        (
            "tune-paper",
            tune(8, 0.020),
            Options::default(),
            Ground::Paper,
        ),
        (
            "tune-dark",
            tune(8, 0.020),
            Options::default(),
            Ground::Dark,
        ),
        (
            "tune-strings",
            tune(4, 0.020).with_take(),
            strings,
            Ground::Paper,
        ),
        ("tune-folded", tune(12, 0.020), folded, Ground::Paper),
        (
            "tune-folded-take",
            tune(12, 0.010).with_take(),
            folded,
            Ground::Dark,
        ),
    ];
    for (name, bpm) in [
        ("03_SS1-68-E_comp_mic", 68.0),
        ("03_Jazz2-110-Bb_comp_mic", 110.0),
        ("05_Rock1-130-A_solo_mic", 130.0),
    ] {
        if let Some(score) = from_labels(name, bpm) {
            cases.push((name, score, Options::default(), Ground::Paper));
        }
        if let Some(score) = from_labels(name, bpm) {
            cases.push((folded_name(name), score, folded, Ground::Paper));
        }
    }
    for (name, score, options, ground) in cases {
        let text = svg::write(&score.piece(), options, ground);
        assert!(
            text.ends_with("</svg>\n") && !text.contains("NaN"),
            "{name}"
        );
        if let Some(folder) = std::env::var_os("THUMBLINE_PICTURES") {
            let path = std::path::Path::new(&folder).join(format!("{name}.svg"));
            std::fs::write(path, text).expect("picture folder is writable");
        }
    }
}

/// What the picture of a folded recording is called.
fn folded_name(name: &str) -> &'static str {
    match &name[3..6] {
        "SS1" => "folded-SS1",
        "Jaz" => "folded-Jazz2",
        _ => "folded-Rock1",
    }
}

/// Bars that play alike stand in one row: a head a stroke, off its slot where the bars drift, and every
/// instant of every bar lies in it; opened, its bars stand below it.
#[test]
fn bars_that_play_alike_fold_into_one_row() {
    let score = tune(8, 0.030);
    let piece = score.piece();
    let folded = |open| {
        let fold = Fold::Alike { open };
        Sheet::plan(
            &piece,
            Options {
                fold,
                ..Options::default()
            },
        )
    };
    let (sheet, plain) = (folded(0), Sheet::plan(&piece, Options::default()));
    assert_eq!(sheet.rows().len(), 1);
    let alike = sheet.rows()[0].alike.as_ref().expect("folded");
    assert_eq!(alike.name(), "Pattern A, bars 1 to 8");
    assert_eq!(sheet.rows()[0].notes.len(), score.notes.len());
    let (shapes, marks) = sheet.row_shapes(&piece, 0);
    // Every second bar has a note more.
    let (_, once) = plain.row_shapes(&piece, 1);
    assert_eq!(marks.len(), once.len(), "a head a stroke");
    for mark in &marks {
        assert!(
            matches!(mark.others.len(), 7 | 3),
            "of eight bars, or every second one"
        );
        let away = mark.head.x - mark.foot.expect("on the beat").x;
        let says = sheet.describe(&piece, 0, mark);
        assert_eq!(away > 1.0, says.contains("30 ms late, 8 of 8"), "{says}");
        assert!(says.starts_with("Pattern A, bars 1 to 8, "), "{says}");
    }
    let late = marks
        .iter()
        .filter(|m| m.head.x - m.foot.expect("on the beat").x > 1.0);
    assert!((1..marks.len()).contains(&late.count()));
    let dots = shapes
        .iter()
        .filter(|s| matches!(s, Shape::Disc { radius, .. } if *radius < 2.0));
    assert!(
        dots.count().is_multiple_of(8),
        "a dot for each repeat that is heard"
    );
    for bar in score.grid.bars() {
        for beat in 0..4 {
            let time = score.grid.beats()[bar.first_beat + beat].time;
            let (here, there) = (sheet.place(&piece, time), plain.place(&piece, time));
            let (here, there) = (here.expect("a place"), there.expect("a place"));
            assert_eq!(here.row, 0);
            assert!((here.x - there.x).abs() < 1e-6);
        }
        assert_eq!(sheet.row_of(bar.number), Some(0));
        let looped = sheet.stretches(&piece, 0, (bar.start, bar.end));
        assert_eq!(looped.len(), 1);
    }
    let open = folded(1);
    assert_eq!(open.rows().len(), 9);
    assert_eq!(open.row_of(3), Some(3));
    assert_eq!(open.bars().count(), 8);
    // What plays once stays as it is.
    let single = tune(1, 0.0);
    let fold = Fold::Alike { open: 0 };
    let sheet = Sheet::plan(
        &single.piece(),
        Options {
            fold,
            ..Options::default()
        },
    );
    assert!(sheet.rows().iter().all(|row| row.alike.is_none()));
}

/// A string that rings over the bar line is drawn on in the next row, from before its line until it is
/// struck again.
#[test]
fn ringing_strings_are_tied_over_the_bar_line() {
    let mut score = tune(2, 0.0);
    let plain = Sheet::plan(&score.piece(), Options::default());
    let bar = score.grid.bars()[1];
    let lines = |score: &Score, sheet: &Sheet| {
        let left = sheet.row_area(1).expect("a row").left;
        let shapes = sheet.row_shapes(&score.piece(), 1).0;
        let rings = shapes.iter().filter_map(|s| match s {
            Shape::Line {
                from,
                to,
                ink: Ink::ThumbPale | Ink::FingerPale,
                ..
            } => Some((from.x, to.x)),
            _ => None,
        });
        rings.filter(|(from, _)| *from < left).collect::<Vec<_>>()
    };
    assert!(lines(&score, &plain).is_empty());
    let before = Seconds(bar.start.0 - 0.1);
    let last = score
        .notes
        .iter()
        .rposition(|n| n.time < before)
        .expect("a note of bar 1");
    score.notes[last].end = Seconds(bar.start.0 + 0.3);
    let sheet = Sheet::plan(&score.piece(), Options::default());
    let tied = lines(&score, &sheet);
    assert_eq!(tied.len(), 1, "{tied:?}");
    let place = sheet
        .place(&score.piece(), score.notes[last].end)
        .expect("a place");
    let string = score.notes[last].string;
    let again = score
        .notes
        .iter()
        .find(|n| n.time > score.notes[last].time && n.string == string);
    if again.is_none_or(|n| n.time > score.notes[last].end) {
        assert!((tied[0].1 - place.x).abs() < 1.0, "{tied:?} {place:?}");
    }
}

/// A beat in which nothing begins or rings has a block on the line; of one hand alone its own rests.
#[test]
fn silent_beats_are_rests() {
    let rests = |score: &Score, hands| {
        let options = Options {
            hands,
            ..Options::default()
        };
        let sheet = Sheet::plan(&score.piece(), options);
        let shapes = sheet.row_shapes(&score.piece(), 0).0;
        let on_line = |area: &thumbline::report::sheet::Rect| {
            (0.5 * (area.top + area.bottom) - sheet.line(0).expect("a row")).abs() < 0.1
        };
        let blocks = shapes
            .iter()
            .filter(|s| matches!(s, Shape::Block { area, ink: Ink::Tick, .. } if on_line(area)));
        blocks.count()
    };
    let score = tune(1, 0.0);
    assert_eq!(rests(&score, Hands::Both), 0);
    // The fingers play on 1, after 2 and after 3: what rings .4 s leaves no whole beat free but the fourth.
    assert_eq!(rests(&score, Hands::Fingers), 1);
    let mut silent = tune(1, 0.0);
    silent.notes.retain(|n| n.time.0 < 0.85);
    let silent = silent.measured();
    assert_eq!(rests(&silent, Hands::Both), 3);
}

/// ISO 32000-1, 7.5: the table says where each object begins, a stream is as long as it says; every
/// bar is on one of the pages, and none of them is A3.
#[test]
fn the_printed_page_is_a_pdf_with_every_bar() {
    use thumbline::report::pdf;
    let score = tune(40, 0.020).with_take();
    let file = pdf::write(&score.piece(), Options::default());
    let text = String::from_utf8(file).expect("plain text inside");
    assert!(text.starts_with("%PDF-1.4\n") && text.ends_with("%%EOF\n"));
    let table: usize = text
        .rsplit("startxref\n")
        .next()
        .and_then(|t| t.lines().next()?.parse().ok())
        .expect("where the table is");
    let rows: Vec<&str> = text[table..].lines().skip(3).collect();
    let places = rows.iter().take_while(|row| row.ends_with(" n "));
    for (i, place) in places.clone().enumerate() {
        let at: usize = place[..10].parse().expect("a place");
        assert!(
            text[at..].starts_with(&format!("{} 0 obj\n", i + 1)),
            "{place}"
        );
    }
    let pages = text.matches("/Type /Page ").count();
    assert!((3..=5).contains(&pages), "{pages} pages of 40 bars");
    assert_eq!(places.count(), 4 + 2 * pages);
    for part in text.split("/Length ").skip(1) {
        let (long, rest) = part.split_once(" >>\nstream\n").expect("a stream");
        let long: usize = long.parse().expect("its length");
        assert!(rest[long..].starts_with("endstream"));
    }
    assert_eq!(text.matches("/MediaBox [0 0 595.28 841.89]").count(), pages);
    let hex = |text: &str| {
        text.bytes()
            .map(|b| format!("{b:02x}"))
            .collect::<Vec<_>>()
            .concat()
    };
    for bar in 1..=40 {
        assert!(
            text.contains(&format!("<{}> Tj", hex(&bar.to_string()))),
            "bar {bar}"
        );
    }
    assert!(!pdf::write(&Score::empty().piece(), Options::default()).is_empty());
}

/// Five minutes of music are laid out in a time nobody notices.
#[test]
fn five_minutes_are_laid_out_at_once() {
    let score = tune(125, 0.020).with_take();
    let piece = score.piece();
    let best = (0..5)
        .map(|_| {
            let start = std::time::Instant::now();
            let sheet = Sheet::plan(&piece, Options::default());
            let shapes = sheet.head_shapes(&piece).len() + sheet.row_shapes(&piece, 0).0.len();
            assert!(shapes > 50);
            start.elapsed()
        })
        .min()
        .expect("five runs");
    println!(
        "{} notes, {:.1} ms",
        score.notes.len(),
        best.as_secs_f64() * 1000.0
    );
    // Ten times what it takes: a busy machine is not a slow layout.
    assert!(best.as_secs_f64() < 0.3, "{best:?}");
}

fn shapes(score: &Score, options: Options) -> Vec<Shape> {
    let piece = score.piece();
    let sheet = Sheet::plan(&piece, options);
    let mut all = sheet.head_shapes(&piece);
    for row in 0..sheet.rows().len() {
        all.extend(sheet.row_shapes(&piece, row).0);
    }
    all.extend(sheet.foot_shapes(&piece, sheet.height()).0);
    all
}

#[test]
fn every_coordinate_is_a_number() {
    for score in [
        tune(8, 0.02),
        Score::empty(),
        tune(1, f64::NAN),
        tune(1, f64::INFINITY),
    ] {
        assert!(
            shapes(&score, Options::default())
                .iter()
                .all(Shape::is_finite)
        );
    }
}

fn heads(score: &Score, options: Options) -> (Sheet, Vec<Mark>) {
    let piece = score.piece();
    let sheet = Sheet::plan(&piece, options);
    let marks = (0..sheet.rows().len())
        .flat_map(|row| sheet.row_shapes(&piece, row).1)
        .collect();
    (sheet, marks)
}

/// Every note where it was played, also where nobody hears it.
fn with_hairs(factor: u8) -> Options {
    Options {
        magnifier: Some(factor),
        hairs: true,
        ..Options::default()
    }
}

/// A head stands as far from its stem as its drift, at the scale of the beat, times the
/// magnifier: 20 ms at 100 beats a minute is 1/30 of a beat.
#[test]
fn drift_is_drawn_to_scale() {
    let score = tune(8, 0.020);
    let piece = score.piece();
    for factor in [1, 2, 4] {
        let (sheet, marks) = heads(&score, with_hairs(factor));
        let area = sheet.row_area(0).expect("a row");
        let beat = area.width() / 4.0;
        for mark in &marks {
            let drift = piece.placed(mark.note).drift.0;
            let wanted = drift / 0.6 * beat * f64::from(factor);
            let drawn = mark.head.x - mark.foot.expect("on the grid").x;
            assert!((drawn - wanted).abs() < 0.01, "{drawn} instead of {wanted}");
        }
        assert_eq!(marks.len(), score.notes.len());
    }
}

/// The same beat stands under itself, thumb below the line and fingers above, the outermost
/// string furthest out.
#[test]
fn places_on_the_page_mean_what_they_should() {
    let score = tune(8, 0.020);
    let piece = score.piece();
    let (sheet, marks) = heads(&score, Options::default());
    let mut columns = std::collections::BTreeMap::new();
    let mut lanes = std::collections::BTreeMap::new();
    for mark in &marks {
        let (note, placed) = (&score.notes[mark.note], piece.placed(mark.note));
        let foot = mark.foot.expect("on the grid");
        assert_eq!(mark.head.y > foot.y, note.role == Role::Bass);
        let at = placed.at.expect("on the grid").0;
        let row = sheet.row_at(foot.y).expect("in a row");
        assert_eq!(row, (at / 4.0) as usize, "a row a bar");
        let column = columns
            .entry((at.rem_euclid(4.0) * 4.0) as u8)
            .or_insert(foot.x);
        assert!((*column - foot.x).abs() < 1e-6);
        let string = note.string.expect("known");
        let out = (mark.head.y - foot.y).abs();
        let lane = (note.role == Role::Bass, string);
        let before = *lanes.entry(lane).or_insert(out);
        assert!((before - out).abs() < 1e-6, "a string has one height");
    }
    let outward = |lanes: Vec<f64>| assert!(lanes.windows(2).all(|p| p[0] + 10.0 < p[1]));
    outward([4, 5, 6].map(|s| lanes[&(true, s)]).into());
    outward([3, 2, 1].map(|s| lanes[&(false, s)]).into());
}

/// A note that nobody hears off the beat stands on its slot; one that is heard leaves it.
#[test]
fn only_what_is_heard_leaves_its_slot() {
    let score = tune(8, 0.020);
    let piece = score.piece();
    let (_, marks) = heads(&score, Options::default());
    let mut left = 0;
    for mark in &marks {
        let placed = piece.placed(mark.note);
        let away = mark.head.x - mark.foot.expect("on the grid").x;
        if placed.audible() {
            left += 1;
            assert!(away * placed.drift.0 > 0.0 && away.abs() > 3.0, "{away}");
        } else {
            assert!(away.abs() < 1e-9, "{away}");
        }
    }
    assert_eq!(left, 8, "the and of 2 in every bar");
}

/// Friberg & Sundberg 1995 (JASA 98:2524–2531), as the reference sheet computes it for beats: 25,
/// 18.75, 15, 12.5 ms at 60, 80, 100, 120 beats a minute; 6 ms at 200 in sixteenths. The band is
/// drawn that wide, and heads inside it are quiet.
#[test]
fn the_band_is_as_wide_as_what_cannot_be_heard() {
    for (bpm, ms) in [
        (60.0, 25.0),
        (80.0, 18.75),
        (100.0, 15.0),
        (120.0, 12.5),
        (200.0, 6.0),
    ] {
        for (share, bold) in [(0.99, false), (1.01, true)] {
            let mut score = Score {
                grid: pieces::steady(4, bpm, 1.0, Meter::COMMON),
                end: Seconds(9.0),
                ..Score::empty()
            };
            score.add(1.0, share * ms / 1000.0, Role::Melody, 1, 0);
            let mut score = score.measured();
            let measured = score.drift.notes[0].as_mut().expect("on the grid");
            measured.floor = Span::from_ms(ms);
            let piece = score.piece();
            let sheet = Sheet::plan(&piece, with_hairs(1));
            let (shapes, _) = sheet.row_shapes(&piece, 0);
            let band = shapes.iter().find_map(|s| match s {
                Shape::Block {
                    area,
                    ink: Ink::Band,
                    ..
                } => Some(area.width()),
                _ => None,
            });
            let beat = sheet.row_area(0).expect("a row").width() / 4.0;
            let wanted = 2.0 * ms / 1000.0 * bpm / 60.0 * beat;
            assert!((band.expect("a band") - wanted).abs() < 1e-6);
            let loud = shapes.iter().any(|s| {
                matches!(
                    s,
                    Shape::Disc {
                        ink: Ink::Finger,
                        ..
                    }
                )
            });
            assert_eq!(loud, bold, "{bpm} {share}");
            let words = describe(&piece, &score.notes[0], &piece.placed(0));
            assert_eq!(words.contains("late"), bold, "{words}");
        }
    }
}

#[test]
fn repeating_drift_becomes_a_slant_and_advice() {
    let score = tune(8, 0.020);
    let piece = score.piece();
    let all = sentences(&piece);
    let advice: Vec<_> = all.iter().filter(|s| s.bar.is_some()).collect();
    assert_eq!(advice.len(), 1, "{all:?}");
    let text = &advice[0].text;
    assert!(text.starts_with("The and of 2 comes 20 ms late with the fingers, 8 times of 8."));
    assert!(
        advice[0]
            .notes
            .iter()
            .all(|&i| score.notes[i].string == Some(2))
    );
    let wedges = shapes(&score, Options::default());
    let wedges = wedges.iter().filter(|s| matches!(s, Shape::Sail { .. }));
    assert_eq!(
        wedges.count(),
        8 + 2,
        "one a bar, the legend's, the strip of what repeats"
    );
}

#[test]
fn nothing_inside_the_band_is_called_late() {
    let mut score = tune(8, 0.012);
    let measured = score.drift.notes.iter_mut().flatten();
    measured.for_each(|m| m.floor = Span(0.030));
    score
        .drift
        .slots
        .iter_mut()
        .for_each(|s| s.floor = Span(0.030));
    let piece = score.piece();
    let mut words: Vec<String> = sentences(&piece).into_iter().map(|s| s.text).collect();
    words.extend(
        shapes(&score, Options::default())
            .into_iter()
            .filter_map(|s| match s {
                Shape::Text { text, .. } => Some(text),
                _ => None,
            }),
    );
    for text in words {
        let called = ["late", "early", "behind", "ahead"]
            .iter()
            .any(|w| text.contains(w));
        assert!(!called, "{text}");
    }
}

/// An instant's place on the page leads back to the instant.
#[test]
fn places_lead_back_to_instants() {
    let score = tune(8, 0.020);
    let piece = score.piece();
    let sheet = Sheet::plan(&piece, Options::default());
    for i in 0..96 {
        let time = Seconds(0.31 + 0.2 * f64::from(i));
        let place = sheet.place(&piece, time).expect("inside a bar");
        let y = sheet.rows()[place.row].top + 5.0;
        let back = sheet
            .time_at(&piece, Point::new(place.x, y))
            .expect("inside a bar");
        assert!((back - time).abs().0 < 1e-6, "{time:?} {back:?}");
    }
    assert!(sheet.place(&piece, Seconds(f64::NAN)).is_none());
}

#[test]
fn meters_of_1_to_15_beats_and_several_bars_a_row() {
    for count in 1..=15 {
        let meter = Meter { count, unit: 4 };
        let mut score = Score {
            grid: pieces::steady(5 * usize::from(count), 90.0, 0.5, meter),
            end: Seconds(60.0),
            ..Score::empty()
        };
        score.add(f64::from(count) * 2.0, 0.03, Role::Bass, 5, 2);
        let score = score.measured();
        for bars_a_row in [1, 2, 4] {
            let options = Options {
                bars_a_row,
                ..Options::default()
            };
            let (sheet, marks) = heads(&score, options);
            assert_eq!(marks.len(), 1);
            let bars = sheet.rows().iter().filter(|r| r.is_bars()).count();
            assert_eq!(bars, 5_usize.div_ceil(usize::from(bars_a_row)));
            assert!(shapes(&score, options).iter().all(Shape::is_finite));
        }
    }
}

/// Ten thousand onsets, three hours: planned once, then only visible rows are laid out.
#[test]
fn a_long_recording_is_laid_out_row_by_row() {
    let mut score = Score {
        grid: pieces::steady(18_000, 100.0, 0.0, Meter::COMMON),
        end: Seconds(10_800.0),
        ..Score::empty()
    };
    for i in 0..10_000 {
        score.add(f64::from(i), 0.01, Role::Bass, 6, 0);
    }
    let score = score.measured();
    let piece = score.piece();
    let sheet = Sheet::plan(&piece, Options::default());
    assert_eq!(sheet.rows().len(), 4_500);
    let seen = sheet.visible(100_000.0, 101_000.0);
    assert!(seen.len() <= 13, "{seen:?}");
    assert!(seen.start > 0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever the numbers, every coordinate is one and nothing panics.
    #[test]
    fn any_numbers_can_be_laid_out(
        beats in prop::collection::vec(prop::num::f64::ANY, 0..12),
        notes in prop::collection::vec(
            (prop::num::f64::ANY, prop::num::f64::ANY, prop::num::f64::ANY, any::<u8>(), any::<bool>()),
            0..12,
        ),
        downbeat in 0_usize..9,
        count in 0_u8..=20,
        width in prop::num::f64::ANY,
        zoom in prop::num::f64::ANY,
        end in prop::num::f64::ANY,
    ) {
        let times: Vec<_> = beats.into_iter().map(|t| Seconds(t % 1e4)).collect();
        let meter = Meter { count, unit: 4 };
        let mut score = Score {
            grid: Grid::from_beats(&times, downbeat, meter),
            end: Seconds(end % 1e4),
            ..Score::empty()
        };
        for (time, drift, slot, string, bass) in notes {
            score.add_wild(time, drift, slot, string, bass);
        }
        let options = Options { width, zoom, ..Options::default() };
        prop_assert!(shapes(&score, options).iter().all(Shape::is_finite));
        let text = svg::write(&score.piece(), options, Ground::Dark);
        prop_assert!(!text.contains("NaN") && !text.contains("inf\""));
    }
}
