"""Reports read back by others: JSON against its schema, WAV by soundfile and wavinfo, CSV by
Python's reader, SVG by an XML parser; onset scoring by mir_eval."""
import csv
import io
import json
import os
import subprocess
import sys
import tempfile
import wave
import xml.etree.ElementTree as ET
from pathlib import Path

try:
    import jsonschema
    import mir_eval
    import numpy as np
    import soundfile as sf
    import wavinfo
except ImportError as missing:
    print("a package is missing: %s" % missing)
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
HERE = Path(__file__).parent
RATE = 44_100


def run(*arguments, code=0):
    done = subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, timeout=120)
    assert done.returncode == code, (arguments, done.returncode, done.stderr.decode())
    return done.stdout


def tune(path, channels=1):
    """Decaying tones, a bass note on every beat at 100 a minute and a higher one on the off-beat
    of every second, 8 bars; the times of all onsets."""
    beat, bars = 0.6, 8
    length = int((bars * 4 * beat + 1.0) * RATE)
    x, onsets = np.zeros(length), []

    def pluck(at, hz, level):
        t = np.arange(int(0.9 * RATE)) / RATE
        tone = sum(np.sin(2 * np.pi * hz * k * t) * np.exp(-(3 + 2 * k) * t) / k for k in range(1, 9))
        start = int(at * RATE)
        n = min(len(t), length - start)
        x[start:start + n] += level * tone[:n]
        onsets.append(start / RATE)

    for i in range(bars * 4):
        at = 0.5 + i * beat
        pluck(at, [82.41, 123.47, 110.0, 123.47][i % 4], 0.25)
        if i % 2:
            pluck(at + beat / 2, [329.63, 392.0, 440.0][i % 3], 0.15)
    sf.write(path, np.repeat(x[:, None], channels, 1), RATE, subtype="PCM_24")
    return np.array(sorted(onsets))


def main():
    schema = json.loads((HERE / "analysis.schema.json").read_text())
    reference = np.array([0.194467, 1.128639, 2.023878, 4.079728])
    estimate = np.array([0.243810, 1.190023, 2.086893, 4.130249, 4.612063])
    f, p, r = mir_eval.onset.f_measure(reference, estimate, window=0.05)
    assert abs(f - 0.2222) < 1e-3 and abs(p - 0.2) < 1e-9 and abs(r - 0.25) < 1e-9

    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        wav = folder / "tune.wav"
        truth = tune(wav)
        run("analyze", wav, "--json", folder / "a.json", "--csv", folder / "a.csv",
            "--svg", folder / "a.svg")
        found = json.loads((folder / "a.json").read_text())
        jsonschema.Draft202012Validator(schema).validate(found)
        times = np.array([o["time_s"] for o in found["onsets"]])
        f, _, _ = mir_eval.onset.f_measure(truth, times, window=0.05)
        assert f > 0.9, "onset F %.3f" % f
        assert abs(found["bpm"] - 100) < 4 or abs(found["bpm"] - 50) < 2, found["bpm"]
        rows = list(csv.DictReader(io.StringIO((folder / "a.csv").read_text(), newline="")))
        assert len(rows) == len(found["onsets"])
        assert all(abs(float(a["time_s"]) - b["time_s"]) < 1e-5
                   for a, b in zip(rows, found["onsets"]))
        assert ET.parse(folder / "a.svg").getroot().tag.endswith("svg")

        check = json.loads(run("check", wav, "--json", "-"))
        assert check["schema"] == "thumbline.check" and check["timing"]["slots"]

        for channels, options, subtype in [(1, [], "PCM_24"), (2, [], "PCM_24"),
                                           (6, [], "PCM_24"), (2, ["--float"], "FLOAT")]:
            tune(wav, channels)
            out = folder / "slow.wav"
            run("slow", wav, "--speed", "0.5", "--out", out, *options)
            info = sf.info(out)
            assert (info.samplerate, info.channels, info.subtype) == (RATE, channels, subtype)
            assert abs(info.frames - 2 * sf.info(wav).frames) <= 1
            about = wavinfo.WavInfoReader(str(out))
            assert about.fmt.channel_count == channels and about.data.frame_count == info.frames
            if channels < 3 and not options:
                with wave.open(str(out)) as plain:
                    assert plain.getsampwidth() == 3
        run("slow", wav, "--speed", "1", "--out", out)
        assert np.array_equal(sf.read(out, dtype="int32")[0], sf.read(wav, dtype="int32")[0])
        run("loop", wav, "--from-s", "1", "--to-s", "2", "--times", "3", "--out", out)
        assert abs(sf.info(out).frames - 3 * RATE) <= 4
    print("reports read back by jsonschema, csv, ElementTree, soundfile, wavinfo, mir_eval")


if __name__ == "__main__":
    main()
