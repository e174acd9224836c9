"""One seed -> one recorded performance -> what the network is to say at many instants of it."""
import numpy as np
import scipy.signal as ss

import features as F
from pieces import play
from rooms import record, squeak, sympathetic, thump
from strings import SR, Guitar

KINDS = ["pluck", "legato", "slide", "harmonic", "dead", "tap"]
MADE = KINDS[1:5]  # told of every pitch
NEAR, BLUR = .020, .036  # a note belongs to an instant within NEAR; between NEAR and BLUR nothing is asked


def perform(seed, samples=None):
    """-> sound of the guitar alone (as `record` takes it), notes, taps, cents of the whole instrument"""
    rng = np.random.default_rng([seed, 5])
    noises = {k: samples[k] for k in ("release", "mute", "perc") if k in samples} if samples else {}
    notes, taps, secs = play(rng)
    g = Guitar(rng, samples)
    cents = rng.uniform(-50, 50)
    off = rng.normal(0, rng.uniform(.5, 7), 7)
    mix = np.zeros(int(secs * SR) + 1)
    finger_gap = rng.uniform(0, .04)
    noisy = rng.uniform(0, .9) * (rng.random() < .7)
    palm = rng.uniform(.08, .35) if rng.random() < .18 else None
    wobble = rng.uniform(0, .15) * (rng.random() < .5)
    for i, n in enumerate(notes):
        dur = n["end"] - n["t"]
        x, on = g.note(n["midi"] + (cents + off[n["string"]]) / 100, n["string"], n["vel"], n["role"], n["kind"], min(dur + .1, 4.5), n["order"])
        if palm and n["role"] == "bass" and n["kind"] == "pluck":
            x[on:] *= np.exp(-np.arange(len(x) - on) / SR / (palm * rng.uniform(.8, 1.2)))
        if dur > .35 and rng.random() < wobble:  # vibrato, or a bend
            u = np.maximum(np.arange(len(x)) - on - rng.uniform(.08, .25) * SR, 0) / SR
            if rng.random() < .7:
                c = rng.uniform(5, 40) * np.minimum(u / .15, 1) * np.sin(2 * np.pi * rng.uniform(3.5, 7.5) * u)
            else:
                c = rng.choice([50, 100, 200, -100]) * np.minimum(u / rng.uniform(.05, .3), 1)
            x = np.interp(np.concatenate([[0], np.cumsum(2 ** (c[:-1] / 1200))]), np.arange(len(x)), x)
        rms = np.sqrt(np.mean(x[on:on + int(.2 * SR)] ** 2)) + 1e-9
        level = 30 * (n["vel"] - .6) + (-rng.uniform(0, 9) if n["kind"] == "legato" else 0) + (-rng.uniform(-2, 8) if n["kind"] == "dead" else 0)
        x = x * 10 ** (level / 20) / rms
        if n["into"] == "legato" and n["cut"] == "pluck":
            stop, fade = dur + .004, .007
        elif n["cut"] == "pluck":
            stop, fade = dur - min(rng.uniform(0, finger_gap), .3 * dur), rng.uniform(.004, .025)
        else:
            stop, fade = dur, rng.uniform(.015, .09)
        k = on + int(max(stop, .03) * SR)
        f = max(2, int(min(fade, max(stop, .03) * .5) * SR))
        if k < len(x):
            x = x[:k].copy()
            x[-f:] *= .5 + .5 * np.cos(np.pi * np.arange(f) / f)
        s0 = int(round(n["t"] * SR)) - on
        n["t"] = (s0 + on) / SR
        n["level"] = level
        a, b = max(0, s0), min(len(mix), s0 + len(x))
        mix[a:b] += x[a - s0:b - s0]
        if n["cut"] == "damp" and rng.random() < (max(noisy, .7) if n["choked"] else noisy):  # a finger lands on the string, or leaves it
            y = (real_noise(rng, noises, "release") if "release" in noises and rng.random() < .3 else release(rng, g, n, cents)) * 10 ** (rng.uniform(-40, -8 if n["choked"] else -14) / 20) * 10 ** (level / 20)
            a = int((n["end"] + rng.uniform(-.02, .02)) * SR)
            b = min(len(mix), a + len(y))
            if 0 < a < b:
                mix[a:b] += y[:b - a]
    if rng.random() < .5:
        hz = [440 * 2 ** ((m - 69 + cents / 100) / 12) for m in rng.choice(np.arange(38, 67), 6, replace=False)]
        mix = sympathetic(rng, mix, hz)
    tap_db = rng.uniform(-14, 8)
    for t in taps:
        y = (real_noise(rng, noises, "perc") / 5 if "perc" in noises and rng.random() < .3 else thump(rng)) * 10 ** ((tap_db + 2 * rng.standard_normal()) / 20) * 3
        a = int(t * SR)
        b = min(len(mix), a + len(y))
        mix[a:b] += y[:b - a]
    if rng.random() < .6:  # the hand slides along wound strings, most often on its way to the next notes
        for _ in range(rng.integers(1, 15)):
            y = squeak(rng) * 10 ** (rng.uniform(-38, -8) / 20)
            at = rng.uniform(0, secs - .3)
            if notes and rng.random() < .5:
                at = notes[rng.integers(len(notes))]["t"] - rng.uniform(.02, .25)
            a = int(np.clip(at, 0, secs - .4) * SR)
            mix[a:a + len(y)] += y
    if rng.random() < .5:  # fingers come to rest on strings
        for _ in range(rng.integers(1, int(2 * secs))):
            y = (real_noise(rng, noises, "mute")[:int(.3 * SR)] if "mute" in noises and rng.random() < .25 else touch(rng, g, cents)) * 10 ** (rng.uniform(-40, -10) / 20)
            at = rng.uniform(0, secs - .4)
            if notes and rng.random() < .6:
                at = notes[rng.integers(len(notes))]["t"] - rng.uniform(.03, .2)
            a = int(np.clip(at, 0, secs - .6) * SR)
            mix[a:a + len(y)] += y[:len(mix) - a]
    return mix, notes, taps, cents, rng


