"""A drill's MIDI played by another synthesizer (FluidSynth with a General MIDI soundfont) and heard
again: the same notes must come back. Skipped where the synthesizer or a soundfont is absent."""
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import mir_eval
    import numpy
    import pretty_midi
except ImportError as missing:
    print(f"a reader is missing: {missing}")
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
FONTS = [Path("/usr/share/sounds/sf2") / name for name in ("FluidR3_GM.sf2", "TimGM6mb.sf2")]
# What is practised, and the least F of notes (onset within 50 ms, pitch within 50 cents) that is
# accepted; harmonics are plain notes to a soundfont, six of them at once at the end.
DRILLS = [
    (["--pattern", "off-beat melody", "--tempo", "72,96", "--bars", "2"], 0.99),
    (["--pattern", "rolling 6/8", "--tempo", "60", "--bars", "2"], 0.97),
    (["--scale", "D major", "--tuning", "DADGAD", "--tempo", "80"], 0.99),
    (["--harmonics", "--tempo", "60"], 0.93),
]


def notes_of(path):
    midi = pretty_midi.PrettyMIDI(str(path))
    return sorted((n.start, n.pitch) for i in midi.instruments for n in i.notes)


def shape(notes):
    times = numpy.array([t for t, _ in notes])
    hz = 440.0 * 2.0 ** ((numpy.array([p for _, p in notes]) - 69) / 12.0)
    return numpy.stack([times, times + 0.1], axis=1), hz


def run(*command):
    done = subprocess.run([str(c) for c in command], capture_output=True)
    assert done.returncode == 0, (command, done.stderr.decode())


def main():
    font = next((f for f in FONTS if f.is_file()), None)
    if shutil.which("fluidsynth") is None or font is None:
        print("FluidSynth or a General MIDI soundfont is not here")
        sys.exit(77)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for drill, least in DRILLS:
            midi, wav, heard = folder / "d.mid", folder / "d.wav", folder / "d.json"
            run(PROGRAM, "--quiet", "drill", *drill, "--midi", midi)
            run("fluidsynth", "-ni", "-g", "0.6", "-r", "44100", "-F", wav, font, midi)
            run(PROGRAM, "--quiet", "analyze", wav, "--json", heard)
            written = notes_of(midi)
            found = json.loads(heard.read_text())["onsets"]
            found = sorted((o["time_s"], round(o["midi"])) for o in found if o.get("midi"))
            pairs = mir_eval.transcription.match_notes(
                *shape(written), *shape(found), onset_tolerance=0.05, offset_ratio=None)
            f = 2 * len(pairs) / (len(written) + len(found))
            print(f"{' '.join(drill)}: {len(pairs)} of {len(written)} notes, F {f:.3f}")
            assert f >= least, (drill, f)
    print("a drill's MIDI, played by FluidSynth, is heard as it was written")


main()
