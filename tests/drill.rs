//! Drills: stages from the thumb alone to the whole pattern, and the sound at known instants.

use thumbline::dsp::pluck::Guitar;
use thumbline::music::chord::{Chord, shapes};
use thumbline::music::drill::{
    Session, Stage, Technique, WITHOUT_REST, harmonics_stage, lesson, pattern_stages,
    technique_stages,
};
use thumbline::music::hand::Hand;
use thumbline::music::meter::Meter;
use thumbline::music::note::{Attack, Role};
use thumbline::music::picking::{Pattern, thumb_walk};
use thumbline::music::progression::voice;
use thumbline::music::score::Written;
use thumbline::music::syncopation::{Sense, note_to_missed_beat, senses, weights};
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::report::{midi, musicxml, tab};
use thumbline::unit::Bpm;

/// Lessons of every pattern at the usual tempi.
fn lessons() -> Vec<(Pattern, Vec<Stage>)> {
    let patterns = Presets::built_in().patterns;
    patterns
        .into_iter()
        .map(|p| {
            let stages = pattern_stages(&p.name, &p.cell, &Tuning::dadgad(), Bpm(60.0), 4);
            (p, stages)
        })
        .collect()
}

#[test]
fn lessons_are_short_say_their_goal_and_rest() {
    let tempi = [Bpm(60.0), Bpm(72.0), Bpm(84.0)];
    for (pattern, stages) in lessons() {
        let name = &pattern.name;
        assert!(
            (1..=10).contains(&stages.len()),
            "{name}: {} stages",
            stages.len()
        );
        for stage in &stages {
            assert!(!stage.goal.is_empty() && !stage.title.is_empty(), "{name}");
            assert!(
                stage.rest.0 >= 5.0 && stage.tempo_rule.contains("tempo")
                    || stage.tempo_rule.contains("faster")
            );
            assert!(!stage.score.notes.is_empty(), "{name}: {}", stage.title);
        }
        assert!(
            stages.iter().any(|s| s.say.is_some()),
            "{name}: something to say"
        );
        let session = Session::of(&stages, &tempi, false);
        assert!(session.longest_without_rest() <= 8.0 * 60.0, "{name}");
        // Where a minute's rest is due is told, before which stage.
        let long = session.length.0 > WITHOUT_REST + 60.0;
        assert_eq!(!session.long_rests().is_empty(), long, "{name}");
        for told in session.long_rests() {
            assert!(stages.iter().any(|s| told.starts_with(&s.title)), "{told}");
        }
        // The last stage but those against the click has the whole pattern.
        let whole = &stages[stages.len() - 1].score;
        let cells = 4usize.div_ceil(usize::from(pattern.cell.bars));
        let strokes: usize = pattern
            .cell
            .notes
            .iter()
            .map(|n| {
                if n.touch.brush.is_some() {
                    n.strings.len()
                } else {
                    1
                }
            })
            .sum();
        assert_eq!(whole.notes.len(), strokes * cells, "{name}");
        assert!(
            whole.notes.iter().all(|n| n.fret == 0),
            "the left hand rests"
        );
    }
}

#[test]
fn syncopation_goes_from_the_thumb_to_the_whole_pattern() {
    let mut seen = 0;
    for (pattern, stages) in lessons() {
        let melody = |stage: &Stage| -> Vec<f64> {
            let notes = stage.score.notes.iter();
            notes
                .filter(|n| n.role == Role::Melody)
                .map(|n| n.at.0)
                .collect()
        };
        let off = |stage: &Stage| melody(stage).iter().filter(|at| at.fract() > 1e-6).count();
        if stages[0].title != "thumb alone" || stages.len() < 4 {
            continue;
        }
        seen += 1;
        assert!(melody(&stages[0]).is_empty(), "first the thumb alone");
        assert_eq!(stages[1].title, "melody with the thumb");
        let brushed = pattern.cell.notes.iter().any(|n| n.touch.brush.is_some());
        assert!(
            brushed || off(&stages[1]) == 0,
            "{}: then with the thumb",
            pattern.name
        );
        // On muted strings first, then further off the beat with every stage.
        assert!(
            stages[2]
                .score
                .notes
                .iter()
                .any(|n| n.attack == Attack::Dead)
        );
        let steps: Vec<usize> = stages[3..].iter().map(off).collect();
        assert!(
            steps.windows(2).all(|s| s[1] >= s[0]),
            "{}: {steps:?}",
            pattern.name
        );
    }
    assert!(seen >= 8, "{seen}");
}

