//! The lesson page without a browser: what is in the file, what is refused, where plucks lie in the
//! sound. What browsers make of it: `tests/reference/check_lesson.py`.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use opus_pure::{MAX_PACKET_SAMPLES, OggOpusReader, Trim};
use sha2::{Digest, Sha256};
use std::sync::OnceLock;
use thumbline::analysis::Analysis;
use thumbline::demo::{self, Rendition};
use thumbline::music::drill::{Technique, pattern_stages};
use thumbline::music::grid::Grid;
use thumbline::music::guess::Guess;
use thumbline::music::meter::Meter;
use thumbline::music::note::Note;
use thumbline::music::progression;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::recording::Recording;
use thumbline::report::lesson::{
    self, Asked, Drilled, Lesson, LessonError, Phrase, PlanDay, Practice, Settings,
};
use thumbline::timing::{self, Drift, Reference};
use thumbline::unit::{Bpm, Cents, Seconds};

fn tune() -> &'static Rendition {
    static TUNE: OnceLock<Rendition> = OnceLock::new();
    TUNE.get_or_init(|| demo::recording(44_100).expect("the demo renders"))
}

/// What is played, as if it had been heard without a fault.
fn heard(notes: Vec<Note>, grid: Grid, end: Seconds) -> (Analysis, Drift) {
    let drift = timing::measure(&notes, &grid, Reference::OwnTempo);
    let heard = Analysis {
        notes,
        grid,
        tuning_offset: None,
        tuning_course: Vec::new(),
        tuning: Tuning::dadgad(),
        guesses: Vec::new(),
        solo: thumbline::analysis::one_guitar::Solo::default(),
        end,
        alternatives: Vec::new(),
        warnings: Vec::new(),
    };
    (heard, drift)
}

fn truth() -> (Analysis, Drift) {
    let tune = tune();
    let notes = tune.notes.iter().map(|n| n.note.clone()).collect();
    heard(notes, tune.grid.clone(), tune.recording.end())
}

fn settings(bars: (i32, i32), title: &str, words: &str) -> Settings {
    Settings {
        version: "0.1.0".to_owned(),
        recording: "tune.wav".to_owned(),
        bars,
        speeds: lesson::SPEEDS.to_vec(),
        title: title.to_owned(),
        words: words.to_owned(),
        ..Settings::default()
    }
}

fn page_of(
    recording: &Recording,
    truth: &(Analysis, Drift),
    settings: &Settings,
    practice: Vec<Practice>,
) -> Result<String, LessonError> {
    lesson::page(&lesson_of(recording, truth, settings, practice), &|| true)
}

/// The bars, what is practised of them, no more.
fn lesson_of<'a>(
    recording: &'a Recording,
    (heard, drift): &'a (Analysis, Drift),
    settings: &'a Settings,
    practice: Vec<Practice>,
) -> Lesson<'a> {
    Lesson {
        settings,
        phrase: Phrase {
            recording,
            heard,
            drift,
            bars: settings.bars,
            take: None,
        },
        tuning_name: "DADGAD".to_owned(),
        practice,
        chords: Vec::new(),
        week: Vec::new(),
    }
}

/// The opening with the drill of a pattern, made once.
fn opening() -> &'static str {
    static PAGE: OnceLock<String> = OnceLock::new();
    PAGE.get_or_init(|| {
        let presets = Presets::built_in();
        let pattern = presets
            .pattern("off-beat melody")
            .expect("a built-in pattern");
        let tempo = Bpm(80.0);
        let practice = Practice {
            title: "Step by step".to_owned(),
            stages: pattern_stages(&pattern.name, &pattern.cell, &Tuning::dadgad(), tempo, 2),
            tempo,
        };
        let settings = settings((1, 2), "The opening", "");
        page_of(&tune().recording, &truth(), &settings, vec![practice]).expect("a page")
    })
}

fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let from = text.find(before).map(|at| at + before.len());
    let rest = &text[from.unwrap_or_else(|| panic!("no {before}"))..];
    &rest[..rest.find(after).expect("an end")]
}

