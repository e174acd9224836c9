//! A comparison as JSON (schema `thumbline.compare`) and in a player's words.
//!
//! The JSON keeps the rules of [`report::json`](crate::report::json): versioned, fields only
//! added, what is not known left out, `_s` seconds after a recording's first sample, `_ms`
//! milliseconds with later positive. `pairs` hold one entry a note that both sides played:
//! `recording_s`, `take_s`, `round`, `role`, `bar`, `slot`, `recording_drift_ms`, `take_drift_ms`,
//! `difference_ms`, `from_thumb_ms`, `wrong_pitch`. `missed_s` are instants of the recording,
//! `extra_s` of the take. `feel` holds one entry a slot with enough notes.

use super::json::number::{plain, seconds};
use super::json::text;
use crate::compare::{Comparison, Pair, Round, SlotFeel};
use crate::music::note::{Note, Role};
use crate::timing::{Figure, Reference, Verdict};
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
    if let Some(fault) = found.fault {
        document["fault"] = json!(fault);
    }
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

fn feel(feel: &SlotFeel) -> Value {
    json!({
        "slot": feel.slot, "role": feel.role, "recording_ms": ms(feel.recording),
        "take_ms": ms(feel.take), "difference_ms": ms(feel.difference), "low_ms": ms(feel.low),
        "high_ms": ms(feel.high), "spread_ms": ms(feel.spread), "n": feel.n, "agree": feel.agree,
        "verdict": feel.verdict, "slant": feel.slant,
    })
}

/// The comparison in a player's words; at most 80 columns.
pub fn words(found: &Comparison) -> String {
    let mut out = String::new();
    if let Some(fault) = found.fault {
        return fault.to_string();
    }
    for sentence in slants(found) {
        let _ = writeln!(out, "{sentence}");
    }
    if out.is_empty() {
        let _ = writeln!(out, "{}", nothing(found));
    }
    let [through, missing] = count_words(found);
    let _ = writeln!(out, "\n{through}\n{missing}\n");
    if let Some(whole) = found.whole {
        let _ = writeln!(out, "{}\n", whole_words(&whole));
    }
    if found.feel.is_empty() {
        return out.trim_end().to_owned();
    }
    out.push_str(
        "place in the bar       notes  recording      take   against the recording (95 %)\n",
    );
    for role in [Role::Bass, Role::Melody] {
        let slots: Vec<&SlotFeel> = found.feel.iter().filter(|f| f.role == role).collect();
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
                f.slot.name(found.meter),
                f.n,
                f.recording.ms(),
                f.take.ms(),
                f.difference.ms(),
                f.low.ms(),
                f.high.ms(),
                match f.verdict {
                    Verdict::Behind => "  later",
                    Verdict::Ahead => "  earlier",
                    Verdict::Uneven => "  uneven",
                    Verdict::Unclear => "  unclear",
                    Verdict::With | Verdict::TooFew => "",
                }
            );
        }
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
    let unmeasured: usize = found.rounds.iter().map(|r| r.unmeasured).sum();
    let answered = found.pairs.len() + unmeasured;
    [
        format!(
            "{rounds} through, at {ratio:.0} % of the recording's tempo: {answered} notes answered,"
        ),
        format!("{missed} missed, {extra} extra, {wrong} with another pitch."),
    ]
}

/// What the comparison comes to, a sentence each: every place of the bar that differs again and
/// again, how much was played, fingers against thumb. `late` is a lateness of the whole take (see
/// [`Comparison::late`]): it comes first.
pub fn sentences(found: &Comparison, late: Option<Figure>) -> Vec<String> {
    if let Some(fault) = found.fault {
        return vec![fault.to_string()];
    }
    let mut out: Vec<String> = late.iter().map(late_words).collect();
    let slants = slants(found);
    if slants.is_empty() {
        out.push(nothing(found).to_owned());
    }
    out.extend(slants);
    out.push(count_words(found).join(" "));
    out.extend(found.whole.map(|w| whole_words(&w).replace('\n', " ")));
    out
}

/// A lateness of the whole take.
pub fn late_words(late: &Figure) -> String {
    let way = if late.centre.0 > 0.0 { "late" } else { "early" };
    format!(
        "You are {:.0} ms {way} throughout. All else here is told with that taken off.",
        late.centre.abs().ms()
    )
}

/// Where no place of the bar differs again and again.
fn nothing(found: &Comparison) -> &'static str {
    if found.feel.is_empty() {
        "Too few notes at any one place of the bar to speak of its feel."
    } else {
        "No place of the bar differs from the recording again and again."
    }
}

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
    let mut slots: Vec<&SlotFeel> = found.feel.iter().filter(|f| f.slant).collect();
    slots.sort_by(|a, b| b.difference.abs().0.total_cmp(&a.difference.abs().0));
    slots
        .into_iter()
        .map(|f| {
            let place = f.slot.name(found.meter);
            differs(&place, f.role, f.difference, (f.agree, f.n))
        })
        .collect()
}

/// "On the and of 2 your fingers come 21 ms later than on the recording, 12 of 12 times."
pub(super) fn differs(place: &str, role: Role, by: Span, (agree, all): (usize, usize)) -> String {
    let hand = if role == Role::Bass {
        "thumb comes"
    } else {
        "fingers come"
    };
    let off = Reference::Recording.off(by);
    format!("On {place} your {hand} {off} than on the recording, {agree} of {all} times.")
}

fn ms(span: Span) -> f64 {
    plain(span.ms(), 3)
}
