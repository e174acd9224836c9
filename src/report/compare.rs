//! A comparison as JSON (schema `thumbline.compare`) and in a player's words.
//!
//! The JSON keeps the rules of [`report::json`](crate::report::json): versioned, fields only
//! added, what is not known left out, `_s` seconds after a recording's first sample, `_ms`
//! milliseconds with later positive. `pairs` hold one entry a note that both sides played:
//! `recording_s`, `take_s`, `round`, `role`, `bar`, `slot`, `recording_drift_ms`, `take_drift_ms`,
//! `difference_ms`, `from_thumb_ms`, `wrong_pitch`. `missed_s` are instants of the recording,
//! `extra_s` of the take. `feel` holds one entry a slot with enough notes.

use super::json::{plain, seconds, text};
use super::table::name as place;
use crate::compare::{Comparison, Feel, Pair, Round, SAME_TUNE};
use crate::music::note::{Note, Role};
use crate::timing::{Drift, NoteDrift};
use crate::unit::Span;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Version of the schema.
pub const VERSION: u32 = 1;

/// The comparison of `recording` notes with `take` notes as one JSON document, ending in a newline.
pub fn json(found: &Comparison, recording: &[Note], take: &[Note]) -> String {
    let at = |notes: &[Note], i: usize| seconds(notes[i].time);
    let missed: Vec<f64> = found
        .rounds
        .iter()
        .flat_map(|r| &r.missed)
        .map(|&i| at(recording, i))
        .collect();
    let extra: Vec<f64> = found
        .rounds
        .iter()
        .flat_map(|r| &r.extra)
        .map(|&i| at(take, i))
        .collect();
    let mut document = json!({
        "schema": "thumbline.compare",
        "version": VERSION,
        "same_tune": plain(found.same_tune, 4),
        "transposed": found.transposed,
        "pairs": found.pairs.iter().map(|p| pair(p, recording, take)).collect::<Vec<_>>(),
        "missed_s": missed,
        "extra_s": extra,
        "rounds": found.rounds.iter().map(|r| json!({
            "recording_s": [seconds(r.recording.0), seconds(r.recording.1)],
            "take_s": [seconds(r.take.0), seconds(r.take.1)],
            "tempo_ratio": plain(r.tempo_ratio, 5),
            "missed": r.missed.len(),
            "extra": r.extra.len(),
            "swapped_s": r.swapped.iter()
                .map(|&(a, b)| [at(recording, a), at(recording, b)]).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "feel": found.feel.iter().map(feel).collect::<Vec<_>>(),
        "warnings": found.warnings,
    });
    if let Some(ratio) = tempo_ratio(found) {
        document["tempo_ratio"] = json!(plain(ratio, 5));
    }
    if let Some(whole) = found.whole {
        document["fingers_behind_thumb"] = json!({
            "recording_ms": ms(whole.recording), "take_ms": ms(whole.take),
            "difference_ms": ms(whole.difference), "low_ms": ms(whole.low),
            "high_ms": ms(whole.high), "n": whole.n,
        });
    }
    text(&document)
}

/// Mean tempo of the take as a share of the recording's, each round weighted by its length; what a
/// round leaves out makes it no quicker.
pub fn tempo_ratio(found: &Comparison) -> Option<f64> {
    let length = |round: &Round| (round.take.1 - round.take.0).0;
    let whole: f64 = found.rounds.iter().map(length).sum();
    let sum: f64 = found.rounds.iter().map(|r| r.tempo_ratio * length(r)).sum();
    (whole > 0.0).then(|| sum / whole)
}

fn pair(pair: &Pair, recording: &[Note], take: &[Note]) -> Value {
    let mut out = json!({
        "recording_s": seconds(recording[pair.recording].time),
        "take_s": seconds(take[pair.take].time),
        "round": pair.round + 1,
        "role": pair.role,
        "slot": pair.slot,
        "bar": pair.bar,
        "recording_drift_ms": ms(pair.recording_drift),
        "take_drift_ms": ms(pair.take_drift),
        "difference_ms": ms(pair.difference()),
    });
    if let Some(drift) = pair.from_thumb {
        out["from_thumb_ms"] = json!(ms(drift));
    }
    if pair.wrong_pitch {
        out["wrong_pitch"] = json!(true);
    }
    out
}

fn feel(feel: &Feel) -> Value {
    json!({
        "slot": feel.slot, "role": feel.role, "recording_ms": ms(feel.recording),
        "take_ms": ms(feel.take), "difference_ms": ms(feel.difference), "low_ms": ms(feel.low),
        "high_ms": ms(feel.high), "spread_ms": ms(feel.spread), "n": feel.n, "slant": feel.slant,
    })
}

/// The comparison in a player's words; at most 80 columns.
pub fn words(found: &Comparison) -> String {
    let mut out = String::new();
    if found.same_tune < SAME_TUNE {
        out.push_str(ANOTHER_TUNE);
        return out;
    }
    let [through, missing] = count_words(found);
    let _ = writeln!(out, "{through}\n{missing}\n");
    if let Some(whole) = found.whole {
        let _ = writeln!(out, "{}\n", whole_words(&whole));
    }
    if found.feel.is_empty() {
        let _ = writeln!(out, "{TOO_FEW}");
        return out;
    }
    out.push_str("place in the bar       notes  recording      take   difference (95 %)\n");
    for role in [Role::Bass, Role::Melody] {
        let slots: Vec<&Feel> = found.feel.iter().filter(|f| f.role == role).collect();
        if slots.is_empty() {
            continue;
        }
        out.push_str(if role == Role::Bass {
            "thumb\n"
        } else {
            "fingers\n"
        });
        for f in slots {
            let _ = writeln!(
                out,
                "  {:<20} {:>5}  {:>+6.0} ms  {:>+6.0} ms   {:>+4.0} ms ({:+.0} to {:+.0}){}",
                place(f.slot),
                f.n,
                f.recording.ms(),
                f.take.ms(),
                f.difference.ms(),
                f.low.ms(),
                f.high.ms(),
                if !f.slant {
                    ""
                } else if f.difference.0 > 0.0 {
                    "  later"
                } else {
                    "  earlier"
                }
            );
        }
    }
    for sentence in slants(found) {
        let _ = writeln!(out, "\n{sentence}");
    }
    out.truncate(out.trim_end().len());
    out
}

/// How often, how fast, and what was left out: one sentence in two halves.
fn count_words(found: &Comparison) -> [String; 2] {
    let rounds = match found.rounds.len() {
        1 => "Once".to_owned(),
        2 => "Twice".to_owned(),
        n => format!("{n} times"),
    };
    let ratio = tempo_ratio(found).unwrap_or(1.0) * 100.0;
    let missed: usize = found.rounds.iter().map(|r| r.missed.len()).sum();
    let extra: usize = found.rounds.iter().map(|r| r.extra.len()).sum();
    let wrong = found.pairs.iter().filter(|p| p.wrong_pitch).count();
    let answered = found.pairs.len();
    [
        format!(
            "{rounds} through, at {ratio:.0} % of the recording's tempo: {answered} notes answered,"
        ),
        format!("{missed} missed, {extra} extra, {wrong} with another pitch."),
    ]
}

/// What the comparison comes to, a sentence each: how much was played, fingers against thumb, and
/// every place of the bar that differs again and again.
pub fn sentences(found: &Comparison) -> Vec<String> {
    if found.same_tune < SAME_TUNE {
        return vec![ANOTHER_TUNE.to_owned()];
    }
    let mut out = vec![count_words(found).join(" ")];
    out.extend(found.whole.map(|w| whole_words(&w).replace('\n', " ")));
    if found.feel.is_empty() {
        out.push(TOO_FEW.to_owned());
    }
    out.extend(slants(found));
    out
}

const ANOTHER_TUNE: &str = "This take does not seem to be the same tune, so nothing was measured.";
const TOO_FEW: &str = "Too few notes at any one place of the bar to speak of its feel.";

fn whole_words(whole: &crate::compare::Whole) -> String {
    let side = |span: Span| match span.ms().round() {
        0.0 => "with".to_owned(),
        behind if behind > 0.0 => format!("{behind:.0} ms behind"),
        ahead => format!("{:.0} ms ahead of", -ahead),
    };
    let half = (whole.high - whole.low).0 / 2.0 * 1000.0;
    format!(
        "On the recording the fingers lie {} the thumb, in your take {} it\n(give or take {half:.0} ms).",
        side(whole.recording),
        side(whole.take)
    )
}

/// A sentence for each slot that differs again and again, the largest first.
pub fn slants(found: &Comparison) -> Vec<String> {
    let mut slots: Vec<&Feel> = found.feel.iter().filter(|f| f.slant).collect();
    slots.sort_by(|a, b| b.difference.abs().0.total_cmp(&a.difference.abs().0));
    slots
        .into_iter()
        .map(|f| {
            format!(
                "On {} your {} come {:.0} ms {} than the recording's.",
                place(f.slot),
                if f.role == Role::Bass {
                    "thumb notes"
                } else {
                    "fingers"
                },
                f.difference.abs().ms(),
                if f.difference.0 > 0.0 {
                    "later"
                } else {
                    "earlier"
                }
            )
        })
        .collect()
}

/// The take's answers as a second take on the recording's bar sheet: notes moved to where they
/// would lie in the recording, each with its drift in the take.
pub fn as_second(
    found: &Comparison,
    recording: &[Note],
    drift: &Drift,
    take: &[Note],
) -> (Vec<Note>, Drift) {
    let mut second: Vec<(Note, Option<NoteDrift>)> = found
        .pairs
        .iter()
        .map(|p| {
            let model = &recording[p.recording];
            let time = model.time + p.difference();
            let placed = drift.notes[p.recording].map(|d| NoteDrift {
                drift: d.drift.map(|own| own + p.difference()),
                ..d
            });
            let note = Note {
                time,
                role: model.role,
                string: model.string,
                ..take[p.take].clone()
            };
            (note, placed)
        })
        .collect();
    second.sort_by(|a, b| a.0.time.total_cmp(&b.0.time));
    let (notes, placed) = second.into_iter().unzip();
    (
        notes,
        Drift {
            notes: placed,
            ..Drift::default()
        },
    )
}

fn ms(span: Span) -> f64 {
    plain(span.ms(), 3)
}
