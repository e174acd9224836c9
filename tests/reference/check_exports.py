"""Opens what Thumbline writes with readers written by others: music21, mido, pretty_midi, jams,
wavinfo, and MusicXML's own schema (the XSD that the package `musicxml` ships)."""
import json
import os
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

warnings.filterwarnings("ignore")

try:
    import jams
    import mido
    import music21
    import musicxml
    import pretty_midi
    import wavinfo
    import xmlschema
except ImportError as missing:
    print(f"a reader is missing: {missing}")
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]


def run(folder, *arguments):
    done = subprocess.run([PROGRAM, "--quiet", *arguments], cwd=folder, capture_output=True)
    assert done.returncode == 0, (arguments, done.stderr.decode())
    return done.stdout


def schema(folder):
    """MusicXML 4.0 with the two schemas it imports taken from beside it."""
    package = Path(musicxml.__file__).parent / "generate_classes"
    text = (package / "musicxml_4_0.xsd").read_text(encoding="utf-8")
    text = text.replace("http://www.musicxml.org/xsd/xml.xsd", (package / "xml.xsd").as_uri())
    text = text.replace("http://www.musicxml.org/xsd/xlink.xsd", (folder / "xlink.xsd").as_uri())
    # The attributes of XLink that MusicXML refers to (W3C XLink 1.1), in as many lines.
    names = "type href role title show actuate".split()
    body = "".join(f'<xs:attribute name="{n}" type="xs:string"/>' for n in names)
    (folder / "xlink.xsd").write_text(
        '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" '
        f'targetNamespace="http://www.w3.org/1999/xlink">{body}</xs:schema>'
    )
    (folder / "musicxml.xsd").write_text(text, encoding="utf-8")
    return xmlschema.XMLSchema(str(folder / "musicxml.xsd"), allow="local")


def check_path(folder, rules):
    run(folder, "strings", "--tuning", "DADGAD", "--capo", "2", "--scale", "E major",
        "--json", "path.json", "--midi", "path.mid", "--musicxml", "path.musicxml")
    path = [p["midi"] for p in json.loads((folder / "path.json").read_text())["path"]]
    rules.validate(str(folder / "path.musicxml"))
    score = music21.converter.parse(folder / "path.musicxml")
    assert [len(p.getElementsByClass("Measure")) for p in score.parts] == [4, 4]
    for part in score.parts:
        notes = sorted(part.recurse().notes, key=lambda n: n.getOffsetInHierarchy(part))
        assert [n.pitch.midi for n in notes] == path, "music21 reads the path"
    text = (folder / "path.musicxml").read_text()
    assert "<capo>2</capo>" in text and text.count("<staff-tuning ") == 6
    on = [m.note for m in mido.MidiFile(folder / "path.mid") if m.type == "note_on" and m.velocity]
    assert on == path, "mido reads the path"


def check_drill(folder, rules):
    run(folder, "drill", "--pattern", "rolling 6/8", "--tempo", "60,80", "--bars", "2",
        "--out", "drill.wav", "--midi", "drill.mid", "--musicxml", "drill.musicxml",
        "--json", "drill.json")
    session = json.loads((folder / "drill.json").read_text())
    rules.validate(str(folder / "drill.musicxml"))
    score = music21.converter.parse(folder / "drill.musicxml")
    bars = sum(stage["bars"] for stage in session["stages"])
    assert len(score.parts[0].getElementsByClass("Measure")) == bars
    midi = pretty_midi.PrettyMIDI(str(folder / "drill.mid"))
    assert [i.name for i in midi.instruments] == ["Thumb", "Fingers"]
    assert all(i.program == 25 for i in midi.instruments), "steel-string guitar"
    played = sum(len(i.notes) for i in midi.instruments)
    assert played == 2 * sum(len(stage["notes"]) for stage in session["stages"])
    file = wavinfo.WavInfoReader(str(folder / "drill.wav"))
    times = [c.sample_offset / file.fmt.sample_rate for c in file.cues.cues]
    wanted = [mark["time_s"] for mark in session["session"]]
    assert len(times) == len(wanted)
    assert all(abs(a - b) < 1e-4 for a, b in zip(times, wanted)), (times, wanted)
    names = [file.cues.label_and_note(c.name)[0] for c in file.cues.cues]
    # An arpeggio is learnt from its block, not from the thumb alone.
    assert names[0].startswith("planted block"), names


