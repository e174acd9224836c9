//! The file: HTML (WHATWG, living standard) with everything inside it and a content policy (W3C
//! Content Security Policy 3) that lets it fetch nothing and run nothing but its own script.

use super::contents::Lesson;
use super::part::{Part, Source, after, bars_named};
use super::picture::{self, Layout, Picture};
use super::settings::{CLOSING, OPENING};
use super::sound::{self, Sounding};
use super::words;
use crate::music::chord::Shape;
use crate::music::pitch::Key;
use crate::report::capitalised;
use crate::report::shapes;
use crate::report::sheet::Ground;
use crate::unit::{Cents, MidiNote};
use crate::xml::escaped;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::fmt::Write;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
/// What a player does with every part: the same markup in every page.
const PLAYER: &str = include_str!("player.html");
const TAKE: &str = include_str!("take.html");

/// The whole page.
pub(super) fn write(lesson: &Lesson<'_>, parts: &[Part], sounds: &[Sounding]) -> String {
    // Written practice is short: it stands in columns, narrow everywhere.
    let pictures: Vec<Vec<(Layout, Picture)>> = parts
        .iter()
        .map(|part| {
            let layouts = match part.source {
                Source::Recording => vec![Layout::Wide, Layout::Narrow],
                Source::Written(..) => vec![Layout::Narrow],
            };
            let draw = |layout| (layout, picture::sheet(part, layout));
            layouts.into_iter().map(draw).collect()
        })
        .collect();
    let size: usize = sounds.iter().map(|s| s.ogg.len() * 4 / 3 + 100).sum();
    let mut out = String::with_capacity(size + 400_000);
    head(lesson, &mut out);
    let page = Page { lesson, parts };
    page.header(&mut out);
    out.push_str("<main>\n");
    page.phrase(&pictures[0], &mut out);
    page.practice(&pictures[1..], &mut out);
    page.guitar(&mut out);
    out.push_str(TAKE);
    page.week(&mut out);
    Page::care(&mut out);
    out.push_str("</main>\n");
    page.footer(&mut out);
    out.push_str(PLAYER);
    page.data(&pictures, sounds, &mut out);
    let _ = write!(out, "<script>{SCRIPT}</script>\n</body>\n</html>\n");
    out
}

/// The hash by which a content policy knows a script or a style.
fn hash(text: &str) -> String {
    format!("'sha256-{}'", BASE64.encode(Sha256::digest(text)))
}

/// Paper by day, dark where the reader's screen is, black on white in print.
fn style() -> String {
    format!(
        ":root{{{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{}}}}}\n{STYLE}",
        picture::colours(Ground::Paper),
        picture::colours(Ground::Dark)
    )
}

fn head(lesson: &Lesson<'_>, out: &mut String) {
    let style = style();
    let _ = write!(
        out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src {}; \
         style-src {}; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta name=\"referrer\" content=\"no-referrer\">\n\
         <meta name=\"generator\" content=\"Thumbline {}\">\n\
         <title>{}</title>\n<style>{style}</style>\n</head>\n<body>\n",
        hash(SCRIPT),
        hash(&style),
        escaped(&lesson.settings.version),
        escaped(&lesson.settings.title)
    );
}

struct Page<'a> {
    lesson: &'a Lesson<'a>,
    parts: &'a [Part],
}