#[test]
fn an_arpeggio_is_planted_and_rolled() {
    for name in [
        "arpeggio p i m a",
        "arpeggio p i m i",
        "rolling 6/8",
        "tremolo p a m i",
    ] {
        let pattern = Presets::built_in().pattern(name).unwrap().clone();
        let stages = pattern_stages(name, &pattern.cell, &Tuning::standard(), Bpm(60.0), 4);
        assert!((3..=4).contains(&stages.len()), "{name}: {}", stages.len());
        if name.starts_with("tremolo") {
            // Three fingers cannot be planted on one string at once: they come one by one, without the thumb.
            let alone = &stages[0].score.notes;
            assert!(alone.iter().all(|n| n.role == Role::Melody));
            let mut instants: Vec<f64> = alone.iter().map(|n| n.at.0).collect();
            instants.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
            assert_eq!(instants.len(), alone.len());
            continue;
        }
        assert_eq!(stages[0].title, "planted block");
        // Everything of the block stands on a thumb's beat.
        let thumb: Vec<f64> = pattern
            .cell
            .notes
            .iter()
            .filter(|n| n.role == Role::Bass)
            .map(|n| n.at.0)
            .collect();
        for note in &stages[0].score.notes {
            let at = note.at.0.rem_euclid(pattern.cell.beats());
            assert!(thumb.iter().any(|t| (t - at).abs() < 1e-6), "{name}");
        }
    }
}

/// As a teacher counts: the number once a beat, then "and"; what is not played is counted silently.
#[test]
fn what_is_said_is_how_players_count() {
    let said = |name: &str, title: &str| {
        let pattern = Presets::built_in().pattern(name).unwrap().clone();
        let stages = pattern_stages(name, &pattern.cell, &Tuning::standard(), Bpm(60.0), 4);
        let stage = stages.iter().find(|s| s.title.starts_with(title));
        stage.and_then(|s| s.say.clone()).expect("it is said")
    };
    assert_eq!(
        said("off-beat melody", "the whole pattern"),
        "one two and three and four and"
    );
    assert_eq!(
        said("arpeggio p i m i", "the whole pattern"),
        "one e and a two e and a three e and a four e and a"
    );
    assert_eq!(
        said("frailing", "thumb alone"),
        "(one) (two) and (three) (four) and"
    );
    assert_eq!(
        said("rolling 6/8", "the whole pattern"),
        "one two three four five six"
    );
    assert!(said("hornpipe", "the whole pattern, swung").starts_with("ONE-a TWO-a"));
}

#[test]
fn pushed_and_delayed_mean_one_thing() {
    // Eighths of 4/4. Common practice: an eighth before a silent beat is an anticipation of it, one
    // after a silent beat whose next beat is played is a delay.
    let pushed = senses(&[0, 3, 7], 2, Some(8));
    assert_eq!(
        pushed,
        [
            (3, Sense::Pushed { to: 4 }),
            (7, Sense::Delayed { from: 6 })
        ]
    );
    let pushed = senses(&[3, 7], 2, Some(8));
    assert_eq!(
        pushed,
        [(3, Sense::Pushed { to: 4 }), (7, Sense::Pushed { to: 8 })]
    );
    let delayed = senses(&[1, 2, 5, 6], 2, Some(8));
    assert_eq!(
        delayed,
        [
            (1, Sense::Delayed { from: 0 }),
            (5, Sense::Delayed { from: 4 })
        ]
    );
    assert_eq!(senses(&[0, 1, 2], 2, None), [(1, Sense::Passing)]);
    // What counts as pushed here is what the published measure credits with a missed beat.
    for onsets in [
        vec![0usize, 3, 7],
        vec![3, 5, 7],
        vec![1, 2, 5, 6],
        vec![0, 3, 6],
    ] {
        let weights = weights(Meter::COMMON, 2);
        let missed = note_to_missed_beat(&onsets, &weights, 8, true);
        for (note, sense) in senses(&onsets, 2, Some(8)) {
            let is_missed = missed.iter().any(|s| s.note == note);
            assert_eq!(
                matches!(sense, Sense::Pushed { .. }),
                is_missed,
                "{onsets:?} {note}"
            );
        }
    }
}

