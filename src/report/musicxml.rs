//! Score → MusicXML 4.0 (W3C Community Group report, 2021): one part in notation and one in
//! tablature, thumb and fingers as two voices of each, with tuning, capo, strings, frets and
//! fingers.
//!
//! Pitches are sounding pitches; the clef of the notation carries the guitar's octave.

mod rhythm;

use super::sign::SOFTWARE;
use crate::music::meter::Meter;
use crate::music::note::{Attack, Role};
use crate::music::score::{Brush, Score, Written};
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};
use rhythm::{DIVISIONS, Piece, pieces};
use std::io;

/// How the bars of a score are numbered and marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Bars<'a> {
    /// Bars before bar 1.
    pub before: usize,
    /// Numbers of the bars that bear a rehearsal mark: A, B, C …
    pub marked: &'a [i32],
    /// Is the tuning not known? Then there is no tablature, and no note has a string.
    pub pitches_alone: bool,
}

impl Bars<'_> {
    fn number(&self, bar: usize) -> i32 {
        bar as i32 + 1 - self.before as i32
    }

    /// The mark of a bar by its place in the score.
    fn mark(&self, bar: usize) -> Option<String> {
        let place = self.marked.iter().position(|m| *m == self.number(bar))?;
        let letter = char::from(b'A' + (place % 26) as u8);
        Some(letter.to_string().repeat(place / 26 + 1))
    }
}

/// The score as a MusicXML document in UTF-8.
///
/// # Errors
/// [`io::Error`] of the writer; none is expected when writing to memory.
pub fn score(score: &Score) -> io::Result<Vec<u8>> {
    with_bars(score, Bars::default())
}

/// The same with its bars numbered and marked.
///
/// # Errors
/// As [`score`].
pub fn with_bars(score: &Score, bars: Bars) -> io::Result<Vec<u8>> {
    let mut xml = Xml(Writer::new_with_indent(Vec::new(), b' ', 1));
    xml.0
        .write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    xml.open("score-partwise", &[("version", "4.0")])?;
    xml.open("work", &[])?;
    xml.leaf("work-title", &score.title)?;
    xml.close("work")?;
    xml.open("identification", &[])?;
    xml.open("encoding", &[])?;
    xml.leaf("software", SOFTWARE)?;
    xml.close("encoding")?;
    xml.close("identification")?;
    let staves: &[Staff] = if bars.pitches_alone {
        &[Staff::Pitches]
    } else {
        &[Staff::Notation, Staff::Tablature]
    };
    part_list(&mut xml, staves)?;
    for staff in staves.iter().copied() {
        xml.open("part", &[("id", staff.id())])?;
        for bar in 0..score.bars() {
            measure(&mut xml, score, staff, bar, bars)?;
        }
        xml.close("part")?;
    }
    xml.close("score-partwise")?;
    let mut out = xml.0.into_inner();
    out.push(b'\n');
    Ok(out)
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Staff {
    Notation,
    Tablature,
    /// Notation that names no string.
    Pitches,
}

impl Staff {
    fn id(self) -> &'static str {
        match self {
            Self::Notation | Self::Pitches => "P1",
            Self::Tablature => "P2",
        }
    }
}

fn part_list(xml: &mut Xml, staves: &[Staff]) -> io::Result<()> {
    xml.open("part-list", &[])?;
    for staff in staves {
        let name = match staff {
            Staff::Notation | Staff::Pitches => "Guitar",
            Staff::Tablature => "Tablature",
        };
        let instrument = format!("{}-I1", staff.id());
        xml.open("score-part", &[("id", staff.id())])?;
        xml.leaf("part-name", name)?;
        xml.open("score-instrument", &[("id", &instrument)])?;
        xml.leaf("instrument-name", "Steel-string guitar")?;
        xml.close("score-instrument")?;
        xml.open("midi-instrument", &[("id", &instrument)])?;
        xml.leaf("midi-program", "26")?;
        xml.close("midi-instrument")?;
        xml.close("score-part")?;
    }
    xml.close("part-list")
}

