//! Words of a page: the teacher's, safe to show, and the notes as they are said.

use super::part::Part;
use super::picture::place;
use crate::music::note::{Attack, Note, Role};
use crate::music::score::Finger;
use crate::report::sheet::pitch_name;
use ammonia::Builder;
use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};
use std::collections::{HashMap, HashSet};
use std::fmt::Write;

/// Most bytes of the teacher's words that are used.
const MOST: usize = 200_000;

/// Markdown (CommonMark) as HTML that holds text and nothing else: no script, no picture, no style;
/// a link only where the reader follows it.
pub(super) fn markdown(words: &str) -> String {
    let end = (0..=MOST.min(words.len()))
        .rev()
        .find(|at| words.is_char_boundary(*at))
        .unwrap_or(0);
    let parsed = || Parser::new_ext(&words[..end], Options::ENABLE_SMART_PUNCTUATION);
    // Headings stand right below the page's own, however deep the teacher's begin.
    let highest = parsed()
        .filter_map(|event| match event {
            Event::Start(Tag::Heading { level, .. }) => Some(level as usize),
            _ => None,
        })
        .min()
        .unwrap_or(1);
    let below = |level: HeadingLevel| match level as usize - highest {
        0 => HeadingLevel::H2,
        1 => HeadingLevel::H3,
        _ => HeadingLevel::H4,
    };
    let events = parsed().map(|event| match event {
        Event::Start(Tag::Heading { level, .. }) => Event::Start(Tag::Heading {
            level: below(level),
            id: None,
            classes: Vec::new(),
            attrs: Vec::new(),
        }),
        Event::End(TagEnd::Heading(level)) => Event::End(TagEnd::Heading(below(level))),
        Event::Html(text) | Event::InlineHtml(text) => Event::Text(text),
        other => other,
    });
    let mut out = String::new();
    html::push_html(&mut out, events);
    let tags = [
        "p",
        "em",
        "strong",
        "ul",
        "ol",
        "li",
        "h2",
        "h3",
        "h4",
        "blockquote",
        "code",
        "pre",
        "hr",
        "br",
        "a",
    ];
    Builder::new()
        .tags(HashSet::from(tags))
        .tag_attributes(HashMap::from([
            ("a", HashSet::from(["href"])),
            ("ol", HashSet::from(["start"])),
        ]))
        .generic_attributes(HashSet::new())
        .url_schemes(HashSet::from(["http", "https", "mailto"]))
        .link_rel(None)
        .clean(&out)
        .to_string()
}

/// Every note of a part, a line of words for each bar: its number, then what is played.
pub(super) fn bars(part: &Part) -> Vec<(i32, String)> {
    let ends = part.bars.iter().skip(1).map(|b| b.1).chain([part.to]);
    part.bars
        .iter()
        .zip(ends)
        .map(|((number, from), to)| {
            let mut said = String::new();
            let mut slot = None;
            let inside = |note: &Note| note.time >= *from && note.time < to;
            let notes = part.notes.iter().enumerate();
            for (i, note) in notes.filter(|(_, n)| inside(n)) {
                let placed = part.drift.notes.get(i).copied().flatten();
                let here = placed.map(|p| p.slot);
                if said.is_empty() || here != slot || here.is_none() {
                    let lead = if said.is_empty() { "" } else { "; " };
                    let name = here
                        .map_or_else(|| "between".to_owned(), |slot| slot.name(part.grid.meter));
                    let _ = write!(said, "{lead}{name}: {}", spoken(note, part.fretted));
                } else {
                    let _ = write!(said, " with {}", spoken(note, part.fretted));
                }
                slot = here;
            }
            if said.is_empty() {
                "no note".clone_into(&mut said);
            }
            (*number, said)
        })
        .collect()
}

/// One note as it is said: with its place on the neck where that is known, else with its pitch.
fn spoken(note: &Note, fretted: bool) -> String {
    let string = note.string.filter(|_| fretted);
    let mut out = match (note.role, string) {
        (Role::Bass, _) => "thumb".to_owned(),
        (Role::Melody, Some(string)) if Finger::usual(string).role() == Role::Melody => {
            Finger::usual(string).letter().to_string()
        }
        (Role::Melody, _) => "finger".to_owned(),
    };
    match (note.string, note.fret, note.pitch) {
        (Some(string), Some(fret), _) if fretted => {
            let _ = write!(out, ", {}", place(string, fret));
        }
        (_, _, Some(pitch)) if !fretted => {
            let _ = write!(out, ", {}", pitch_name(pitch));
        }
        _ => {}
    }
    out.push_str(match note.attack {
        Attack::Pluck => "",
        Attack::HammerOn => ", hammered on",
        Attack::PullOff => ", pulled off",
        Attack::Slide => ", slid to",
        Attack::Harmonic => ", harmonic",
        Attack::Dead => ", damped",
        Attack::Tap => ", a knock",
    });
    out
}
