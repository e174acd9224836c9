"""Music that somebody played, with beats that somebody marked, set for one guitar.

A collection is an .npz of any such music: `notes` (time s, pitch, level dB, part: 0 a line, 1 its accompaniment),
`beats` (time s, place in the bar from 0, meter, an index of METERS), `pieces` (first note, end, first beat, end,
kind: 0 line and accompaniment, 1 a line alone) and `kept` (kept out of training).  Times stay as they were
played, but for a change of tempo as a whole.
"""
import numpy as np
from styles import pick

TOGETHER = .035            # notes this close are one attack (s)
LOWEST, HIGHEST = 40, 84


class Collection:
    def __init__(self, path, kept):
        all = np.load(path)
        self.notes, self.beats = all["notes"].astype(float), all["beats"].astype(float)
        self.pieces = all["pieces"][all["kept"].astype(bool) == kept]

    def piece(self, rng, line):
        """Part of a piece as `perform.play` would give it: a dict with `played` (time, pitch, hand, level, stroke) and
        `grid` (time, place, meter)."""
        kinds = self.pieces[:, 4] == int(line)
        a, b, c, d, kind = self.pieces[rng.choice(np.flatnonzero(kinds))]
        notes, beats = self.notes[a:b], self.beats[c:d]
        beat = float(np.median(np.diff(beats[:, 0])))
        own = 60 / beat
        bpm = float(np.clip(own * np.exp(rng.normal(-.1, .3)), 70, 230)) if line else float(np.clip(own * np.exp(rng.normal(0, .2)), 46, 190))
        long = rng.uniform(30, 75) * bpm / own
        start = rng.uniform(beats[0, 0] - 1, max(beats[0, 0], notes[-1, 0] - .6 * long))
        notes = notes[(notes[:, 0] >= start) & (notes[:, 0] < start + long)]
        if len(notes) < 24:
            return None
        way = "line" if line else pick(rng, ["line", "comp", "both", "strum", "sung", "thin"], [1.2, 2, 1.2, 3.5, 1.2, 1.5])
        rows = set_for_guitar(rng, notes, beats, way)
        if rows is None or len(rows) < 20:
            return None
        first, last = rows[:, 0].min(), rows[:, 0].max()
        beats = beats[(beats[:, 0] > first - .08) & (beats[:, 0] < last + beat)].copy()
        if len(beats) < 12:
            return None
        scale = own / bpm
        zero = min(first, beats[0, 0])
        rows[:, 0] = (rows[:, 0] - zero) * scale
        beats[:, 0] = (beats[:, 0] - zero) * scale
        return dict(played=rows, grid=beats, beats=len(beats), bpm=bpm, notes=rows)


def attacks(notes):
    """Indices of notes that sound together."""
    gaps = np.flatnonzero(np.diff(notes[:, 0]) > TOGETHER) + 1
    return np.split(np.arange(len(notes)), gaps)


def folded(p, low=LOWEST, high=HIGHEST):
    while p < low:
        p += 12
    while p > high:
        p -= 12
    return p


def set_for_guitar(rng, notes, beats, way):
    """(time, pitch, hand, level, stroke) of one guitar that plays these parts."""
    shift = int(rng.integers(-6, 7))
    line, comp = notes[notes[:, 3] == 0], notes[notes[:, 3] == 1]
    out = []
    if way in ("line", "both", "sung") and len(line):
        mean = line[:, 1].mean()
        down = 12 * round((mean - rng.uniform(60, 68)) / 12)
        top = .0 if way == "line" else 2.0
        twos = way == "line" and rng.random() < .15
        for t, p, level, _ in line:
            p = folded(p - down + shift, 40 if way == "line" else 55)
            out.append((t, p, 1 if p >= 52 else 0, level + top, -1))
            if twos and rng.random() < .3:
                out.append((t, p - int(pick(rng, [3, 4, 5, 7])), 1, level, -1))
    if way != "line" and len(comp):
        drop = rng.uniform(0, .25) if way == "thin" else 0
        for k, inside in enumerate(attacks(comp)):
            if rng.random() < drop:
                continue
            own = comp[inside]
            t, level = own[0, 0], own[:, 2].max()
            pitches = sorted({int(folded(p + shift)) for p in own[:, 1]})
            if way in ("strum", "sung") and (len(own) >= 3 or rng.random() < .25):
                out += struck(rng, comp, inside, beats, t, level, shift, k)
                continue
            most = int(rng.integers(2, 5)) if way in ("both", "thin") else 6
            if len(pitches) > most:
                pitches = pitches[:1] + pitches[1 - most:] if most > 1 else pitches[:1]
            for i, p in enumerate(pitches):
                low = i == 0 and p < 55 and (len(pitches) > 1 or p < 50)
                out.append((t, p, 0 if low else 1, level, 10 ** 6 + k if len(pitches) > 2 else -1))
    return np.array(sorted(out), float) if out else None


def struck(rng, comp, inside, beats, t, level, shift, k):
    """One stroke over a grip of the harmony around an attack."""
    near = comp[(comp[:, 0] >= t - .02) & (comp[:, 0] < t + .3)]
    classes = {int(p + shift) % 12 for p in comp[inside, 1]} | {int(p + shift) % 12 for p in near[: 4, 1]}
    bass = int(folded(comp[inside, 1].min() + shift))
    while bass > 51:
        bass -= 12
    bass = bass + 12 if bass < LOWEST else bass
    grip, p = [bass], bass + int(rng.integers(4, 8))
    while len(grip) < 6 and p < 78:
        if p % 12 in classes:
            grip.append(p)
            p += int(rng.integers(3, 6))
        else:
            p += 1
    place = np.searchsorted(beats[:, 0], t + .03) - 1
    share = 0.0
    if 0 <= place < len(beats) - 1:
        share = (t - beats[place, 0]) / (beats[place + 1, 0] - beats[place, 0])
    up = abs((share * 2 + .5) % 1 - .5) < .15 and round(share * 2) % 2 == 1 and rng.random() < .7
    if up or (len(inside) < 4 and rng.random() < .5):
        grip = grip[int(rng.integers(1, 3)):]
    stroke = 10 ** 6 + k
    return [(t, p, 0 if p < 52 else 1, level, -2 - stroke if up else stroke) for p in grip]
