"""Notes → frames, the same numbers as `src/analysis/beat/beat_net/frames.rs`, and beats → targets."""
import numpy as np

RATE = 50                     # frames a second
BINS = 10                     # pitch bins, a major third each from E2 on
WINDOWS = (.5, 1.0, 2.0)      # seconds on either side in which harmonies are compared
TOGETHER = .035               # notes that follow each other this closely are one attack (s)
SPREAD = 3.5                  # most that levels may spread, dB (SD)
BEFORE, AFTER = 1.0, .25      # seconds of harmony before an attack and from it on that are compared
ATTACKS = 4 + BINS + 12 + 1 + len(WINDOWS)
FEATURES = ATTACKS + 4
TEMPI = 24                    # classes of the beat's length, from 0.25 s in steps of an eighth of an octave
SLOWEST, FASTEST = 1.9, 0.25


def features(notes, start, frames):
    """(frames, FEATURES) of rows (time, pitch, low, certainty, level); frame k is at start + k / RATE."""
    x = np.zeros((frames + 1, FEATURES), np.float32)
    if len(notes) == 0:
        return x[:frames]
    t, pitch, low, w, level = notes.T
    median = np.sort(level)[len(level) // 2]
    tonic = np.zeros(12)
    cls = pitch.round().astype(int) % 12
    np.add.at(tonic, cls, w * (1 + low))
    turn = (cls - int(np.argmax(tonic))) % 12
    place = (t - start) * RATE
    at = np.floor(place).astype(int)
    share = place - at
    ok = (at >= 0) & (at < frames)
    bins = np.clip((pitch - 40) / 4, 0, BINS - 1.001)
    b = bins.astype(int)
    loud = np.clip((level - median) * SPREAD / max(np.std(level), SPREAD) / 10, -2, 2)
    # Does the thumb move to another pitch class than it had?
    moved = np.zeros(len(t))
    last = -1
    for i in np.flatnonzero(low > .5):
        moved[i] = 1.0 if cls[i] != last else 0.0
        last = cls[i]
    for off, part in ((0, 1 - share), (1, share)):
        i = (at + off)[ok]
        v = (w * part)[ok]
        np.add.at(x[:, 0], i, v * low[ok])
        np.add.at(x[:, 1], i, v * (1 - low[ok]))
        np.add.at(x[:, 2], i, v * loud[ok])
        np.add.at(x[:, 3], i, v)
        np.add.at(x, (i, 4 + b[ok]), v * (1 - (bins - b)[ok]))
        np.add.at(x, (i, 5 + b[ok]), v * (bins - b)[ok])
        np.add.at(x, (i, 4 + BINS + turn[ok]), v)
        np.add.at(x[:, 4 + BINS + 12], i, v * moved[ok] * low[ok])
    x = x[:frames]
    chroma = x[:, 4 + BINS: 4 + BINS + 12]
    total = np.concatenate([np.zeros((1, 12)), np.cumsum(chroma, 0, dtype=np.float64)])
    for k, seconds in enumerate(WINDOWS):
        n = int(seconds * RATE)
        i = np.arange(frames)
        before = total[i] - total[np.maximum(i - n, 0)]
        after = total[np.minimum(i + n, frames)] - total[i]
        norm = np.sqrt((before ** 2).sum(1) * (after ** 2).sum(1))
        x[:, 4 + BINS + 13 + k] = np.where(norm > 1e-6, 1 - (before * after).sum(1) / np.maximum(norm, 1e-6), 0)
    for k, value in enumerate(attacks(t, low, w, cls)):
        starts, v = value
        place = (starts - start) * RATE
        at = np.floor(place).astype(int)
        share = place - at
        for off, part in ((0, 1 - share), (1, share)):
            ok = (at + off >= 0) & (at + off < frames)
            np.add.at(x[:, ATTACKS + k], (at + off)[ok], (part * v)[ok])
    x[:, :2] = np.minimum(x[:, :2], 2)
    x[:, 2] = np.clip(x[:, 2], -3, 3)
    x[:, 3] = np.log1p(x[:, 3])
    x[:, 4:4 + BINS + 12] = np.minimum(x[:, 4:4 + BINS + 12], 2)
    return x


def attacks(t, low, w, cls):
    """Of every attack, at the instant of its first note: how many notes it has (in threes), how long until the next, how
    long of a low one until the next low one (octaves from the median), how much its harmony is another than before."""
    first = np.flatnonzero(np.diff(t, prepend=-np.inf) > TOGETHER)
    of = np.cumsum(np.diff(t, prepend=-np.inf) > TOGETHER) - 1
    starts = t[first]
    size = np.minimum(np.bincount(of, w, len(first)) / 3, 2)

    def wait(at):
        if len(at) < 2:
            return np.zeros(len(at))
        gaps = np.diff(at)
        middle = np.sort(gaps)[len(gaps) // 2]
        return np.append(np.clip(np.log2(gaps / middle), -2, 3), 3.0)
    own = np.bincount(of, (low > .5) * w, len(first)) > 0
    total = np.zeros((len(t) + 1, 12))
    total[np.arange(1, len(t) + 1), cls] = w
    total = total.cumsum(0)
    before = total[first] - total[np.searchsorted(t, starts - BEFORE)]
    after = total[np.searchsorted(t, starts + AFTER)] - total[first]
    norm = np.sqrt((before ** 2).sum(1) * (after ** 2).sum(1))
    other = np.where(norm > 1e-6, 1 - (before * after).sum(1) / np.maximum(norm, 1e-6), 0)
    return (starts, size), (starts, wait(starts)), (starts[own], wait(starts[own])), (starts, other)


def tempo_class(beat):
    return np.clip(np.round(np.log2(beat / FASTEST) * 8), 0, TEMPI - 1).astype(int)


def targets(beats, pulse, start, frames):
    """Per frame: beat, downbeat (0 to 1, triangles 40 ms wide at the foot), tempo class, meter class (-1: none)."""
    beat = np.zeros(frames, np.float32)
    down = np.zeros(frames, np.float32)
    tempo = np.full(frames, -1, np.int64)
    meter = np.full(frames, -1, np.int64)
    inside = np.zeros(frames, bool)
    for a, b in pulse:
        i, j = int(max(0, np.ceil((a - start) * RATE))), int(min(frames, np.floor((b - start) * RATE) + 1))
        if j > i:
            inside[i:j] = True
    place = (beats[:, 0] - start) * RATE
    for p, where in zip(place, beats[:, 1]):
        c = int(np.floor(p))
        for i in (c - 1, c, c + 1, c + 2):
            if 0 <= i < frames:
                v = max(0.0, 1 - abs(i - p) / 2)
                beat[i] = max(beat[i], v)
                if where == 0:
                    down[i] = max(down[i], v)
    long = np.diff(beats[:, 0])
    for k in range(len(long)):
        if not .2 < long[k] < 2.4:
            continue
        near = np.median(long[max(0, k - 2):k + 3])
        i, j = max(0, int(place[k])), min(frames, int(place[k + 1]))
        if j > i:
            tempo[i:j] = tempo_class(near)
            meter[i:j] = int(beats[k, 2])
    tempo[~inside] = -1
    meter[~inside] = -1
    return beat, down, tempo, meter