/// Nothing runs but the page's own script, and nothing is fetched: W3C Content Security Policy
/// Level 3, where a hash is the base64 of the SHA-256 of what stands in the element.
#[test]
fn a_strict_content_policy_names_the_script_and_the_style_by_hash() {
    let page = opening();
    let policy = between(page, "Content-Security-Policy\" content=\"", "\"");
    let hash = |text: &str| format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text)));
    let style = between(page, "<style>", "</style>");
    let script = between(page, "<script>", "</script>");
    assert_eq!(
        policy,
        format!(
            "default-src 'none'; script-src {}; style-src {}; base-uri 'none'; form-action 'none'",
            hash(script),
            hash(style)
        )
    );
    let outside = [
        "src=", "<link", "<iframe", "@import", "url(", "style=\"", "onclick",
    ];
    for what in outside {
        assert!(!page.contains(what), "{what} in the page");
    }
}

#[test]
fn titles_and_words_are_text() {
    let title = "<script>alert(1)</script> \"quoted\" 'so' & 🎸 עברית";
    let words = "# Hello\n\n<script>alert(2)</script> <img src=x onerror=alert(3)>\n\n\
                 [no](javascript:alert(4)) [yes](https://example.org) ![p](https://example.org/p.png)";
    let settings = settings((1, 1), title, words);
    let page = page_of(&tune().recording, &truth(), &settings, Vec::new()).expect("a page");
    // One script of its own, and the data: settings, facts, four speeds of three balances.
    assert_eq!(page.matches("<script").count(), 1 + 2 + 12);
    assert!(!page.contains("<script>alert"));
    assert!(!page.contains("<img") && !page.contains("javascript:alert(4)\""));
    assert!(page.contains("<h2>Hello</h2>"));
    assert!(page.contains("href=\"https://example.org\""));
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &quot;quoted&quot;"));
    assert_eq!(lesson::read(&page).expect("its settings"), settings);
}

#[test]
fn what_is_no_page_has_no_settings() {
    for text in [
        "",
        "<html></html>",
        "<script type=\"application/json\" id=\"settings\">{",
    ] {
        assert!(lesson::read(text).is_err());
    }
}

#[test]
fn the_same_lesson_gives_the_same_bytes() {
    let settings = settings((1, 1), "Once", "*again*");
    let made = || page_of(&tune().recording, &truth(), &settings, Vec::new()).expect("a page");
    assert_eq!(made(), made());
}

/// Decodes what a page holds under `id`: planar channels, trimmed as the stream says.
fn sound(page: &str, id: &str) -> Vec<f32> {
    let text = between(
        page,
        &format!("<script type=\"text/plain\" id=\"{id}\">"),
        "<",
    );
    let bytes = STANDARD.decode(text).expect("base64");
    let mut reader = OggOpusReader::new(&bytes[..]).expect("Ogg");
    let width = usize::from(reader.head().channel_count);
    let mut decoder = reader.head().decoder(48_000).expect("a decoder");
    let mut trim = Trim::new(reader.head(), 48_000, width).expect("a trim");
    let mut block = vec![0f32; MAX_PACKET_SAMPLES * width];
    let mut out = Vec::new();
    for packet in reader.packets() {
        let packet = packet.expect("a packet");
        let n = decoder
            .decode(&packet.data, MAX_PACKET_SAMPLES, &mut block)
            .expect("sound");
        out.extend_from_slice(trim.keep(&packet, &block[..n * width]));
    }
    out.iter().step_by(width).copied().collect()
}

/// The truth is the tune's own: the frame at which each stroke was rendered.
#[test]
fn every_pluck_lies_where_the_page_says() {
    const LEAD: f64 = 0.12;
    let page = opening();
    let facts: serde_json::Value = serde_json::from_str(between(
        page,
        "<script type=\"application/json\" id=\"lesson\">",
        "</script>",
    ))
    .expect("JSON");
    let part = &facts["parts"][0];
    let length = part["length"].as_f64().expect("a length");
    for (index, speed) in lesson::SPEEDS.iter().enumerate() {
        let id = part["sounds"]["both"][index][0].as_str().expect("an id");
        let frames = part["sounds"]["both"][index][1].as_u64().expect("a length");
        let sound = sound(page, id);
        assert_eq!(sound.len() as u64, frames);
        assert!((sound.len() as f64 / 48_000.0 - LEAD - length / speed).abs() < 1e-4);
        let mut late: Vec<f64> = part["notes"]
            .as_array()
            .expect("notes")
            .iter()
            .map(|note| rise(&sound, LEAD + note[0].as_f64().expect("a time") / speed))
            .collect();
        assert!(late.len() >= 12);
        late.sort_by(f64::total_cmp);
        let middle = late[late.len() / 2];
        assert!(middle.abs() < 0.003, "at {speed}: {middle} s");
        let near = late.iter().filter(|l| (*l - middle).abs() < 0.006).count();
        assert!(near * 5 >= late.len() * 4, "at {speed}: {late:?}");
    }
}