def check_recording(folder, rules):
    run(folder, "demo", "--out", "demo")
    # A name that is not ASCII must survive in every format.
    name = "Übung 雨.wav"
    (folder / "demo" / "take.wav").rename(folder / name)
    for format in ["json", "jams", "midi", "musicxml", "wav", "csv", "svg", "tab"]:
        run(folder, "export", name, "--to", format, "--out", f"take.{format}")
    heard = json.loads((folder / "take.json").read_text())
    pitched = sorted((o["time_s"], round(o["midi"])) for o in heard["onsets"] if "midi" in o)

    jam = jams.load(str(folder / "take.jams"), validate=True, strict=True)
    spaces = [a.namespace for a in jam.annotations]
    assert sorted(spaces) == ["beat", "note_midi", "note_midi", "onset", "onset", "tempo"], spaces
    assert jam.file_metadata.title.startswith("Übung 雨")
    beats = [o.time for o in jam.search(namespace="beat")[0].data]
    assert all(abs(a - b) < 1e-5 for a, b in zip(beats, heard["beats_s"]))

    midi = pretty_midi.PrettyMIDI(str(folder / "take.midi"))
    notes = sorted((n.start, n.pitch) for i in midi.instruments for n in i.notes)
    assert len(notes) == len(pitched), (len(notes), len(pitched))
    worst = max(abs(a[0] - b[0]) for a, b in zip(notes, pitched))
    assert worst < 0.001, f"an onset lies {1000 * worst:.2f} ms off"
    title = mido.MidiFile(folder / "take.midi", charset="utf-8").tracks[0].name
    assert title.startswith("Übung 雨"), title

    rules.validate(str(folder / "take.musicxml"))
    score = music21.converter.parse(folder / "take.musicxml")
    assert score.metadata.title.startswith("Übung 雨")
    # Tablature stands beside the notes only where the tuning is known: said here, as a player would.
    assert len(score.parts) == (2 if heard["tuning"].get("odds", 1.0) >= 0.6 else 1)
    run(folder, "export", name, "--to", "musicxml", "--tuning", "DADGAD", "--out", "told.musicxml")
    rules.validate(str(folder / "told.musicxml"))
    score = music21.converter.parse(folder / "told.musicxml")
    assert len(score.parts) == 2
    keys = [k.sharps for k in score.parts[0].recurse().getElementsByClass("KeySignature")]
    assert keys == [2], f"the demo is in D major: {keys}"
    numbers = {b["number"] for b in heard["bars"]}
    marks = {
        mark.content: bar.number
        for bar in score.parts[0].getElementsByClass("Measure")
        for mark in bar.getElementsByClass("RehearsalMark")
    }
    sections = [s["first_bar"] for s in heard["timing"]["sections"]]
    assert list(marks.values()) == (sections if len(sections) > 1 else []), (marks, sections)
    assert set(marks.values()) <= numbers and "".join(marks) == "ABCDEFGH"[: len(marks)]

    file = wavinfo.WavInfoReader(str(folder / "take.wav"))
    bars = [b["start_s"] for b in heard["bars"] if b["start_s"] >= 0]
    cues = [c.sample_offset / file.fmt.sample_rate for c in file.cues.cues]
    assert len(cues) == len(bars) and all(abs(a - b) < 1e-4 for a, b in zip(cues, bars))
    run(folder, "export", name, "--to", "wav", "--bars", "2-3", "--out", "loop.wav")
    loop = wavinfo.WavInfoReader(str(folder / "loop.wav")).smpl.sample_loops[0]
    first = heard["bars"][[b["number"] for b in heard["bars"]].index(2)]
    assert abs(loop.start / file.fmt.sample_rate - first["start_s"]) < 1e-4


def main():
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        rules = schema(folder)
        check_path(folder, rules)
        check_drill(folder, rules)
        check_recording(folder, rules)
    print("MusicXML, MIDI, JAMS and WAV were read back")


main()