impl Page<'_> {
    fn header(&self, out: &mut String) {
        let settings = self.lesson.settings;
        let grid = &self.parts[0].grid;
        let mut facts = Vec::new();
        if let Some(tempo) = grid.tempo() {
            facts.push(format!("{:.0} beats a minute", tempo.0));
        }
        facts.push(grid.meter.to_string());
        if self.parts[0].fretted {
            facts.push(escaped(&self.lesson.tuning_name));
            match self.parts[0].tuning.capo() {
                0 => {}
                fret => facts.push(format!("capo at fret {fret}")),
            }
        }
        let facts = format!("<li>{}</li>", facts.join("</li><li>"));
        let _ = write!(
            out,
            "<header>\n<p class=\"of\">A lesson on {} of <cite dir=\"auto\">{}</cite></p>\n\
             <h1 dir=\"auto\">{}</h1>\n<ul class=\"facts\">{facts}</ul>\n",
            bars_named(settings.bars),
            escaped(stem(&settings.recording)),
            escaped(&settings.title)
        );
        out.push_str(&picture::strings(&self.parts[0]));
        let said = words::markdown(&settings.words);
        if !said.trim().is_empty() {
            let _ = writeln!(out, "<div class=\"words\" dir=\"auto\">{said}</div>");
        }
        out.push_str("</header>\n");
    }

    fn phrase(&self, pictures: &[(Layout, Picture)], out: &mut String) {
        out.push_str("<section class=\"part\" aria-labelledby=\"h-0\">\n");
        Self::heading(0, "The phrase", 2, out);
        out.push_str(
            "<p class=\"hint\">Touch a bar to loop it, touch it again for all of them. Thumb notes \
             hang below the line, finger notes stand above it.</p>\n",
        );
        self.figure(0, pictures, out);
        out.push_str("</section>\n");
    }

    fn practice(&self, pictures: &[Vec<(Layout, Picture)>], out: &mut String) {
        let mut open = false;
        for (i, (part, picture)) in self.parts[1..].iter().zip(pictures).enumerate() {
            let i = i + 1;
            if let Some(group) = &part.group {
                if open {
                    out.push_str("</div>\n</section>\n");
                }
                open = true;
                let _ = write!(
                    out,
                    "<section class=\"practice\" aria-labelledby=\"g-{i}\">\n\
                     <h2 id=\"g-{i}\" dir=\"auto\">{}</h2>\n<div class=\"steps\">\n",
                    escaped(group)
                );
            }
            let _ = writeln!(
                out,
                "<div class=\"part\" role=\"group\" aria-labelledby=\"h-{i}\">"
            );
            Self::heading(i, &capitalised(&part.title), 3, out);
            if !part.said.is_empty() {
                let _ = writeln!(
                    out,
                    "<p class=\"how\">{}</p>",
                    escaped(&part.said.join(" "))
                );
            }
            self.figure(i, picture, out);
            out.push_str("</div>\n");
        }
        if open {
            out.push_str("</div>\n</section>\n");
        }
    }

    /// A part's heading with the button that plays it.
    fn heading(part: usize, title: &str, level: u8, out: &mut String) {
        let title = escaped(title);
        let _ = writeln!(
            out,
            "<div class=\"heading\"><h{level} id=\"h-{part}\" dir=\"auto\">{title}</h{level}>\
             <button type=\"button\" class=\"play\" data-play=\"{part}\" \
             aria-label=\"Play: {title}\" disabled>Play</button></div>",
        );
    }

    fn figure(&self, part: usize, pictures: &[(Layout, Picture)], out: &mut String) {
        let _ = writeln!(out, "<figure class=\"sheet\" data-part=\"{part}\">");
        for (layout, picture) in pictures {
            let _ = writeln!(
                out,
                "<div class=\"{}\">{}</div>",
                layout.class(),
                picture.svg
            );
        }
        out.push_str("<figcaption><details><summary>Every note in words</summary><dl>");
        for (number, said) in words::bars(&self.parts[part]) {
            let _ = write!(out, "<dt>Bar {number}</dt><dd>{}</dd>", escaped(&said));
        }
        out.push_str("</dl></details></figcaption>\n</figure>\n");
    }

    /// Strings to tune to, the notes on the neck, chords to hold.
    fn guitar(&self, out: &mut String) {
        let part = &self.parts[0];
        if !part.fretted {
            return; // nobody can tune to a guess
        }
        let tuning = &part.tuning;
        let offset = self.lesson.phrase.heard.tuning_offset.unwrap_or_default();
        let key = picture::spelling(&self.lesson.phrase.heard.notes, offset);
        let _ = write!(
            out,
            "<section class=\"guitar\" aria-labelledby=\"h-guitar\">\n\
             <h2 id=\"h-guitar\">Your guitar</h2>\n<p>Tune to {}{}. Touch a string to hear it{}.</p>\n\
             <ul class=\"strings\">",
            escaped(&self.lesson.tuning_name),
            match tuning.capo() {
                0 => String::new(),
                fret => format!(", capo at fret {fret}; the tones are without the capo"),
            },
            as_recorded(offset)
        );
        for string in (1..=tuning.strings()).rev() {
            let Some(open) = tuning.open(string).map(|m| m - tuning.capo()) else {
                continue;
            };
            let cents = Cents(offset.0 + tuning.off(string).0);
            let pitch = MidiNote(f64::from(open)).detuned(cents);
            let name = Key { fifths: key.fifths }.pitch_name(open);
            let _ = write!(
                out,
                "<li><button type=\"button\" data-hz=\"{:.3}\" disabled><span \
                 class=\"number\">string {string}</span> <span class=\"pitch\">{name}</span> <span \
                 class=\"hz\">{:.1} Hz</span></button></li>",
                pitch.hz(),
                pitch.hz()
            );
        }
        out.push_str("</ul>\n");
        let notes: Vec<_> = part.notes.iter().collect();
        neck(
            "The notes on the neck",
            &picture::neck(tuning, &notes, key),
            out,
        );
        self.chords(out);
        out.push_str("</section>\n");
    }

    /// Chords as boxes, and how one hand goes from each to the next.
    fn chords(&self, out: &mut String) {
        let held = &self.lesson.chords;
        if held.is_empty() {
            return;
        }
        let shapes: Vec<&Shape> = held.iter().map(|h| &h.shape).collect();
        neck("Chords", &picture::boxes(&shapes), out);
        out.push_str("<ul class=\"changes\">\n");
        for step in held {
            let said = shapes::changes(step, self.parts[0].tuning.capo());
            let said = if said.is_empty() {
                String::new()
            } else {
                format!(": {}", said.join("; "))
            };
            let _ = writeln!(
                out,
                "<li><b>{}</b> {}{}</li>",
                escaped(&step.shape.name),
                escaped(&shapes::line(&step.shape)),
                escaped(&said)
            );
        }
        out.push_str("</ul>\n");
    }

    /// What to do on the days that follow.
    fn week(&self, out: &mut String) {
        if self.lesson.week.iter().all(|day| day.tasks.is_empty()) {
            return;
        }
        out.push_str(
            "<section class=\"week\" aria-labelledby=\"h-week\">\n<h2 id=\"h-week\">The next days</h2>\n<dl>",
        );
        for day in &self.lesson.week {
            let tasks = if day.tasks.is_empty() {
                "rest".to_owned()
            } else {
                format!("{} ({} minutes)", day.tasks.join("; "), day.minutes)
            };
            let _ = write!(
                out,
                "<dt>{}</dt><dd>{}</dd>",
                escaped(&day.date),
                escaped(&capitalised(&tasks))
            );
        }
        out.push_str("</dl>\n</section>\n");
    }

    fn care(out: &mut String) {
        out.push_str(
            "<section class=\"care\" aria-labelledby=\"h-care\">\n<h2 id=\"h-care\">Hands and \
             ears</h2>\n<p>Warm up, rest every ten minutes or so, and stop when anything hurts; if it \
             keeps hurting, see a professional. Keep the level moderate, most of all on \
             headphones.</p>\n</section>\n",
        );
    }

    fn footer(&self, out: &mut String) {
        let settings = self.lesson.settings;
        let speeds: Vec<String> = settings.speeds.iter().map(|s| percent(*s)).collect();
        let mut said = vec![format!(
            "{} at {}",
            capitalised(&bars_named(settings.bars)),
            speeds.join(", ")
        )];
        if let Some(drill) = &settings.drill {
            said.push(format!("drill “{drill}”"));
        }
        if let Some(scale) = &settings.scale {
            said.push(format!("scale {scale}"));
        }
        if !settings.chords.is_empty() {
            said.push(format!("chords {}", settings.chords.join(", ")));
        }
        if settings.plan {
            said.push("a plan from the journal".to_owned());
        }
        if let Some(take) = &settings.take {
            said.push(format!("take “{take}”"));
        }
        let _ = write!(
            out,
            "<footer>\n<p dir=\"auto\">{}.</p>\n<p>Made by Thumbline {}. Nothing in this page reaches \
             the network; what you record stays on this device until you save it.</p>\n</footer>\n",
            escaped(&said.join("; ")),
            escaped(&settings.version)
        );
    }

    /// Everything the script reads: no part of it is run.
    fn data(&self, pictures: &[Vec<(Layout, Picture)>], sounds: &[Sounding], out: &mut String) {
        for sounding in sounds {
            let _ = write!(out, "<script type=\"text/plain\" id=\"{}\">", id(sounding));
            BASE64.encode_string(&sounding.ogg, out);
            out.push_str("</script>\n");
        }
        let parts: Vec<Value> = (0..self.parts.len())
            .map(|i| self.facts(i, &pictures[i], sounds))
            .collect();
        let facts = json!({
            "rate": sound::RATE,
            "lead": sound::LEAD,
            "title": self.lesson.settings.title,
            "bars": bars_named(self.lesson.settings.bars),
            "version": self.lesson.settings.version,
            "speeds": self.lesson.settings.speeds,
            "parts": parts,
        });
        let _ = writeln!(
            out,
            "<script type=\"application/json\" id=\"lesson\">{}</script>",
            inert(&facts)
        );
        let settings = serde_json::to_value(self.lesson.settings).unwrap_or_default();
        let _ = writeln!(out, "{OPENING}{}{CLOSING}", inert(&settings));
    }

    fn facts(&self, index: usize, pictures: &[(Layout, Picture)], sounds: &[Sounding]) -> Value {
        let part = &self.parts[index];
        let mut voices = serde_json::Map::new();
        for sounding in sounds.iter().filter(|s| s.part == index) {
            let all = voices
                .entry(sounding.voice.name())
                .or_insert_with(|| json!([]));
            if let Value::Array(all) = all {
                all.push(json!([id(sounding), sounding.frames, sounding.skip]));
            }
        }
        let title = if index == 0 {
            "The phrase".to_owned()
        } else {
            capitalised(&part.title)
        };
        json!({
            "title": title,
            "length": after(part.from, part.to),
            "meter": part.grid.meter.beats(),
            "bars": part.bars.iter().map(|(n, at)| json!([n, after(part.from, *at)])).collect::<Vec<_>>(),
            "beats": part.beats()
                .map(|(at, first)| json!([after(part.from, at), u8::from(first)]))
                .collect::<Vec<_>>(),
            "notes": part.notes.iter()
                .map(|n| json!([after(part.from, n.time), after(part.from, n.end)]))
                .collect::<Vec<_>>(),
            "boxes": pictures.iter()
                .map(|(layout, picture)| (layout.class(), json!(picture.bars)))
                .collect::<std::collections::BTreeMap<_, _>>(),
            "sounds": voices,
        })
    }
}

/// A neck; on a phone it is wider than the page and moves under the finger.
fn neck(name: &str, svg: &str, out: &mut String) {
    let _ = writeln!(
        out,
        "<div class=\"neck\" role=\"region\" aria-label=\"{}\" tabindex=\"0\">{svg}</div>",
        escaped(name)
    );
}

/// JSON inside a `script` element: no `<`, so that nothing in it can end the element.
fn inert(value: &Value) -> String {
    value.to_string().replace('<', "\\u003c")
}

fn id(sounding: &Sounding) -> String {
    format!(
        "sound-{}-{}-{}",
        sounding.part,
        sounding.voice.name(),
        sounding.speed
    )
}

/// A file's name without what tells its format.
fn stem(name: &str) -> &str {
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

fn percent(speed: f64) -> String {
    format!("{} %", (speed * 1000.0).round() / 10.0)
}

/// What a recording off 440 Hz does to the tones.
fn as_recorded(offset: Cents) -> String {
    if offset.0.abs() < 3.0 {
        String::new()
    } else {
        let a = MidiNote(69.0).detuned(offset).hz();
        format!(", at the recording's own pitch (A = {a:.0} Hz)")
    }
}