def real_noise(rng, noises, kind):
    """a sampled sound of a hand that lets go, touches or knocks; mean square about 1 over its first 50 ms"""
    table = noises[kind]
    keys = sorted(table)
    takes = table[keys[rng.integers(len(keys))]]
    y = takes[rng.integers(len(takes))].astype(np.float64)
    return y / (np.sqrt(np.mean(y[:1100] ** 2)) + 1e-9)


def release(rng, guitar, n, cents):
    """the sound of damping: a short rustle or thud, sometimes the open string's faint ring; no note"""
    m = int(rng.uniform(.02, .12) * SR)
    lo = np.exp(rng.uniform(np.log(80), np.log(2500)))
    b = ss.butter(1, [lo, min(lo * rng.uniform(2, 12), 9500)], "band", fs=SR, output="sos")
    y = ss.sosfilt(b, rng.standard_normal(m)) * np.exp(-np.arange(m) / SR / rng.uniform(.004, .03))
    r = int(rng.uniform(.0005, .015) * SR)
    y[:r] *= np.arange(r) / r
    y /= np.std(y) + 1e-9
    if rng.random() < .4:
        low = n["midi"] - n["fret"] if n["order"] == 1 else n["midi"] - 12
        z, _ = guitar.note(max(low, 36) + cents / 100, n["string"], .2, n["role"], "legato", rng.uniform(.1, .6))
        z = z / (np.std(z[:2205]) + 1e-9) * rng.uniform(.1, .6)
        k = max(len(y), len(z))
        y = np.pad(y, (0, k - len(y))) + np.pad(z, (0, k - len(z)))
    return y


def touch(rng, guitar, cents):
    """a fingertip or nail lands on a string: a tick, a trace of the string it stops; no note"""
    m = int(rng.uniform(.01, .05) * SR)
    lo = np.exp(rng.uniform(np.log(150), np.log(4000)))
    y = ss.sosfilt(ss.butter(1, [lo, min(lo * rng.uniform(1.5, 8), 9500)], "band", fs=SR, output="sos"), rng.standard_normal(m))
    y *= np.exp(-np.arange(m) / SR / np.exp(rng.uniform(np.log(.001), np.log(.012))))
    y /= np.sqrt(np.mean(y ** 2)) + 1e-9
    if rng.random() < .6:
        string = int(rng.integers(1, 7))
        midi = [64, 59, 55, 50, 45, 40][string - 1] + int(rng.integers(0, 13))
        z, _ = guitar.note(midi + cents / 100, string, .3, "bass" if string > 3 else "melody", "legato", .2)
        z = z * np.exp(-np.arange(len(z)) / SR / rng.uniform(.006, .04))
        z = z / (np.sqrt(np.mean(z[:1100] ** 2)) + 1e-9) * rng.uniform(.1, 1.0)
        k = max(len(y), len(z))
        y = np.pad(y, (0, k - len(y))) + np.pad(z, (0, k - len(z)))
    return y