fn measure(xml: &mut Xml, score: &Score, staff: Staff, bar: usize, bars: Bars) -> io::Result<()> {
    xml.open("measure", &[("number", &bars.number(bar).to_string())])?;
    if bar == 0 {
        attributes(xml, score, staff)?;
    }
    if staff != Staff::Tablature {
        if let Some(mark) = bars.mark(bar) {
            xml.open("direction", &[("placement", "above")])?;
            xml.open("direction-type", &[])?;
            xml.leaf("rehearsal", &mark)?;
            xml.close("direction-type")?;
            xml.close("direction")?;
        }
        if bar == 0 {
            tempo(xml, score)?;
        }
    }
    let length = rhythm::bar_units(score.meter);
    for (voice, role) in [(1, Role::Melody), (2, Role::Bass)] {
        if voice == 2 {
            xml.open("backup", &[])?;
            xml.leaf("duration", &length.to_string())?;
            xml.close("backup")?;
        }
        for piece in pieces(score, role, bar) {
            if piece.notes.is_empty() {
                rest(xml, &piece, voice)?;
            }
            for (i, index) in piece.notes.iter().enumerate() {
                note(xml, score, staff, &piece, *index, voice, i > 0)?;
            }
        }
    }
    if bar + 1 == score.bars() {
        xml.open("barline", &[("location", "right")])?;
        xml.leaf("bar-style", "light-heavy")?;
        xml.close("barline")?;
    }
    xml.close("measure")
}

fn attributes(xml: &mut Xml, score: &Score, staff: Staff) -> io::Result<()> {
    xml.open("attributes", &[])?;
    xml.leaf("divisions", &DIVISIONS.to_string())?;
    xml.open("key", &[])?;
    xml.leaf("fifths", &score.key.fifths.clamp(-7, 7).to_string())?;
    xml.close("key")?;
    xml.open("time", &[])?;
    xml.leaf("beats", &score.meter.count.to_string())?;
    xml.leaf("beat-type", &score.meter.unit.to_string())?;
    xml.close("time")?;
    xml.open("clef", &[])?;
    match staff {
        Staff::Notation | Staff::Pitches => {
            xml.leaf("sign", "G")?;
            xml.leaf("line", "2")?;
            xml.leaf("clef-octave-change", "-1")?;
        }
        Staff::Tablature => {
            xml.leaf("sign", "TAB")?;
            xml.leaf("line", "5")?;
        }
    }
    xml.close("clef")?;
    if staff == Staff::Tablature {
        staff_details(xml, score)?;
    }
    xml.close("attributes")
}

/// Strings as staff lines, counted from the bottom: the open tuning without capo.
fn staff_details(xml: &mut Xml, score: &Score) -> io::Result<()> {
    let tuning = &score.tuning;
    xml.open("staff-details", &[])?;
    xml.leaf("staff-lines", &tuning.strings().to_string())?;
    for (line, string) in (1..=tuning.strings()).rev().enumerate() {
        let Some(open) = tuning.open(string) else {
            continue;
        };
        let name = score.key.name(open - tuning.capo());
        xml.open("staff-tuning", &[("line", &(line + 1).to_string())])?;
        xml.leaf("tuning-step", &name.letter.to_string())?;
        if name.alter != 0 {
            xml.leaf("tuning-alter", &name.alter.to_string())?;
        }
        xml.leaf("tuning-octave", &name.octave.to_string())?;
        xml.close("staff-tuning")?;
    }
    if tuning.capo() > 0 {
        xml.leaf("capo", &tuning.capo().to_string())?;
    }
    xml.close("staff-details")
}

fn tempo(xml: &mut Xml, score: &Score) -> io::Result<()> {
    let (unit, dotted, quarters) = beat_unit(score.meter);
    xml.open("direction", &[("placement", "above")])?;
    xml.open("direction-type", &[])?;
    xml.open("metronome", &[])?;
    xml.leaf("beat-unit", unit)?;
    if dotted {
        xml.empty("beat-unit-dot", &[])?;
    }
    xml.leaf("per-minute", &trimmed(score.tempo.0))?;
    xml.close("metronome")?;
    xml.close("direction-type")?;
    xml.empty("sound", &[("tempo", &trimmed(score.tempo.0 * quarters))])?;
    xml.close("direction")
}

