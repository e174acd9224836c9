"""What is no guitar alone: invented scenes from sampled notes of other instruments, speech, synthetic voices, drums,
noise and applause.  As with `pieces.py` everything is drawn at random; no tune or recording is imitated.

`scene` gives a class beside the sound: 1 for a guitar in company (under a voice or speech, with drums, a bass, a flute) and
for a harp, a banjo, a dulcimer or a ukulele, 2 for everything else.  Class 0, one guitar, are the performances of `examples.py`.  Two
guitars are not among them: from one window of two seconds nothing tells them from one (tried: 94 % taken for one).
"""
import numpy as np
import scipy.signal as ss

import rooms
from strings import SR

SCALES = [(0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10), (0, 2, 4, 7, 9), (0, 3, 5, 7, 10)]
PROGRESSIONS = [(0, 3, 4, 0), (0, 5, 3, 4), (0, 0, 3, 4), (5, 3, 0, 4), (0, 4, 5, 3), (1, 4, 0, 0)]
# General MIDI programs by what they are
PIANO, BELLS, ORGAN, BASS = range(0, 8), range(8, 15), range(16, 24), range(32, 40)
BOWED, VOICES, BRASS, REEDS = range(40, 46), range(52, 55), range(56, 64), range(64, 80)
SYNTH, PLUCKED = range(80, 104), (46, 104, 105, 106, 107, 15)


def at_pitch(rng, table, midi, secs, loud=1.0):
    """a sampled note of any instrument, moved to `midi` and cut to `secs`"""
    keys = np.array(sorted({k for k, _ in table}))
    root = keys[np.argmin(np.abs(keys - midi))]
    takes = table[(root, max(v for k, v in table if k == root))]
    src = takes[rng.integers(len(takes))]
    at = np.arange(min(int(secs * SR), int((len(src) - 2) / 2 ** ((midi - root) / 12)))) * 2 ** ((midi - root) / 12)
    x = np.interp(at, np.arange(len(src)), src.astype(np.float64)) / 30000 * loud
    f = min(len(x), int(.03 * SR))
    if f:
        x[-f:] *= np.linspace(1, 0, f)
    return x


