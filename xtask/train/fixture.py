#!/usr/bin/env python3
"""What the networks say of short invented sounds, for tests/net.rs and tests/solo.rs:

    fixture.py ear.f32 > tests/reference/net.json
    fixture.py --solo solo.f32 > tests/reference/solo.json

The sound (the test makes it again): three plucks of partials k = 1..8 of f, amplitude 0.3 sin(0.5 k) / k,
dying as exp(-(2 + k) t), and a hiss from a congruential generator.
"""
import json
import sys

import numpy as np

import features as F
from validate import Ear

PLUCKS = [(0.25, 110.0), (0.70, 329.6276), (0.703, 82.4069)]
TIMES = [0.252, 0.5, 0.6985, 1.2]


def sound():
    n = int(1.5 * F.RATE)
    t = np.arange(n) / F.RATE
    x = np.zeros(n)
    for start, f in PLUCKS:
        u = t - start
        for k in range(1, 9):
            x += np.where(u >= 0, .3 * np.sin(.5 * k) / k * np.exp(-(2 + k) * np.maximum(u, 0)) * np.sin(2 * np.pi * f * k * u), 0)
    state = 12345
    for i in range(n):
        state = (1664525 * state + 1013904223) % 2 ** 32
        x[i] += 1e-3 * (state / 2 ** 31 - 1)
    return x.astype(np.float32).astype(np.float64)


def strokes():
    """six seconds of strokes of eight partials, one every half second, over the same hiss"""
    n = 6 * F.RATE
    t = np.arange(n) / F.RATE
    x = np.zeros(n)
    for stroke in range(12):
        u = t - .5 * stroke - .1
        f = 110 * 2 ** (stroke * 5 % 12 / 12)
        for k in range(1, 9):
            x += np.where(u >= 0, .1 / k * np.exp(-(2 + k) * np.maximum(u, 0)) * np.sin(2 * np.pi * f * k * u), 0)
    state = 12345
    for i in range(n):
        state = (1664525 * state + 1013904223) % 2 ** 32
        x[i] += 1e-3 * (state / 2 ** 31 - 1)
    return x.astype(np.float32).astype(np.float64)


def main():
    if sys.argv[1] == "--solo":
        import solo
        windows, _ = solo.windows(strokes())
        said = solo.steadied(solo.Judge(sys.argv[2])(windows.astype(float))[:, 0])
        json.dump(dict(made_by="xtask/train/fixture.py", seconds=[round(float(p), 6) for p in said]), sys.stdout, indent=1)
        return
    ear, x = Ear(sys.argv[1]), sound()
    spectra, env, lev = F.patches(x, TIMES, 7.0)
    o = ear(spectra, env, lev)
    rows = []
    for i, t in enumerate(TIMES):
        rows.append(dict(time=t, early=float(o["early"][i]), onset=float(o["onset"][i]), offset=float(np.clip(o["offset"][i], -20, 20) / 1000),
                         kinds=[round(float(v), 6) for v in o["kinds"][i]], pitches=[round(float(v), 6) for v in o["pitch"][i]],
                         sounding=[round(float(v), 6) for v in o["sounding"][i]],
                         begins=[round(float(np.clip(v, -20, 20) / 1000), 8) for v in o["begins"][i]],
                         made=[[round(float(v), 6) for v in p] for p in o["made"][i]]))
    json.dump(dict(made_by="xtask/train/fixture.py", cents=7.0, readings=rows), sys.stdout, indent=1)


if __name__ == "__main__":
    main()
