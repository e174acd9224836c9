#!/usr/bin/env python3
"""Speed of the analysis against librosa's onset detector in the same run: `cargo xtask bench analysis`.

Five minutes of invented plucks in stereo; both get one core; processor time is compared, so that other work
on the machine matters little.  librosa's first call (it compiles) is not counted, reading the file is counted
for neither: of the analysis the time for a file of one second is taken off.
"""
import os
import resource
import subprocess
import sys
import tempfile
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
import librosa
import numpy as np
import soundfile as sf

RATE, SECONDS = 44100, 300


def pluck(midi):
    t = np.arange(2 * RATE) / RATE
    f, k = 440 * 2 ** ((midi - 69) / 12), np.arange(1, 13)[:, None]
    x = np.sin(np.pi * .17 * k) / k * np.cos(2 * np.pi * f * k * np.sqrt(1 + 6e-5 * k * k) * t) * np.exp(-(1.2 + .5 * k) * t)
    return (.2 * x.sum(axis=0) * np.minimum(t / .0005, 1)).astype(np.float32)


def tune(seconds):
    rng = np.random.default_rng(1)
    notes = {m: pluck(m) for m in (40, 45, 47, 50, 52, 55, 57, 59, 60, 62, 64, 67, 69)}
    out = np.zeros((seconds + 3) * RATE, np.float32)
    for i in range(int(seconds / .25)):
        low, high = rng.choice([40, 45, 47, 50]), rng.choice([55, 57, 59, 60, 62, 64, 67, 69])
        for midi, late in ((low, 0), (high, int(rng.uniform(0, .03) * RATE))):
            if midi == low and i % 2:
                continue
            at = int(i * .25 * RATE) + late
            out[at:at + 2 * RATE] += rng.uniform(.3, 1) * notes[midi]
    out = out[:seconds * RATE] + 1e-4 * rng.standard_normal(seconds * RATE).astype(np.float32)
    return np.stack([out, np.roll(out, 9) * .9], axis=1)


def spent(program, path):
    """processor seconds and peak memory (MB) of one analysis"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([program, "analyze", path, "--json", os.devnull, "--quiet"], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, after.ru_maxrss / 1024


def main():
    program = os.environ.get("THUMBLINE")
    if not program:
        print("set THUMBLINE to the program")
        return 77
    with tempfile.TemporaryDirectory() as folder:
        long, short = os.path.join(folder, "long.wav"), os.path.join(folder, "short.wav")
        sound = tune(SECONDS)
        sf.write(long, sound, RATE)
        sf.write(short, sound[:RATE], RATE)
        base, _ = spent(program, short)
        ours, memory = spent(program, long)
        mono = librosa.resample(sound.mean(axis=1), orig_sr=RATE, target_sr=22050)
        librosa.onset.onset_detect(y=mono[:22050 * 5], sr=22050)
        start = time.process_time()
        librosa.onset.onset_detect(y=mono, sr=22050)
        theirs = time.process_time() - start
    ours -= base
    print("analysis: %.0f x real time, peak %.0f MB (5 minutes, stereo)" % (SECONDS / ours, memory))
    print("librosa's onset detector, onsets alone: %.0f x real time" % (SECONDS / theirs))
    print("the whole analysis takes %.1f times as long as that detector" % (ours / theirs))
    return 0


if __name__ == "__main__":
    sys.exit(main())
