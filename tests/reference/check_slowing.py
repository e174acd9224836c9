"""Slowing held against an outside ear: librosa's pYIN reads the same pitch in a slowed note as was
plucked, and finds it moved by as many cents as were asked for."""
import os
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import librosa
    import numpy as np
    import soundfile as sf
except ImportError as missing:
    print("a package is missing: %s" % missing)
    sys.exit(77)

PROGRAM = os.environ["THUMBLINE"]
RATE = 44100
# Open strings of a guitar, Hz (equal temperament from A4 = 440 Hz, ISO 16).
NOTES = [82.407, 110.0, 146.832, 195.998, 246.942, 329.628]
EVERY = 0.9
# pYIN is asked for steps of 2 cents; a slowed note may be two steps from the truth.
STEP = 0.02
ALLOWED = 4.0


def phrase():
    """Six plucks, one after the other: 20 partials with a decay each, and a burst of noise."""
    rng = np.random.default_rng(3)
    out = np.zeros(int(RATE * (EVERY * len(NOTES) + 0.3)))
    t = np.arange(int(RATE * EVERY)) / RATE
    for i, f in enumerate(NOTES):
        note = sum(np.exp(-t * (1 + 0.3 * k)) * np.sin(2 * np.pi * k * f * t) / k for k in range(1, 21) if k * f < 8000)
        note *= np.minimum(1, t / 0.001) * np.minimum(1, (EVERY - t) / 0.02)
        note += 0.2 * np.exp(-t / 0.003) * rng.standard_normal(len(t))
        at = int(RATE * (0.1 + EVERY * i))
        out[at : at + len(note)] += 0.3 * note
    return out


def cents_off(x, speed, ratio):
    """median distance from the truth, each note's middle"""
    worst = []
    for i, f in enumerate(NOTES):
        start, end = (0.1 + EVERY * i + 0.15) / speed, (0.1 + EVERY * i + 0.75) / speed
        part = x[int(RATE * start) : int(RATE * min(end, start + 0.8))]
        true = f * ratio
        got, voiced, _ = librosa.pyin(part, sr=RATE, fmin=true / 1.5, fmax=true * 1.5, frame_length=4096, hop_length=2048, max_transition_rate=8, resolution=STEP)
        worst.append(1200 * np.log2(np.median(got[voiced]) / true))
    return worst


def main():
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        source, out = Path(folder) / "in.wav", Path(folder) / "out.wav"
        sf.write(source, phrase(), RATE, subtype="PCM_24")
        for speed, semitones in [(0.25, 0), (0.5, 0), (1.25, 0), (0.6, -2.5)]:
            words = ["--speed", str(speed), "--pitch", str(semitones), "--out", str(out)]
            subprocess.run([PROGRAM, "slow", str(source), *words], check=True, capture_output=True, timeout=120)
            off = cents_off(sf.read(out)[0], speed, 2 ** (semitones / 12))
            said = " ".join("%+.1f" % c for c in off)
            print("speed %g, %+g semitones: cents off %s" % (speed, semitones, said))
            wrong += max(map(abs, off)) > ALLOWED
    print("%d of 4 slowed phrases out of tune by more than %g cents" % (wrong, ALLOWED))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