/// How far from `due` the sound rises most, seconds: energy of differences, millisecond by
/// millisecond, against the eight before.
fn rise(sound: &[f32], due: f64) -> f64 {
    const HOP: usize = 48;
    let level = |m: usize| -> f64 {
        let part = sound.get(m * HOP..(m + 1) * HOP).unwrap_or_default();
        part.windows(2)
            .map(|p| f64::from(p[1] - p[0]).powi(2))
            .sum()
    };
    let middle = (due * 1000.0) as usize;
    let best = (middle.saturating_sub(25).max(9)..middle + 25)
        .map(|m| {
            let before: f64 = (1..=8).map(|k| level(m - k)).sum::<f64>() / 8.0;
            let after: f64 = (0..3).map(|k| level(m + k)).sum::<f64>() / 3.0;
            (m, after / (before + 1e-9))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(0.0, |(m, _)| m as f64 / 1000.0 - due)
}

#[test]
fn eight_bars_at_four_speeds_stay_below_three_megabytes() {
    let settings = settings((1, 8), "Eight bars", "");
    let page = page_of(&tune().recording, &truth(), &settings, Vec::new()).expect("a page");
    assert!(page.len() <= 3_000_000, "{} bytes", page.len());
}

/// Twelve minutes of bars, without a sound in them: what is asked for is told before any work.
fn long(bars: (i32, i32)) -> Result<String, LessonError> {
    let seconds = 720.0;
    let recording =
        Recording::new("long.wav", 8_000, vec![vec![0.0; 8_000 * 720]]).expect("a recording");
    let beats: Vec<Seconds> = (0..720).map(|i| Seconds(f64::from(i))).collect();
    let grid = Grid::from_beats(&beats, 0, Meter::COMMON);
    let heard = heard(Vec::new(), grid, Seconds(seconds));
    let settings = Settings {
        speeds: vec![1.0],
        ..settings(bars, "Long", "")
    };
    page_of(&recording, &heard, &settings, Vec::new())
}

#[test]
fn twelve_minutes_are_refused_with_advice() {
    let why = long((1, 180)).expect_err("too long").to_string();
    assert_eq!(
        why,
        "bars 1 to 180 last 12.0 minutes: too long for one page, and for one lesson; choose up to \
         22 bars (as 1-22), and make a page for each part"
    );
    // What it advises is possible.
    let why = long((1, 22)).map(|page| page.len());
    assert!(why.is_ok(), "{why:?}");
}

#[test]
fn bars_that_are_not_there_are_refused() {
    let why = long((170, 190)).expect_err("not there").to_string();
    assert_eq!(why, "`long.wav` has bars 1 to 180: choose bars within them");
    let (heard, drift) = heard(Vec::new(), Grid::default(), Seconds(1.0));
    let recording = Recording::new("noise.wav", 8_000, vec![vec![0.0; 8_000]]).expect("sound");
    let why = page_of(
        &recording,
        &(heard, drift),
        &settings((1, 1), "x", ""),
        Vec::new(),
    );
    assert!(matches!(why, Err(LessonError::NoBeat(_))));
}

#[test]
fn speeds_are_one_to_four() {
    for speeds in [vec![], vec![0.5; 5], vec![9.0]] {
        let settings = Settings {
            speeds,
            ..settings((1, 1), "x", "")
        };
        let made = page_of(&tune().recording, &truth(), &settings, Vec::new());
        assert!(matches!(made, Err(LessonError::Speeds(_))));
    }
}

#[test]
fn a_page_can_be_stopped() {
    let (truth, settings) = (truth(), settings((1, 1), "x", ""));
    let lesson = lesson_of(&tune().recording, &truth, &settings, Vec::new());
    let made = lesson::page(&lesson, &|| false);
    assert!(matches!(made, Err(LessonError::Cancelled)));
}

/// Every note of the bars can be lit, on paper and on a phone, and is said in words.
#[test]
fn every_note_is_addressable() {
    let page = opening();
    let (heard, _) = truth();
    let (from, to) = heard.grid.bar_range(1, 2).expect("two bars");
    let lead = Seconds(from.0 - 0.07);
    let notes = heard
        .notes
        .iter()
        .filter(|n| n.time >= lead && n.time.0 < to.0 - 0.07)
        .count();
    let figure = between(page, "data-part=\"0\">", "</figure>");
    for n in 0..notes {
        let mark = format!("data-n=\"{n}\"");
        assert_eq!(figure.matches(&mark).count(), 2, "note {n}");
    }
    assert!(figure.contains("<dt>Bar 1</dt>") && figure.contains("<dt>Bar 2</dt>"));
    assert!(figure.contains("string 6 open"));
    // Colours go by name, so that paper, dark and print each give theirs.
    assert!(figure.contains("var(--thumb") && !figure.contains("\"#"));
}

/// Techniques of the left hand and harmonics: heard, drawn as players write them, and said in words.
#[test]
fn techniques_and_harmonics_stand_in_the_page() {
    let truth = truth();
    let scale = Presets::built_in()
        .scale("A minor pentatonic")
        .expect("a scale");
    let asked = Asked {
        techniques: Technique::ALL.map(|t| (t, scale.clone())).into(),
        harmonics: true,
        ..Asked::default()
    };
    let practice = lesson::practice(&truth.0, &asked).expect("practice");
    let settings = Settings {
        speeds: vec![1.0],
        techniques: vec!["hammer-ons".to_owned()],
        harmonics: true,
        ..settings((1, 1), "Left hand", "")
    };
    let lesson = lesson_of(&tune().recording, &truth, &settings, practice);
    let page = lesson::page(&lesson, &|| true).expect("a page");
    for heading in [
        "Hammer-ons in A minor pentatonic",
        "Pull-offs in A minor pentatonic",
        "Slides in A minor pentatonic",
        "Harmonics",
    ] {
        assert!(page.contains(&format!(">{heading}<")), "{heading}");
    }
    for word in [", hammered on", ", pulled off", ", slid to", ", harmonic"] {
        assert!(page.contains(word), "{word}");
    }
    for fret in ["&lt;12&gt;", ">h3<", ">p3<", ">/5<"] {
        assert!(page.contains(fret), "{fret}");
    }
    assert_eq!(lesson::read(&page).expect("settings"), settings);
    // Without a tuning nobody knows where to touch.
    let mut unsure = truth.0;
    unsure.guesses = vec![Guess {
        name: "DADGAD".to_owned(),
        tuning: Tuning::dadgad(),
        cents: Cents(0.0),
        odds: 0.4,
        alike: Vec::new(),
    }];
    let refused = lesson::practice(&unsure, &asked);
    assert!(matches!(refused, Err(LessonError::Tuning)));
}

/// Chords stand in the page with their fingers and changes, are played one after the other, and a plan
/// tells what to do on which day.
#[test]
fn chords_and_a_plan_stand_in_the_page() {
    let truth = truth();
    let chords = progression::named("D G A", &Tuning::dadgad()).expect("chords");
    let asked = Asked {
        drill: Some(Drilled::Found),
        scale: Some(Presets::built_in().scale("D major").expect("a scale")),
        chords,
        ..Asked::default()
    };
    let practice = lesson::practice(&truth.0, &asked).expect("practice");
    let settings = Settings {
        speeds: vec![1.0],
        chords: vec!["D".to_owned(), "G".to_owned(), "A".to_owned()],
        plan: true,
        ..settings((1, 1), "Chords", "")
    };
    let day = |date: &str, tasks: &[&str]| PlanDay {
        date: date.to_owned(),
        tasks: tasks.iter().map(|t| (*t).to_owned()).collect(),
        minutes: 5,
    };
    let lesson = Lesson {
        chords: asked.chords.clone(),
        week: vec![
            day("2026-03-02", &["loop bar 3 at 60 <beats>"]),
            day("2026-03-03", &[]),
        ],
        ..lesson_of(&tune().recording, &truth, &settings, practice)
    };
    let page = lesson::page(&lesson, &|| true).expect("a page");
    let changes = between(&page, "<ul class=\"changes\">", "</ul>");
    assert_eq!(changes.matches("<li>").count(), 3);
    for held in &asked.chords {
        assert!(changes.contains(&held.shape.diagram()), "{changes}");
    }
    assert!(page.contains("aria-label=\"Chords\""));
    assert!(page.contains("Scale: D major"));
    assert!(page.contains("<p class=\"how\">Goal: "));
    let week = between(&page, "id=\"h-week\">", "</section>");
    assert!(
        week.contains("<dt>2026-03-02</dt><dd>Loop bar 3 at 60 &lt;beats&gt; (5 minutes)</dd>")
    );
    assert!(week.contains("<dt>2026-03-03</dt><dd>Rest</dd>"));
    assert_eq!(lesson::read(&page).expect("settings"), settings);
}