def part(rng, table, secs, low, high, style, root, scale, beat, drift=.01):
    """one instrument's part: chords, a line, a bass or an arpeggio"""
    y = np.zeros(int((secs + 3) * SR))
    progression = PROGRESSIONS[rng.integers(len(PROGRESSIONS))]
    degrees = lambda d: root + 12 * (d // len(scale)) + scale[d % len(scale)]
    inside = lambda m: int(low + (m - low) % 12 + 12 * rng.integers(0, max(1, (high - low) // 12)))
    t, k, line = rng.uniform(0, .5), 0, int(rng.integers(0, 7))
    while t < secs:
        chord = progression[int(t / (4 * beat)) % 4]
        if style == "chords":
            notes, hold, step = [inside(degrees(chord + d)) for d in (0, 2, 4)[:rng.integers(2, 4)]], beat * rng.choice([1, 2, 4]), None
            step = hold
        elif style == "bass":
            notes, hold = [inside(degrees(chord + int(rng.choice([0, 0, 0, 4, 2]))))], beat * rng.choice([.5, 1, 1, 2])
            step = hold
        elif style == "arpeggio":
            notes, hold, step = [inside(degrees(chord + (0, 2, 4, 2)[k % 4]))], beat * 1.5, beat * .5
        else:
            line = int(np.clip(line + rng.choice([-2, -1, -1, 0, 1, 1, 2]), -3, 10))
            notes, hold = [inside(degrees(line))], beat * rng.choice([.5, .5, 1, 1, 2])
            step = hold * (1 if rng.random() < .9 else 2)
        loud = rng.uniform(.4, 1)
        for m in notes:
            x = at_pitch(rng, table, m + rng.normal(0, .02), max(.12, hold * rng.uniform(.7, 1.1)), loud)
            a = int(max(0, t + drift * rng.standard_normal()) * SR)
            y[a:a + len(x)] += x[:len(y) - a]
        t, k = t + step, k + 1
    return y[:int(secs * SR)]


def drums(rng, table, secs, beat):
    y = np.zeros(int((secs + 2) * SR))
    keys = sorted({k for k, _ in table})
    for _ in range(rng.integers(2, 5)):
        key, every = keys[rng.integers(len(keys))], beat * rng.choice([.25, .5, 1, 2])
        t = rng.choice([0, .5, 1]) * beat
        while t < secs:
            x = at_pitch(rng, table, key, .6, rng.uniform(.3, 1))
            a = int(max(0, t + .006 * rng.standard_normal()) * SR)
            y[a:a + len(x)] += x[:len(y) - a]
            t += every
    return y[:int(secs * SR)]


def speech(rng, table, secs):
    y = np.zeros(int((secs + 8) * SR))
    keys, t = sorted(table), rng.uniform(0, 1)
    while t < secs:
        x = table[keys[rng.integers(len(keys))]][0].astype(np.float64) / 30000
        if rng.random() < .5:  # another throat
            x = np.interp(np.arange(int(len(x) / (r := rng.uniform(.8, 1.25)))) * r, np.arange(len(x)), x)
        a = int(t * SR)
        y[a:a + len(x)] += x[:len(y) - a]
        t += len(x) / SR + rng.uniform(.1, .8)
    return y[:int(secs * SR)]


def sung(rng, secs, root, scale, beat):
    """a voice of pulses through formants: vowels that glide, vibrato, breath, a consonant now and then"""
    n = int(secs * SR)
    pitch, amp, t, line = np.zeros(n), np.zeros(n), rng.uniform(0, 1), 0
    base = 12 * ((rng.uniform(45, 64) - root) // 12) + root
    while t < secs:
        d = beat * rng.choice([.5, 1, 1, 2, 3])
        line = int(np.clip(line + rng.choice([-2, -1, 0, 1, 2]), -3, 8))
        a, b = int(t * SR), min(n, int((t + d * rng.uniform(.7, 1)) * SR))
        if rng.random() < .85 and b - a > 800:
            pitch[a:b] = base + 12 * (line // len(scale)) + scale[line % len(scale)]
            r = min(int(rng.uniform(.02, .12) * SR), (b - a) // 2)
            amp[a:b] = 1
            amp[a:a + r] = np.linspace(0, 1, r)
            amp[b - r:b] = np.linspace(1, 0, r)
        t += d
    hold = np.maximum.accumulate(np.where(pitch > 0, np.arange(n), 0))
    pitch = pitch[hold]
    pitch[pitch == 0] = base
    pitch = ss.lfilter([.002], [1, -.998], pitch - pitch[0]) + pitch[0]
    vib = rng.uniform(0, .5) * np.sin(2 * np.pi * np.cumsum(rng.uniform(4.5, 6.5) + .3 * rng.standard_normal(n // 2048 + 1).repeat(2048)[:n]) / SR)
    phase = np.cumsum(440 * 2 ** ((pitch + vib - 69) / 12)) / SR
    x = np.diff(np.floor(phase), prepend=0) + .02 * rng.uniform(.2, 3) * rng.standard_normal(n)
    x = ss.lfilter([1], [1, -rng.uniform(.6, .95)], x)
    y = np.zeros(n)
    size = rng.uniform(.85, 1.2)
    step = int(rng.uniform(.15, .5) * SR)
    for a in range(0, n, step):
        seg = x[max(0, a - 400):a + step + 400]
        f = np.array([(730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480), (570, 840, 2410)][rng.integers(5)]) * size
        z = sum(ss.lfilter(*ss.iirpeak(min(h, 9000), 8, fs=SR), seg) * g for h, g in zip(f, (1, .6, .3)))
        w = np.ones(len(seg))
        w[:400] = np.linspace(0, 1, 400) if a else 1
        y[max(0, a - 400):max(0, a - 400) + len(seg)] += z * w
    return y * amp / (np.abs(y).max() + 1e-9)


def applause(rng, secs):
    n = int(secs * SR)
    y = np.zeros(n)
    people, rate = rng.integers(1, 60), rng.uniform(3, 6)
    for _ in range(people):
        t, m = rng.uniform(0, 1), int(.03 * SR)
        lo = rooms.logu(rng, 500, 2500)
        clap = ss.sosfilt(ss.butter(2, [lo, lo * 2], "band", fs=SR, output="sos"), rng.standard_normal(m)) * np.exp(-np.arange(m) / SR / rng.uniform(.002, .01))
        clap *= rng.uniform(.1, 1)
        while t < secs - .05:
            a = int(t * SR)
            y[a:a + m] += clap * rng.uniform(.5, 1)
            t += max(.08, (1 + .15 * rng.standard_normal()) / rate)
    return y


def hush(rng, secs):
    """no music: wind, traffic, steps, a hum, clicks, whistling machines"""
    n = int(secs * SR)
    y = rooms.noise(rng, n) * rng.uniform(.1, 1)
    kind = rng.random()
    if kind < .3:
        y += 3 * rooms.hum(rng, n) * rng.uniform(.1, 1)
    elif kind < .6:
        y += 8 * rooms.breath(rng, n)
    elif kind < .8:
        t, gap = 0.0, rooms.logu(rng, .08, 1)
        while t < secs - .3:
            z = rooms.thump(rng) * rng.uniform(1, 15)
            y[int(t * SR):int(t * SR) + len(z)] += z
            t += gap * np.exp(.3 * rng.standard_normal())
    else:
        f = rooms.logu(rng, 100, 3000) * np.exp(np.cumsum(rng.standard_normal(n // 4096 + 1)) * .03).repeat(4096)[:n]
        y += 4 * np.sin(2 * np.pi * np.cumsum(f) / SR) * (rng.random() + .2)
    return y


def scene(rng, table, guitar):
    """-> sound (peak about 1, not yet recorded), class; `guitar(seed)` renders a performance of one guitar"""
    secs = rng.uniform(10, 18)
    root, scale, beat = int(rng.integers(0, 12)), SCALES[rng.integers(len(SCALES))], 60 / rng.uniform(60, 170)
    unit = lambda x: x / (np.sqrt(np.mean(x ** 2)) + 1e-9)
    programs = lambda which: [table["gm%d" % p] for p in which if "gm%d" % p in table]
    pick = lambda which: (lambda c: c[rng.integers(len(c))])(programs(which))
    kit = lambda: table[(lambda c: c[rng.integers(len(c))])([k for k in table if k.startswith("drum")])]
    style = lambda *s: s[rng.integers(len(s))]
    play = lambda which, low, high, s: unit(part(rng, pick(which), secs, low, high, s, root, scale, beat))
    db = lambda low, high: 10 ** (rng.uniform(low, high) / 20)
    what = rng.choice(["piano", "two hands", "band", "voice", "voice and guitar", "speech", "speech and guitar", "drums", "noise", "applause", "instrument",
                       "choir", "guitar and another", "plucked", "ukulele"],
                      p=[.11, .12, .12, .05, .08, .04, .05, .05, .05, .03, .09, .03, .05, .10, .03])
    if what == "piano":
        x, c = play(PIANO, 48, 84, style("chords", "arpeggio", "line")), 2
    elif what == "two hands":
        which = [p for p in (0, 1, 2, 3, 4, 5, 6, 7, 11, 12) if "gm%d" % p in table]
        one = table["gm%d" % which[rng.integers(len(which))]]
        x = unit(part(rng, one, secs, 36, 60, style("bass", "arpeggio", "chords"), root, scale, beat)) * db(-8, 2)
        x, c = x + unit(part(rng, one, secs, 60, 84, style("line", "chords", "arpeggio"), root, scale, beat)), 2
    elif what == "band":
        x = play(BASS, 30, 50, "bass") * db(-6, 2) + unit(drums(rng, kit(), secs, beat)) * db(-8, 4)
        for _ in range(rng.integers(1, 4)):
            x = x + play((*PIANO, *ORGAN, *BOWED, *BRASS, *REEDS, *SYNTH), 48, 84, style("chords", "line", "arpeggio")) * db(-10, 0)
        if rng.random() < .5:
            g = guitar(int(rng.integers(1 << 30)))
            x[:len(g)] += unit(g)[:len(x)] * db(-12, 0) if len(g) >= len(x) else np.pad(unit(g), (0, 0))
        if rng.random() < .4:
            x = x + unit(sung(rng, secs, root, scale, beat)) * db(-6, 4)
        c = 2
    elif what in ("voice", "choir"):
        x = unit(sung(rng, secs, root, scale, beat)) if what == "voice" else play(VOICES, 48, 80, style("chords", "line"))
        x, c = x + (play((*PIANO, *ORGAN, *BOWED), 48, 78, "chords") * db(-20, -4) if rng.random() < .4 else 0), 2
    elif what in ("voice and guitar", "speech and guitar", "guitar and another"):
        g = guitar(int(rng.integers(1 << 30)))
        secs = min(secs, len(g) / SR)
        n = int(secs * SR)
        g = unit(g[:n])
        if what == "voice and guitar":
            o = unit(sung(rng, secs, root, scale, beat)) * db(-6, 8)
        elif what == "speech and guitar":
            o = unit(speech(rng, table["speech"], secs)) * db(-4, 8)
        else:
            o = unit(drums(rng, kit(), secs, beat)) if rng.random() < .4 else play((*BASS, *BOWED, *REEDS, *PIANO), 36, 80, style("bass", "line", "chords"))
            o = o[:n] * db(-6, 6)
        m = min(len(g), len(o))
        x, c = g[:m] + o[:m], 1
    elif what == "speech":
        x, c = speech(rng, table["speech"], secs), 2
    elif what == "drums":
        x, c = drums(rng, kit(), secs, beat), 2
    elif what == "noise":
        x, c = hush(rng, secs), 2
    elif what == "applause":
        x, c = applause(rng, secs), 2
    elif what == "instrument":
        x, c = play((*BELLS, *ORGAN, *BASS, *BOWED, *BRASS, *REEDS, *SYNTH), 40, 84, style("chords", "line", "arpeggio")), 2
        if rng.random() < .5:
            x = x + play((*ORGAN, *BOWED, *BRASS, *REEDS, *SYNTH), 40, 80, style("chords", "line")) * db(-10, 0)
    elif what == "ukulele":
        own = [k for k in ("24", "t24", "spanish") if k in table]
        x, c = part(rng, table[own[rng.integers(len(own))]], secs, 60, 81, style("chords", "arpeggio", "line"), root, scale, beat), 1
    else:
        x, c = play(PLUCKED, 50, 84, style("line", "arpeggio", "chords")), 1
    return x / (np.abs(x).max() + 1e-9), c, what