#[test]
fn the_bass_follows_the_chord() {
    // Common practice: C 5-4-6-4, G 6-4-5-4; D 4-5-4 and its sixth string where it is a note of D.
    let hand = Hand::default();
    for (tuning_name, name, want) in [
        ("standard", "C", [5, 4, 6, 4]),
        ("standard", "G", [6, 4, 5, 4]),
        ("standard", "Am", [5, 4, 6, 4]),
        ("standard", "D", [4, 5, 4, 4]),
        ("drop D", "Em", [6, 4, 5, 4]),
    ] {
        let tuning = Presets::built_in().tuning(tuning_name).unwrap().1;
        let chord = Chord::parse(name).unwrap();
        let shape = &shapes(&chord, &tuning, &hand, 1)[0];
        assert_eq!(thumb_walk(shape, &chord, &tuning), want, "{name}");
    }
    let pattern = Presets::built_in()
        .pattern("off-beat melody")
        .unwrap()
        .clone();
    let chords: Vec<Chord> = ["C", "Am"]
        .iter()
        .map(|c| Chord::parse(c).unwrap())
        .collect();
    let held = voice(&chords, &Tuning::standard(), &hand, true).unwrap();
    let stages = lesson("x", &pattern.cell, &Tuning::standard(), Bpm(60.0), 2, &held);
    let bass: Vec<u8> = stages[0].score.notes.iter().map(|n| n.string).collect();
    assert_eq!(bass, [5, 4, 6, 4, 5, 4, 6, 4]);
    assert!(stages.last().unwrap().title.starts_with("the joins"));
    for note in stages.iter().flat_map(|s| &s.score.notes) {
        let sounds = Tuning::standard().open(note.string).unwrap() + i32::from(note.fret);
        let chord = if ((note.at.0 / 4.0) as usize).is_multiple_of(2) {
            &chords[0]
        } else {
            &chords[1]
        };
        assert!(chord.classes().contains(&sounds.rem_euclid(12)));
    }
}

/// Of a cell of two bars its last half bar leads into the first half bar of the next; on muted strings no
/// finger of the left hand is asked for.
#[test]
fn long_cells_are_joined_over_the_bar_line_and_mutes_need_no_fingers() {
    let pattern = Presets::built_in().pattern("ragtime").unwrap().clone();
    assert_eq!(pattern.cell.bars, 2);
    let chords = ["C", "Am", "F"].map(|c| Chord::parse(c).unwrap());
    let hand = Hand::default();
    let held = voice(&chords, &Tuning::standard(), &hand, true).unwrap();
    let stages = lesson("x", &pattern.cell, &Tuning::standard(), Bpm(60.0), 2, &held);
    let join = &stages.last().unwrap().score;
    assert_eq!(join.bars(), 4, "two bars a change");
    for pair in 0..2 {
        let start = 8.0 * f64::from(pair);
        let inside = |n: &&Written| (start..start + 8.0).contains(&n.at.0);
        let places: Vec<f64> = join
            .notes
            .iter()
            .filter(inside)
            .map(|n| n.at.0 - start)
            .collect();
        assert!(
            places.iter().all(|at| (2.0..6.0).contains(at)),
            "{places:?}"
        );
        assert!(places.iter().any(|at| *at < 4.0) && places.iter().any(|at| *at >= 4.0));
    }
    let muted = stages.iter().find(|s| s.title.contains("muted")).unwrap();
    assert!(muted.score.notes.iter().all(|n| n.left.is_none()));
    assert!(stages[0].score.notes.iter().any(|n| n.left.is_some()));
}

