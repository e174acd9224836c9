//! Any text as a lesson page whose settings are read, and a page made by them again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;
use thumbline::analysis::Analysis;
use thumbline::music::drill::Technique;
use thumbline::music::grid::Grid;
use thumbline::music::meter::Meter;
use thumbline::music::progression;
use thumbline::music::tuning::Tuning;
use thumbline::preset::Presets;
use thumbline::recording::Recording;
use thumbline::report::lesson::{self, Asked, Drilled, Lesson, Phrase};
use thumbline::timing::Drift;
use thumbline::unit::Seconds;

static PRESETS: LazyLock<Presets> = LazyLock::new(Presets::built_in);
static SOUND: LazyLock<Recording> =
    LazyLock::new(|| Recording::new("tune", 8_000, vec![vec![0.1; 4_000]]).expect("sound"));
static HEARD: LazyLock<Analysis> = LazyLock::new(|| {
    let beats: Vec<Seconds> = (0..9).map(|i| Seconds(0.05 * f64::from(i))).collect();
    let grid = Grid::from_beats(&beats, 0, Meter::COMMON);
    Analysis::told(Vec::new(), grid, Tuning::standard(), SOUND.end())
});

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let whole = format!("<script type=\"application/json\" id=\"settings\">{text}</script>");
    let read = [text, &whole].map(lesson::read);
    let Some(made) = read.into_iter().find_map(Result::ok) else {
        return;
    };
    let mut heard = HEARD.clone();
    if let Some(told) = &made.tuning {
        let Ok((_, tuning)) = PRESETS.tuning(told) else {
            return;
        };
        heard.tuning = tuning.with_capo(made.capo);
    }
    let scale = made.scale.as_deref().and_then(|s| PRESETS.scale(s).ok());
    let technique = |name: &String| {
        use Technique::{HammerOns, PullOffs, Slides};
        let all = [HammerOns, PullOffs, Slides];
        all.into_iter().find(|t| t.name() == name)
    };
    let techniques = made.techniques.iter().filter_map(technique);
    let asked = Asked {
        drill: made.drill.as_deref().and_then(|name| match name {
            "found" => Some(Drilled::Found),
            name => {
                let known = PRESETS.pattern(name).ok()?;
                Some(Drilled::Known(known.name.clone(), known.cell.clone()))
            }
        }),
        techniques: techniques
            .filter_map(|t| Some((t, scale.clone()?)))
            .collect(),
        scale,
        chords: progression::named(&made.chords.join(" "), &heard.tuning).unwrap_or_default(),
        harmonics: made.harmonics,
    };
    let Ok(practice) = lesson::practice(&heard, &asked) else {
        return;
    };
    // Sound takes most of the time and is the same for all: one short bar, at one speed.
    let mut short = made.clone();
    short.speeds.truncate(1);
    let page = Lesson {
        phrase: Phrase {
            recording: &SOUND,
            heard: &heard,
            drift: &Drift::default(),
            bars: made.bars,
            take: None,
        },
        tuning_name: PRESETS.tuning_name(&heard.tuning),
        practice: practice
            .into_iter()
            .take(usize::from(bytes.len() % 8 == 0))
            .collect(),
        chords: asked.chords,
        week: Vec::new(),
        settings: &short,
    };
    if let Ok(html) = lesson::page(&page, &|| true) {
        assert_eq!(
            lesson::read(&html).as_ref(),
            Ok(&short),
            "not what it was made with"
        );
    }
});