def label(times, notes, taps):
    n = len(times)
    pitch = np.zeros((n, F.PITCHES), np.int8)
    sounding = np.zeros((n, F.PITCHES), np.int8)
    onset = np.zeros(n, np.int8)
    kinds = np.zeros((n, len(KINDS)), np.int8)
    offset = np.full(n, np.nan, np.float32)
    begins = np.full((n, F.PITCHES), np.nan, np.float32)
    made = np.full((n, F.PITCHES, len(MADE)), -1, np.int8)
    start = np.array([m["t"] for m in notes])
    for i, t in enumerate(times):
        d = start - t
        for j in np.nonzero((d > -6) & (d < .1))[0]:
            m = notes[j]
            p = m["midi"] - F.LOWEST
            if not 0 <= p < F.PITCHES:
                continue
            if d[j] < .03 and m["end"] > t + .06 and m["kind"] != "dead":
                sounding[i, p] = 1 if d[j] > -1.2 else -1
            near = abs(d[j])
            if near <= NEAR:
                if not near >= abs(begins[i, p]) / 1000:  # of two notes of one pitch the nearer
                    begins[i, p] = d[j] * 1000
                    made[i, p] = [m["kind"] == k for k in MADE]
                pitch[i, p] = 1
            elif near <= BLUR and pitch[i, p] == 0:
                pitch[i, p] = -1
        near = np.nonzero(np.abs(d) <= NEAR)[0]
        if len(near):
            onset[i] = 1
            for j in near:
                kinds[i, KINDS.index(notes[j]["kind"])] = 1
            offset[i] = (start[near] - t).min() * 1000
        elif len(d) and np.abs(d).min() <= BLUR:
            onset[i] = -1
        if len(taps) and np.abs(np.array(taps) - t).min() < .02:
            kinds[i, 5] = 1
    return pitch, sounding, onset, kinds, offset, begins, made


def instants(rng, x, notes, taps, secs):
    """where to listen: near the truth as an onset detector would be, and where it would be fooled"""
    start = np.array([m["t"] for m in notes] + list(taps))
    near = []
    for _ in range(2):
        j = np.where(rng.random(len(start)) < .6, rng.normal(0, .003, len(start)), rng.uniform(-.015, .015, len(start)))
        keep = np.ones(len(start), bool)
        near.append((start + j)[keep & (rng.random(len(start)) < .8)])
    peaks = F.flux_peaks(x)
    if len(peaks):
        peaks = peaks + rng.normal(0, .002, len(peaks))
        if len(peaks) > 400:
            peaks = rng.choice(peaks, 400, replace=False)
    other = rng.uniform(0, secs, len(start) // 3)
    after = start[rng.random(len(start)) < .3]
    after = after + rng.uniform(.03, .09, len(after)) * rng.choice([-1, 1], len(after))
    gap = np.diff(np.sort(start))
    close = np.sort(start)[:-1][(gap > .003) & (gap < .07)]  # pinches, rolls, strums: from before the first to after the second
    close = close + rng.uniform(-.02, .045, len(close))
    t = np.concatenate(near + [peaks, other, after, close])
    return np.sort(t[(t > 0) & (t < secs)])


def listened(rng, x, notes, taps, cents):
    """one recording of a performance: its sound, where to listen, what the tuning is taken to be, the truth there"""
    if not np.isfinite(x).all() or np.abs(x).max() < 1e-4:
        raise ValueError("no sound")
    times = instants(rng, x, notes, taps, len(x) / SR)
    # the tuning is known nearly, seldom badly
    known = cents + (rng.normal(0, 5) if rng.random() < .85 else rng.uniform(-35, 35))
    pitch, sounding, onset, kinds, offset, begins, made = label(times, notes, taps)
    return dict(sound=x.astype(np.float32), times=times, known=known, pitch=pitch, sounding=sounding, onset=onset, kinds=kinds,
                offset=offset, begins=begins.astype(np.float16), made=made)


def make(seed, samples=None, rooms=2):
    """-> the same performance in several rooms, through several machines"""
    mix, notes, taps, cents, rng = perform(seed, samples)
    return [listened(rng, record(rng, mix), notes, taps, cents) for _ in range(rooms)]


def load_samples(path):
    """{instrument: {(key, loudness): [takes]}} of what `samples.py` wrote"""
    if not path:
        return None
    import json
    import lzma
    with lzma.open(path) as f:
        names = json.loads(f.read(int.from_bytes(f.read(8), "little")))
        rest = np.frombuffer(f.read(), np.uint8)
    half, at, out = len(rest) // 2, 0, {}
    for name, n in names:
        z = rest[half + at:half + at + n].astype(np.int32) | rest[at:at + n].astype(np.int32) << 8
        x = np.cumsum((z >> 1) ^ -(z & 1)).astype(np.int64)
        x = ((x + 32768) % 65536 - 32768).astype(np.int16)
        at += n
        kind, key, loud, _ = name.split("_")
        out.setdefault(kind, {}).setdefault((int(key), int(loud)), []).append(x)
    return out