/// Name of the beat's note value, whether it is dotted, and its length in quarters.
fn beat_unit(meter: Meter) -> (&'static str, bool, f64) {
    let (unit, quarters) = match (meter.is_compound(), meter.unit) {
        (false, 2) => ("half", 2.0),
        (false, 4) | (true, 8) => ("quarter", 1.0),
        (false, 8) | (true, 16) => ("eighth", 0.5),
        (false, _) => ("16th", 0.25),
        (true, _) => ("half", 2.0),
    };
    let dot = if meter.is_compound() { 1.5 } else { 1.0 };
    (unit, meter.is_compound(), quarters * dot)
}

/// Two decimals at most.
fn trimmed(x: f64) -> String {
    format!("{}", (x * 100.0).round() / 100.0)
}

fn rest(xml: &mut Xml, piece: &Piece, voice: u8) -> io::Result<()> {
    xml.open("note", &[])?;
    xml.empty("rest", &[])?;
    value(xml, piece, voice, |_| Ok(()))?;
    xml.close("note")
}

/// Duration, ties, voice, type, dots and tuplet of a piece, in the schema's order.
fn value(
    xml: &mut Xml,
    piece: &Piece,
    voice: u8,
    ties: impl FnOnce(&mut Xml) -> io::Result<()>,
) -> io::Result<()> {
    xml.leaf("duration", &piece.units.to_string())?;
    ties(xml)?;
    xml.leaf("voice", &voice.to_string())?;
    xml.leaf("type", piece.kind)?;
    if piece.dotted {
        xml.empty("dot", &[])?;
    }
    if piece.triplet {
        xml.open("time-modification", &[])?;
        xml.leaf("actual-notes", "3")?;
        xml.leaf("normal-notes", "2")?;
        xml.close("time-modification")?;
    }
    Ok(())
}

fn note(
    xml: &mut Xml,
    score: &Score,
    staff: Staff,
    piece: &Piece,
    index: usize,
    voice: u8,
    chord: bool,
) -> io::Result<()> {
    let written = &score.notes[index];
    let Some(pitch) = score.pitch(written) else {
        return Ok(());
    };
    let name = score.key.name(pitch.nearest());
    xml.open("note", &[])?;
    if chord {
        xml.empty("chord", &[])?;
    }
    xml.open("pitch", &[])?;
    xml.leaf("step", &name.letter.to_string())?;
    if name.alter != 0 {
        xml.leaf("alter", &name.alter.to_string())?;
    }
    xml.leaf("octave", &name.octave.clamp(0, 9).to_string())?;
    xml.close("pitch")?;
    let tied = [(piece.continues, "stop"), (piece.goes_on, "start")];
    value(xml, piece, voice, |xml| {
        for (_, kind) in tied.iter().filter(|t| t.0) {
            xml.empty("tie", &[("type", kind)])?;
        }
        Ok(())
    })?;
    xml.leaf("stem", if voice == 1 { "up" } else { "down" })?;
    if written.attack == Attack::Dead {
        xml.leaf("notehead", "x")?;
    }
    xml.open("notations", &[])?;
    for (_, kind) in tied.iter().filter(|t| t.0) {
        xml.empty("tied", &[("type", kind)])?;
    }
    // What is let ring longer than it is written.
    if !piece.goes_on && written.rings.is_some() {
        xml.empty("tied", &[("type", "let-ring")])?;
    }
    slides(xml, score, piece, index)?;
    technical(xml, score, staff, piece, index)?;
    if !piece.continues {
        touch(xml, written)?;
    }
    xml.close("notations")?;
    xml.close("note")
}

/// The ends of slides: into this note from its string's last one, and out of it into the next.
fn slides(xml: &mut Xml, score: &Score, piece: &Piece, index: usize) -> io::Result<()> {
    let line = |end| [("type", end), ("number", "1"), ("line-type", "solid")];
    let before = last_on_string(score, index).is_some();
    if !piece.continues && before && score.notes[index].attack == Attack::Slide {
        xml.empty("slide", &line("stop"))?;
    }
    if !piece.goes_on && next_on_string(score, index).is_some_and(|n| n.attack == Attack::Slide) {
        xml.empty("slide", &line("start"))?;
    }
    Ok(())
}