#[test]
fn techniques_are_on_the_page_in_every_format() {
    let scale = Presets::built_in().scale("D major").unwrap();
    for (what, sign, element) in [
        (Technique::HammerOns, "h", "hammer-on"),
        (Technique::PullOffs, "p", "pull-off"),
        (Technique::Slides, "/", "slide"),
    ] {
        let stages = technique_stages(what, &scale, &Tuning::standard(), Bpm(60.0));
        let score = &stages[1].score;
        assert!(tab::text(score, 80).contains(sign));
        let xml = String::from_utf8(musicxml::score(score).unwrap()).unwrap();
        assert!(
            xml.contains(&format!("<{element} type=\"start\"")),
            "{element}"
        );
        assert!(
            xml.contains(&format!("<{element} type=\"stop\"")),
            "{element}"
        );
        let file = midi::score(score).unwrap();
        // Portamento control, MIDI 1.0 controller 84 (0x54), names the key that a slide comes from; on the
        // fingers' channel, which is the second, or the thumb's, the first.
        let glides = file
            .windows(2)
            .filter(|w| matches!(w, [0xB0 | 0xB1, 0x54]))
            .count();
        let slides = score
            .notes
            .iter()
            .filter(|n| n.attack == Attack::Slide)
            .count();
        assert_eq!(glides, slides, "{element}");
    }
}

#[test]
fn a_session_counts_in_and_sounds_at_its_instants() {
    let presets = Presets::built_in();
    let pattern = presets.pattern("off-beat melody").unwrap();
    let stages = pattern_stages("x", &pattern.cell, &Tuning::standard(), Bpm(60.0), 1);
    let session = Session::of(&stages[..2], &[Bpm(120.0), Bpm(180.0)], false);
    assert_eq!(session.marks.len(), 4);
    assert_eq!(session.clicks.len(), 4 * 4, "a bar of clicks before each");
    assert!((session.clicks[1].at.0 - session.clicks[0].at.0 - 0.5).abs() < 1e-9);
    assert!((session.notes[0].note.time.0 - (session.marks[0].0.0 + 2.0)).abs() < 1e-9);
    assert!(session.beats.windows(2).all(|b| b[1].0 > b[0].0));
    let guitar = Guitar {
        rate: 16_000,
        noise: None,
        ..Guitar::default()
    };
    let sound = guitar.play(&session.strokes, session.length);
    for (played, (onset, _)) in session.notes.iter().zip(&sound.spans) {
        assert_eq!(*onset, played.note.time.frame(16_000));
    }
    let always = Session::of(&stages[..1], &[Bpm(120.0)], true);
    assert_eq!(always.clicks.len(), 8);
}

#[test]
fn harmonics_touch_every_string() {
    let tuning = Tuning::parse("x A D G A D").unwrap();
    let stage = harmonics_stage(&tuning, Bpm(60.0));
    assert!(
        stage
            .score
            .notes
            .iter()
            .all(|n| n.attack == Attack::Harmonic && n.string != 6)
    );
    for string in 1..=5 {
        for fret in [12, 7, 5] {
            let there =
                |n: &&thumbline::music::score::Written| (n.string, n.fret) == (string, fret);
            assert!(stage.score.notes.iter().any(|n| there(&n)));
        }
    }
    for note in &stage.score.notes {
        let pitch = stage.score.pitch(note).expect("sounds").0;
        let open = f64::from(tuning.open(note.string).unwrap());
        let want = match note.fret {
            12 => 12.0,
            7 => 12.0 * 3f64.log2(),
            _ => 24.0,
        };
        assert!((pitch - open - want).abs() < 1e-9);
    }
}
