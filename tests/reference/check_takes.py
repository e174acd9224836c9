"""A take against a recording, held against others' work: the alignment against librosa's dynamic time
warping on chroma, the number of pairs against mir_eval's matching, the kept take's FLAC against
libsndfile, the journal against Python's SQLite."""
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import librosa
    import mir_eval
    import numpy as np
    import soundfile as sf
except ImportError as missing:
    print(f"a package is missing: {missing}")
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
HOP = 512
RATE = 22_050


def run(folder, *arguments):
    done = subprocess.run([PROGRAM, "--quiet", *arguments], cwd=folder, capture_output=True)
    assert done.returncode == 0, (arguments, done.stderr.decode())
    return done.stdout


def chroma(path):
    sound, _ = librosa.load(path, sr=RATE, mono=True)
    return librosa.feature.chroma_stft(y=sound, sr=RATE, hop_length=HOP, n_fft=2048)


def warped(recording, take):
    """The take's instant for an instant of the recording, by dynamic time warping (Müller 2015)."""
    _, path = librosa.sequence.dtw(chroma(recording), chroma(take), metric="cosine")
    path = path[::-1] * HOP / RATE
    return lambda time: np.interp(time, path[:, 0], path[:, 1])


def main():
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        run(folder, "demo", "--out", "demo")
        run(folder, "compare", "demo/recording.wav", "demo/take.wav", "--json", "c.json",
            "--keep", "--journal", "j.sqlite")
        found = json.loads((folder / "c.json").read_text())
        ours = np.array([[p["recording_s"], p["take_s"]] for p in found["pairs"]])

        to_take = warped(folder / "demo/recording.wav", folder / "demo/take.wav")
        apart = np.abs(to_take(ours[:, 0]) - ours[:, 1])
        print(f"{len(ours)} pairs; librosa's path lies {1000 * np.median(apart):.0f} ms away (median), "
              f"{1000 * np.quantile(apart, 0.95):.0f} ms (95 %)")
        assert np.median(apart) < 0.06 and np.quantile(apart, 0.95) < 0.2

        # mir_eval's largest matching of the same notes, the recording's carried over by our pairs.
        sides = [json.loads((folder / f"demo/{n}.json").read_text())["onsets"]
                 for n in ("recording", "take")]
        times = [np.array([o["time_s"] for o in s if o.get("midi")]) for s in sides]
        carried = np.interp(times[0], ours[:, 0], ours[:, 1])
        inside = (times[0] >= ours[:, 0].min()) & (times[0] <= ours[:, 0].max())
        hz = [440 * 2 ** ((np.array([round(o["midi"]) for o in s if o.get("midi")]) - 69) / 12)
              for s in sides]
        spans = [np.stack([t, t + 0.1], 1) for t in (carried[inside], times[1])]
        pairs = mir_eval.transcription.match_notes(
            spans[0], hz[0][inside], spans[1], hz[1], onset_tolerance=0.1, offset_ratio=None)
        print(f"mir_eval pairs {len(pairs)} notes")
        assert abs(len(pairs) - len(ours)) <= 0.05 * len(ours), (len(pairs), len(ours))

        kept = list((folder / "j-takes").glob("*.flac"))
        assert len(kept) == 1
        flac, rate = sf.read(kept[0], dtype="int32")
        wav, wanted = sf.read(folder / "demo/take.wav", dtype="int32")
        assert rate == wanted and np.array_equal(flac, wav), "libsndfile reads the take to the last bit"
        journal = sqlite3.connect(folder / "j.sqlite")
        assert journal.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        (take,) = journal.execute("SELECT DISTINCT take FROM round").fetchone()
        assert kept[0].stem == take
    print("takes agree with librosa, mir_eval, libsndfile and SQLite")


main()