/// Accents, short notes and brushes.
fn touch(xml: &mut Xml, written: &Written) -> io::Result<()> {
    if written.touch.accent || written.touch.damped {
        xml.open("articulations", &[])?;
        if written.touch.accent {
            xml.empty("accent", &[])?;
        }
        if written.touch.damped {
            xml.empty("staccato", &[])?;
        }
        xml.close("articulations")?;
    }
    match written.touch.brush {
        // Named by pitch: a brush towards the floor goes up from the low strings.
        Some(Brush::Down) => xml.empty("arpeggiate", &[("direction", "up")]),
        Some(Brush::Up) => xml.empty("arpeggiate", &[("direction", "down")]),
        None => Ok(()),
    }
}

fn technical(
    xml: &mut Xml,
    score: &Score,
    staff: Staff,
    piece: &Piece,
    index: usize,
) -> io::Result<()> {
    let written = &score.notes[index];
    xml.open("technical", &[])?;
    if staff != Staff::Pitches {
        xml.leaf("string", &written.string.to_string())?;
        xml.leaf("fret", &written.fret.to_string())?;
    }
    if !piece.continues {
        if let Some(left) = written.left.filter(|_| staff != Staff::Tablature) {
            let name = if left == 0 {
                "T".to_owned()
            } else {
                left.to_string()
            };
            xml.leaf("fingering", &name)?;
        }
        if let Some(finger) = written.finger.filter(|_| staff != Staff::Tablature) {
            xml.leaf("pluck", &finger.to_string())?;
        }
        if written.attack == Attack::Harmonic {
            xml.open("harmonic", &[])?;
            xml.empty("natural", &[])?;
            xml.close("harmonic")?;
        }
        slur(xml, written.attack, "stop")?;
    }
    if !piece.goes_on
        && let Some(next) = next_on_string(score, index)
    {
        slur(xml, next.attack, "start")?;
    }
    xml.close("technical")
}

/// One end of a hammer-on or pull-off.
fn slur(xml: &mut Xml, attack: Attack, end: &str) -> io::Result<()> {
    let (name, letter) = match attack {
        Attack::HammerOn => ("hammer-on", "H"),
        Attack::PullOff => ("pull-off", "P"),
        _ => return Ok(()),
    };
    let text = if end == "start" { letter } else { "" };
    xml.with_text(name, &[("type", end), ("number", "1")], text)
}

fn next_on_string(score: &Score, index: usize) -> Option<&Written> {
    let here = &score.notes[index];
    score.notes[index + 1..]
        .iter()
        .find(|n| n.string == here.string && n.at.0 > here.at.0)
}

fn last_on_string(score: &Score, index: usize) -> Option<&Written> {
    let here = &score.notes[index];
    score.notes[..index]
        .iter()
        .rev()
        .find(|n| n.string == here.string && n.at.0 < here.at.0)
}

/// A thin hand on the XML writer.
struct Xml(Writer<Vec<u8>>);

impl Xml {
    fn start<'a>(name: &'a str, attributes: &[(&str, &str)]) -> BytesStart<'a> {
        let mut start = BytesStart::new(name);
        for (key, value) in attributes {
            start.push_attribute((*key, *value));
        }
        start
    }

    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        self.0
            .write_event(Event::Start(Self::start(name, attributes)))
    }

    fn close(&mut self, name: &str) -> io::Result<()> {
        self.0.write_event(Event::End(BytesEnd::new(name)))
    }

    fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        self.0
            .write_event(Event::Empty(Self::start(name, attributes)))
    }

    fn leaf(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.with_text(name, &[], text)
    }

    fn with_text(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) -> io::Result<()> {
        if text.is_empty() {
            return self.empty(name, attributes);
        }
        self.open(name, attributes)?;
        self.0
            .write_event(Event::Text(BytesText::new(&allowed(text))))?;
        self.close(name)
    }
}

/// Without the control characters that XML 1.0 has no way to write.
fn allowed(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}'))
        .collect()
}
