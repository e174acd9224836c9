"""Invented music for the beat network: notes on beats, before anybody plays them.

A piece is a dict: `meter` (one of METERS), `beats` (how many), `first` (index of the first downbeat),
`notes`: rows of (beat, pitch, hand, loudness 0 to 1, stroke), hand 0 the thumb or low strings, 1 the
fingers; notes of one stroke (a number) are strummed or pinched together, -1 stands alone.
`bpm` is the tempo of the beat; `swing` the place of the off-beat eighth (0.5 straight), `fine` that of
the off-beat sixteenth within its eighth; `click` says that it is played to one.
"""
import numpy as np

METERS = ["2/4", "3/4", "4/4", "5/4", "7/4", "6/8", "9/8", "12/8"]
BEATS = dict(zip(METERS, [2, 3, 4, 5, 7, 2, 3, 4]))
COMPOUND = {"6/8", "9/8", "12/8"}
SHAPES = dict(maj=(0, 4, 7), min=(0, 3, 7), dom=(0, 4, 7, 10), maj7=(0, 4, 7, 11), min7=(0, 3, 7, 10), sus=(0, 5, 7), power=(0, 7))
SCALE = (0, 2, 4, 5, 7, 9, 11)


def pick(rng, options, weights=None):
    w = None if weights is None else np.asarray(weights, float) / np.sum(weights)
    return options[int(rng.choice(len(options), p=w))]


def tempo(rng, middle, spread, low, high):
    return float(np.clip(np.exp(rng.normal(np.log(middle), spread)), low, high))


def progression(rng, bars, sevenths=False, key=None):
    """A chord (root pitch class, shape) for each bar, in a form that repeats; key's pitch class."""
    key = int(rng.integers(12)) if key is None else key
    minor = rng.random() < .35
    common = [0, 3, 4, 5, 1, 2, 6] if not minor else [0, 3, 4, 5, 6, 2, 1]
    weights = [4, 3, 3, 2, 1.5, .7, .3]
    length = int(pick(rng, [2, 4, 8, 12, 16, 1], [1, 5, 6, 1.5, 2, .4]))
    form = []
    for i in range(length):
        if i and rng.random() < .22:
            form.append(form[-1])
            continue
        d = 0 if (i == 0 and rng.random() < .7) else pick(rng, common, weights)
        root = (key + (SCALE[d] if not minor else (0, 2, 3, 5, 7, 8, 10)[d])) % 12
        third = (SCALE[(d + 2) % 7] - SCALE[d]) % 12 if not minor else ((0, 2, 3, 5, 7, 8, 10)[(d + 2) % 7] - (0, 2, 3, 5, 7, 8, 10)[d]) % 12
        shape = "maj" if third == 4 else "min"
        if sevenths and rng.random() < .7:
            shape = {"maj": pick(rng, ["maj7", "dom"]), "min": "min7"}[shape]
        elif rng.random() < .08:
            shape = pick(rng, ["dom", "sus"])
        form.append((root, shape))
    out = [form[i % length] for i in range(bars)]
    if bars > 8 and rng.random() < .4:      # another part
        other = [form[i] for i in rng.permutation(length)]
        for i in range(bars):
            if (i // max(4, length)) % 2:
                out[i] = other[i % length]
    return out, key


def voicing(rng, chord, low=40, strings=6):
    """Pitches of a grip, low to high."""
    root, shape = chord
    bass = low + (root - low) % 12
    if bass > 52 and rng.random() < .5:
        bass -= 0
    tones = [(root + t) % 12 for t in SHAPES[shape]]
    pitches = [bass]
    p = bass + int(pick(rng, [4, 5, 6, 7]))
    while len(pitches) < strings and p < 80:
        if p % 12 in tones:
            pitches.append(p)
            p += int(pick(rng, [3, 4, 5]))
        else:
            p += 1
    return pitches


def fit_rate(notes, beats, bpm, low=0.0, high=9.5):
    """A tempo at which the piece has a playable number of attacks a second."""
    if len(notes) == 0:
        return bpm
    attacks = len({round(n[0] * 24) for n in notes}) / max(1, beats)
    rate = attacks * bpm / 60
    if rate > high:
        bpm *= high / rate
    if 0 < rate < low:
        bpm *= low / rate
    return float(np.clip(bpm, 36, 240))


# ---- strummed and comped accompaniments ------------------------------------------------------

def strummed(rng):
    style = pick(rng, ["folk", "rock", "funk", "bossa", "jazz", "four", "ballad", "shuffle", "waltz", "arp", "after", "pushed", "off"],
                 [3, 3, 2.5, 4, 4.5, 1.5, 2, 3, 1.6, 2, 2.4, 2.5, 5])
    meter = "4/4"
    swing, fine, sub = .5, .5, 2
    sevenths = style in ("bossa", "jazz", "four", "funk", "off")
    if style == "folk":
        bpm, sub = tempo(rng, 105, .25, 60, 190), int(pick(rng, [2, 4], [3, 1]))
    elif style == "rock":
        bpm, sub = tempo(rng, 120, .22, 75, 190), int(pick(rng, [2, 4], [4, 1]))
    elif style == "funk":
        bpm, sub, fine = tempo(rng, 104, .13, 78, 135), 4, float(pick(rng, [.5, .56, .6], [3, 1, .5]))
    elif style == "bossa":
        bpm, sub = tempo(rng, 136, .17, 90, 190), 2
        if rng.random() < .15:
            bpm, sub = bpm / 2, 4
    elif style in ("jazz", "four"):
        bpm = tempo(rng, 140, .27, 75, 230)
        swing = float(np.clip(.5 + (0.18 if bpm < 170 else .1) * rng.uniform(.3, 1.05), .5, .69))
    elif style == "ballad":
        bpm, sub = tempo(rng, 74, .17, 50, 108), int(pick(rng, [2, 4, 3], [1, 3, 1]))
    elif style == "shuffle":
        bpm, sub, swing = tempo(rng, 88, .28, 50, 170), int(pick(rng, [2, 3], [2, 2])), float(rng.uniform(.6, .69))
        if sub == 3 and bpm < 80 and rng.random() < .35:
            meter = "12/8"
    elif style == "pushed":         # chords an eighth or a sixteenth early as often as not
        bpm, sub = tempo(rng, 112, .22, 70, 170), int(pick(rng, [2, 4], [3, 2]))
        swing = float(rng.uniform(.55, .67)) if rng.random() < .15 else .5
    elif style == "off":            # a bass on beats, chords mostly between them
        bpm, sub = tempo(rng, 128, .24, 70, 200), 2
        swing = float(rng.uniform(.55, .67)) if rng.random() < .15 else .5
        if rng.random() < .15:
            bpm, sub = bpm / 1.7, 4
    elif style == "after":          # chords after the beat
        bpm, sub = tempo(rng, 122, .25, 65, 200), int(pick(rng, [2, 4], [4, 1]))
        swing = float(rng.uniform(.55, .67)) if rng.random() < .25 else .5
    elif style == "waltz":
        bpm, meter = tempo(rng, 118, .28, 66, 190), "3/4"
        sub = 2
    else:
        bpm, sub = tempo(rng, 96, .25, 55, 160), int(pick(rng, [2, 4, 3], [3, 2, 1]))
    if style in ("folk", "rock", "ballad", "arp") and rng.random() < .22:
        meter, extra = pick(rng, [("3/4", sub), ("6/8", 3), ("5/4", sub), ("2/4", sub), ("7/4", sub)], [4, 4, .8, .8, .3])
        sub = extra
        if meter == "6/8":
            bpm = tempo(rng, 62, .25, 38, 110)
    per = BEATS[meter]
    bars = int(np.clip(rng.integers(6, 40), 6, int(70 * bpm / 60 / per) + 4))
    chords, _ = progression(rng, bars, sevenths)
    half = rng.random() < (.3 if style in ("jazz", "bossa", "four") else .1)
    slots = per * sub
    span = int(pick(rng, [1, 2], [3, 2])) if style != "bossa" else 2
    pattern = _pattern(rng, style, meter, per, sub, span)
    # Some keep to a pattern, others play what comes to mind.
    free = style in ("jazz", "bossa", "pushed", "rock", "funk", "off") and rng.random() < (.75 if style == "off" else .45)
    if free:
        pattern += [lay for _ in range(int(rng.integers(1, 4))) for lay in _pattern(rng, style, meter, per, sub, span)]
    loose = rng.uniform(.3, 1) if free else 0.0
    push = float(pick(rng, [0, .15, .5, .9], [4, 2, 2, 1])) if style not in ("waltz", "four") else 0.0
    if style == "pushed":
        push = float(rng.uniform(.4, 1))
    elif style == "off":
        push = float(pick(rng, [0, .3, .8], [2, 1, 1]))
    # Where the thumb plays that is not simply on beats: an eighth ahead, or on every eighth.
    thumbs = None
    if sub == 2 and meter == "4/4" and style in ("bossa", "rock", "folk", "after", "jazz", "pushed", "off") and rng.random() < (.15 if style == "off" else .3):
        thumbs = set(pick(rng, [(0, 3, 4, 7), (0, 3, 4), (0, 4, 7), (0, 2, 4, 6, 7), (0, 1, 2, 3, 4, 5, 6, 7), (0, 3, 6), (0, 2, 3, 6)], [3, 2, 1.5, 1, 2, 1.2, 1]))
    walks = style in ("jazz", "four") and rng.random() < .25
    bass = float({"bossa": .95, "folk": .5, "rock": .25, "funk": .1, "jazz": .25, "four": .3, "ballad": .6, "shuffle": .5, "waltz": .95, "arp": .9, "after": .85, "pushed": .45, "off": rng.uniform(.4, .95)}[style])
    every = style == "after" or (style == "off" and rng.random() < .5) or (style in ("bossa", "shuffle", "ballad", "folk") and rng.random() < .4)
    swung_bass = float(rng.uniform(.3, .8)) if style == "shuffle" and rng.random() < .5 else (.35 if rng.random() < .15 else 0.0)
    alternating = rng.random() < .5
    mute = {"funk": .45, "rock": .15, "folk": .08}.get(style, .04)
    variation = rng.uniform(.02, .2)
    notes, stroke, ahead = [], 0, False
    grip, last = None, None
    for bar in range(bars):
        lay = pattern[int(rng.integers(len(pattern))) if rng.random() < loose else bar % span].copy()
        flip = rng.random(slots) < variation
        lay[flip] = rng.random(int(flip.sum())) * (rng.random(int(flip.sum())) < .5)
        if rng.random() < .04:
            lay[:] = 0
            lay[0] = 1
        if rng.random() < .06:        # a fill or a rest at the end
            lay[slots // 2:] = rng.random(slots - slots // 2) * (rng.random(slots - slots // 2) < rng.choice([.2, .8]))
        for s in range(slots):
            beat = bar * per + s / sub
            here = chords[bar]
            if half and s >= slots // 2 and per == 4:
                here = chords[(bar + 1) % bars] if bar % 2 else here
            if s == slots - 1 and rng.random() < push:
                here = chords[(bar + 1) % bars]
                if lay[s] == 0:
                    lay[s] = .9
                if rng.random() < .6:              # it rings over the beat
                    ahead = True
            elif s == 0 and ahead:
                lay[s], ahead = 0, False
            if half and per == 4 and s == slots // 2 - 1 and bar % 2 and rng.random() < push:
                here = chords[(bar + 1) % bars]
                lay[s] = max(lay[s], .85)
                lay[s + 1] = 0 if rng.random() < .6 else lay[s + 1]
            if here != last:
                grip, last = voicing(rng, here, strings=int(rng.integers(4, 7)) if style not in ("jazz", "bossa", "four") else int(rng.integers(4, 6))), here
            onbeat = s % sub == 0
            b = s // sub
            thumb = False
            if walks:
                thumb = onbeat
            elif thumbs is not None:
                thumb = s in thumbs and rng.random() < .93
            elif onbeat and rng.random() < bass:
                if meter in ("3/4", "6/8", "9/8") or style in ("waltz",):
                    thumb = b == 0 or (per > 3 and b % 3 == 0) or rng.random() < .05
                elif style == "arp":
                    thumb = b in (0, per // 2) or rng.random() < .15
                elif every:
                    thumb = True
                else:
                    thumb = b % 2 == 0 or (style in ("jazz", "four") and rng.random() < .4)
            if thumb:
                p = grip[0]
                if walks and b:
                    p = int(np.clip(grip[0] + pick(rng, [-2, -1, 2, 3, 4, 5, 7]), 40, 57))
                elif alternating and b % 2 == 0 and b and len(grip) > 1:
                    p = grip[1] if grip[1] < 57 else grip[0] + 7 - (12 if grip[0] > 47 else 0)
                notes.append((beat, p, 0, float(rng.uniform(.55, .95)), -1))
                if style == "bossa" and rng.random() < .35 and s + 1 < slots:
                    notes.append((beat + per / 2 - 1 / sub if b == 0 else beat, p, 0, .5, -1))
            if swung_bass and s % sub == sub - 1 and rng.random() < swung_bass:
                notes.append((beat, grip[0], 0, float(rng.uniform(.4, .8)), -1))
            if lay[s] > 0:
                if style == "arp" and rng.random() < .9:
                    p = grip[1 + (s * 7 // max(1, sub) + s) % max(1, len(grip) - 1)] if len(grip) > 1 else grip[0]
                    notes.append((beat, p, 1, float(.4 + .4 * lay[s]), -1))
                    continue
                down = (s % 2 == 0)
                stroke += 1
                dead = rng.random() < mute and not onbeat
                loud = lay[s] * rng.uniform(.75, 1.0) * (.6 if dead else 1)
                k = len(grip)
                if rng.random() < .5 or not down:
                    k = int(rng.integers(2, k + 1))
                chosen = grip[-k:] if (not down or thumb or rng.random() < .5) else grip[:k]
                if thumb or style == "bossa" or (style == "off" and rng.random() < .8):
                    chosen = grip[1:]
                for p in chosen:
                    notes.append((beat, p, 0 if p < 52 else 1, float(loud), stroke if down else -2 - stroke))
    return dict(meter=meter, beats=bars * per, first=0, notes=notes, bpm=fit_rate(notes, bars * per, bpm, .8), swing=swing, fine=fine,
                click=rng.random() < .6, third=sub == 3)


def _pattern(rng, style, meter, per, sub, span):
    """Loudness of each slot's stroke (0 none) for one or two bars."""
    slots = per * sub
    out = []
    for k in range(span):
        lay = np.zeros(slots)
        if style in ("folk", "rock", "ballad", "shuffle"):
            chance = {"folk": .55, "rock": .65, "ballad": .45, "shuffle": .6}[style]
            for s in range(slots):
                on = s % sub == 0
                lay[s] = (.6 + .4 * rng.random()) * (rng.random() < (chance + .3 if on else chance - (.15 if sub == 4 and s % 2 else 0)))
            if style in ("shuffle", "ballad") and rng.random() < .45:
                lay[:] = 0
                lay[::sub] = rng.random(per) < .85
                lay[sub - 1::sub] = rng.random(per) < .35
            back = rng.random() < .5
            if per == 4 and back:
                for b in (1, 3):
                    lay[b * sub] = 1.0
            if rng.random() < .7:
                lay[0] = max(lay[0], .9)
        elif style == "funk":
            lay = (rng.random(slots) < rng.uniform(.3, .7)) * rng.uniform(.4, 1, slots)
            if rng.random() < .7:
                lay[0] = 1
            if rng.random() < .4:
                lay[[4, 12]] = 1
        elif style == "bossa":
            # Two bars of syncopated chords against a steady thumb.
            forms = [[0, 3, 6, 10, 13] , [0, 3, 6, 9, 12], [0, 2, 5, 7, 10, 13], [0, 3, 7, 10, 14], [2, 5, 8, 11, 14], [1, 4, 7, 10, 12]]
            form = np.array(pick(rng, forms))
            full = np.zeros(16)
            full[form] = rng.uniform(.6, 1, len(form))
            noise = rng.random(16) < .1
            full[noise] = 1 - (full[noise] > 0)
            if sub == 4:
                lay = full
            else:
                lay = full[8 * k: 8 * k + 8]
        elif style == "jazz":
            form = pick(rng, [[2, 6], [0, 3], [3, 7], [0, 5], [1, 4], [0, 3, 6], [3, 6], [5], [0], [0, 4], [7], [1, 3], [3], [0, 3, 7], [4, 7], [2, 5], [1, 4, 7]])
            lay[[f for f in form if f < slots]] = rng.uniform(.6, 1)
            lay[rng.random(slots) < .1] = .7
        elif style == "off":
            on = np.arange(slots) % sub == 0
            middle = np.arange(slots) % sub == sub // 2
            chance = np.where(on, rng.uniform(.05, .5), np.where(middle, rng.uniform(.45, .95), rng.uniform(0, .3)))
            lay = (rng.random(slots) < chance) * rng.uniform(.5, 1, slots)
        elif style == "pushed":
            form = pick(rng, [[0, 3, 4, 7], [0, 3, 6], [0, 2, 3, 5, 7], [0, 2, 3, 6, 7], [0, 3], [1, 3, 5, 7], [0, 1, 3, 4, 6, 7], [2, 3, 6, 7], [0, 3, 5, 6]])
            step = max(1, slots // (8 if per == 4 else slots))
            if sub == 4 and rng.random() < .6:     # the same in sixteenths, twice a bar
                step = 1
                form = form + [f + 8 for f in form]
            lay[[f * step for f in form if f * step < slots]] = rng.uniform(.6, 1)
            if rng.random() < .5:
                fill = (rng.random(slots) < .35) & (lay == 0)
                lay[fill] = rng.uniform(.35, .6, int(fill.sum()))
        elif style == "after":
            lay[sub // 2::sub] = (rng.random(per) < rng.uniform(.6, 1)) * .9
            lay[rng.random(slots) < .08] = .7
            if rng.random() < .5:
                lay[0] = .9
        elif style == "four":
            lay[::sub] = .7
            if per == 4 and rng.random() < .6:
                lay[[sub, 3 * sub]] = 1.0
        elif style == "waltz":
            lay[[sub, 2 * sub]] = .8
            if rng.random() < .3:
                lay[rng.integers(slots)] = .6
            if rng.random() < .25:
                lay[:] = (rng.random(slots) < .6) * .7
                lay[0] = 1
        else:
            lay = np.where(rng.random(slots) < rng.uniform(.6, 1), .6, 0.0)
        out.append(lay)
    if span == 2 and rng.random() < .5 and style not in ("bossa",):
        keep = out[0].copy()
        n = slots // 2
        keep[n:] = out[1][n:]
        out[1] = keep
    return out


# ---- lines without accompaniment --------------------------------------------------------------

def solo(rng):
    """An improvised line: phrases and rests over chords that are not played."""
    meter = pick(rng, ["4/4", "3/4", "6/8", "12/8"], [10, 1, .6, .5])
    per = BEATS[meter]
    feel = pick(rng, ["straight", "swing", "sixteenth", "triplet"], [3, 3, 2.5, 1.5])
    if meter in COMPOUND:
        feel = "triplet"
    bpm = {"straight": tempo(rng, 125, .25, 70, 200), "swing": tempo(rng, 138, .27, 75, 230),
           "sixteenth": tempo(rng, 96, .2, 60, 135), "triplet": tempo(rng, 84, .25, 48, 140)}[feel]
    swing = float(rng.uniform(.55, .69)) if feel == "swing" else .5
    sub = {"straight": 2, "swing": 2, "sixteenth": 4, "triplet": 3}[feel]
    bars = int(np.clip(rng.integers(8, 40), 6, int(70 * bpm / 60 / per) + 4))
    chords, key = progression(rng, bars, True)
    scale = pick(rng, [(0, 3, 5, 7, 10), (0, 2, 4, 7, 9), (0, 2, 3, 5, 7, 9, 10), (0, 2, 4, 5, 7, 9, 11), (0, 3, 5, 6, 7, 10)])
    ladder = [p for p in range(50, 82) if (p - key) % 12 in scale]
    at = int(rng.integers(len(ladder) // 3, 2 * len(ladder) // 3))
    notes = []
    total = bars * per * sub
    s = int(rng.integers(0, 2 * sub))
    density = rng.uniform(.45, .95)
    motif = None
    stops = rng.random() < .25
    late = float(pick(rng, [0, .3, .8], [2, 2, 1]))          # how often phrases begin off the beat
    held = float(rng.uniform(.2, .9))                        # how often they end on a beat, or just ahead of one
    while s < total:
        if rng.random() < late and s % sub == 0:
            s += int(rng.integers(1, sub))
        length = int(rng.integers(3, 5 * sub + 3))
        if motif is not None and rng.random() < .3:
            # The same figure again, from the same place in the bar as often as not.
            if rng.random() < .6:
                target = motif[0] % (per * sub)
                while s % (per * sub) != target and s < total:
                    s += 1
            start, figure = s, motif[1]
            for off, step, loud in figure:
                if start + off < total:
                    p = ladder[int(np.clip(at + step, 0, len(ladder) - 1))]
                    notes.append(((start + off) / sub, p, 1 if p >= 55 else 0, loud, -1))
            s = start + (figure[-1][0] if figure else 1) + int(rng.integers(1, 2 * sub + 1))
            continue
        start, figure, here = s, [], 0
        while s < total and s - start < length:
            on = s % sub == 0
            if rng.random() < (density + .15 * on):
                here += int(pick(rng, [-3, -2, -1, 0, 1, 2, 3], [.6, 1.5, 4, 1, 4, 1.5, .6]))
                if on and rng.random() < .35:       # to a chord tone
                    tones = [(chords[min(bars - 1, s // (per * sub))][0] + t) % 12 for t in SHAPES[chords[min(bars - 1, s // (per * sub))][1]]]
                    for d in (0, 1, -1, 2, -2):
                        q = int(np.clip(at + here + d, 0, len(ladder) - 1))
                        if ladder[q] % 12 in tones:
                            here += d
                            break
                p = ladder[int(np.clip(at + here, 0, len(ladder) - 1))]
                loud = float(np.clip(.6 + .12 * on + rng.normal(0, .12), .2, 1))
                figure.append((s - start, here, loud))
                notes.append((s / sub, p, 1 if p >= 55 else 0, loud, -1))
                if stops and rng.random() < .3:
                    notes.append((s / sub, p - int(pick(rng, [3, 4, 5, 7])), 1, loud * .9, -1))
                if feel == "straight" and rng.random() < .06:
                    notes.append((s / sub + .25, p + 2, 1, loud * .7, -1))
            s += 1
        if figure and rng.random() < held:                   # a long last note, on a beat or pushed
            s += (-s) % (sub * int(pick(rng, [1, 2, per], [3, 2, 2])))
            early = 1 if rng.random() < .3 else 0
            if s - early > start + figure[-1][0] and s < total:
                tones = [(chords[min(bars - 1, s // (per * sub))][0] + t) % 12 for t in SHAPES[chords[min(bars - 1, s // (per * sub))][1]]]
                here += next((d for d in (0, 1, -1, 2, -2) if ladder[int(np.clip(at + here + d, 0, len(ladder) - 1))] % 12 in tones), 0)
                p = ladder[int(np.clip(at + here, 0, len(ladder) - 1))]
                notes.append(((s - early) / sub, p, 1 if p >= 55 else 0, float(np.clip(rng.normal(.72, .1), .2, 1)), -1))
                figure.append((s - early - start, here, .7))
            s += int(rng.integers(1, sub * 2 + 1))
        at = int(np.clip(at + here, 2, len(ladder) - 3))
        if figure and (motif is None or rng.random() < .4):
            motif = (start, figure)
        if rng.random() < .7:     # phrases end with a longer note, most on a beat
            s += int(rng.integers(1, per * sub))
        if rng.random() < .12:
            s += per * sub
    return dict(meter=meter, beats=bars * per, first=0, notes=notes, bpm=fit_rate(notes, bars * per, bpm, .8, 8.5), swing=swing, fine=.5,
                click=rng.random() < .7, third=sub == 3)


# ---- fingerstyle -----------------------------------------------------------------------------

def picking(rng):
    """A picking pattern over chords, a melody over it or not."""
    meter = pick(rng, METERS, [1.2, 4, 8, .7, .25, 3.2, 1.0, 1.2])
    per = BEATS[meter]
    kind = pick(rng, ["alternating", "arpeggio", "monotonic", "waltz", "melody", "tremolo"], [4, 5, 2, 2, 2, 1.2])
    compound = meter in COMPOUND
    if per in (3,) and not compound and kind == "alternating":
        kind = "waltz"
    third = compound or (kind == "arpeggio" and rng.random() < .22)
    sub = 3 if third else (4 if kind == "tremolo" or (kind in ("arpeggio", "alternating") and rng.random() < .33) else 2)
    bpm = tempo(rng, 66 if compound else (78 if sub >= 3 else 108), .27, 36, 200)
    if kind == "tremolo" and not third:            # four notes to a beat, or eight where the beat is slow
        sub = int(pick(rng, [4, 8], [2, 3]))
        bpm = tempo(rng, 92, .15, 66, 116) if sub == 4 else tempo(rng, 66, .17, 44, 86)
    if kind == "waltz" and not compound:
        bpm = tempo(rng, 124, .28, 66, 210)
    elif per == 3 and not third and sub == 2 and rng.random() < .4:   # fast threes with the thumb on one
        bpm = tempo(rng, 140, .2, 90, 210)
    elif sub == 2 and not compound and rng.random() < .25:            # airs, and the fastest
        bpm = tempo(rng, 62, .15, 42, 84) if rng.random() < .6 else tempo(rng, 172, .12, 140, 215)
    swing = float(rng.uniform(.54, .68)) if sub == 2 and rng.random() < .3 else .5
    bars = int(np.clip(rng.integers(6, 40), 6, int(70 * bpm / 60 / per) + 4))
    chords, key = progression(rng, bars)
    slots = per * sub
    # The order of the strings over one bar (or part of it, or two bars) in an arpeggio.
    part = pick(rng, [slots, slots // 2 if per % 2 == 0 else slots, sub if sub >= 3 else slots])
    up = [int(pick(rng, [1, 2, 3])) for _ in range(part)]
    if rng.random() < .6:
        up = sorted(up) if rng.random() < .5 else [1 + (k if k < part / 2 else part - k) % 3 for k in range(part)]
    fill = rng.random(part) < rng.uniform(.6, 1.0)
    beats_of_bass = set(range(0, per)) if kind in ("alternating", "monotonic") else {0}
    if kind == "arpeggio" and per == 4 and rng.random() < .6:
        beats_of_bass = {0, 2}
    if kind == "arpeggio" and rng.random() < .25:
        beats_of_bass = set(range(per))
    if kind == "alternating" and rng.random() < .15 and per == 4:
        beats_of_bass = {0, 2}
    if compound and kind == "alternating" and rng.random() < .5:
        beats_of_bass = {0}
    melody = {} if kind == "tremolo" else _melody(rng, chords, key, per, sub, rng.uniform(.25, .8))
    tune = kind in ("melody", "waltz", "alternating", "monotonic") or rng.random() < .4
    off = {}
    if kind in ("alternating", "monotonic"):
        off = {s: int(rng.integers(1, 4)) for s in range(slots) if rng.random() < (.3 if s % sub == 0 else .45)}
    grips = {}
    turns = int(pick(rng, [1, 2, per]))            # beats that a tremolo stays on its note
    if kind == "tremolo":
        beats_of_bass = set(range(per))
    notes, stroke = [], 0
    for bar, chord in enumerate(chords):
        grip = grips.setdefault(chord, voicing(rng, chord, strings=5))
        high = grip[1:] or grip
        skip = rng.random() < .03
        for s in range(slots):
            beat, b, on = bar * per + s / sub, s // sub, s % sub == 0
            if on and b in beats_of_bass and rng.random() < .95:
                p = grip[0]
                if kind == "alternating" and b % 2 and len(grip) > 2:
                    p = pick(rng, [grip[1], grip[0] + 7 if grip[0] < 46 else grip[0] - 5], [3, 1])
                if kind == "alternating" and b == 2 and rng.random() < .4:
                    p = grip[0] - 5 if grip[0] >= 45 else grip[0] + 7
                notes.append((beat, p, 0, float(np.clip(rng.normal(.7 if b == 0 else .6, .1), .2, 1)), -1))
            if skip:
                continue
            if kind == "arpeggio" and fill[s % part] and not (s == 0 and rng.random() < .7):
                notes.append((beat, high[(up[s % part] - 1) % len(high)], 1, float(np.clip(rng.normal(.45, .08), .1, 1)), -1))
            if kind == "tremolo" and s % min(sub, 4):
                p = 64 + (chord[0] + 4 + 3 * ((b // turns) % 2)) % 12
                notes.append((beat, p, 1, .5, -1))
            elif kind == "tremolo" and not on:
                notes.append((beat, grip[1 + b % max(1, len(grip) - 1)] if len(grip) > 1 else grip[0], 0, .55, -1))
            if kind == "waltz" and on and b > 0 and rng.random() < .85:
                stroke += 1
                for p in high[:3]:
                    notes.append((beat, p, 1, .45, stroke))
            if s in off and rng.random() < .9:
                notes.append((beat, high[off[s] % len(high)], 1, float(np.clip(rng.normal(.5, .1), .1, 1)), -1))
            if tune and (bar * slots + s) in melody:
                notes.append((beat, melody[bar * slots + s], 1, float(np.clip(rng.normal(.75, .1), .2, 1)), -1))
    return dict(meter=meter, beats=bars * per, first=0, notes=notes, bpm=fit_rate(notes, bars * per, bpm, .8, 11), swing=swing, fine=.5,
                click=rng.random() < .25, third=third)


def _melody(rng, chords, key, per, sub, density):
    """Slot → pitch; rhythms come again, anticipations as they fall."""
    slots = per * sub
    rhythms = []
    for _ in range(int(rng.integers(1, 4))):
        lay = np.zeros(slots, bool)
        for s in range(slots):
            on = s % sub == 0
            lay[s] = rng.random() < density * (1.1 if on else .5)
        if rng.random() < .4:
            lay = np.roll(lay, -1)
        rhythms.append(lay)
    ladder = [p for p in range(57, 82) if (p - key) % 12 in SCALE]
    at = len(ladder) // 2
    out = {}
    for bar, chord in enumerate(chords):
        lay = rhythms[bar % len(rhythms)] if rng.random() < .75 else rhythms[int(rng.integers(len(rhythms)))]
        for s in np.flatnonzero(lay):
            at = int(np.clip(at + pick(rng, [-2, -1, 0, 1, 2], [1, 3, 1, 3, 1]), 0, len(ladder) - 1))
            out[bar * slots + int(s)] = ladder[at]
    return out


# ---- from notation ---------------------------------------------------------------------------

def notated(rng, score):
    """A score as it stands (kind `guitar`) or a tune, alone or set for one guitar; none when its
    meter is not one of METERS.  `bars`: (start, length, upper, lower figure), in whole notes."""
    num, den = score["bars"][0][2], score["bars"][0][3]
    if any(b[2:] != score["bars"][0][2:] for b in score["bars"]):
        return None
    if den == 8 and num in (6, 9, 12):
        unit, meter = 3 / 8, f"{num}/8"
    elif den in (16, 4) and num in (6, 9, 12):
        if num == 6 and den == 4 and rng.random() < .5:
            return None
        unit, meter = 3 / den, f"{num}/8"
    elif (num, den) == (3, 8):
        unit, meter = 1 / 8, "3/4"
    elif den == 2 and num == 2:
        unit, meter = 1 / 4, "4/4"
    elif num in (2, 3, 4, 5, 7) and den in (2, 4):
        unit, meter = 1 / den, f"{num}/4"
        if den == 2 and num not in (3, 4):
            return None
    else:
        return None
    per = BEATS[meter]
    bars = score["bars"]
    # Only stretches whose bars follow each other by whole bars.
    starts = np.array([b[0] for b in bars])
    good = [0]
    for i in range(1, len(starts)):
        step = (starts[i] - starts[i - 1]) / (unit * per)
        if abs(step - round(step)) > 1e-6 or step > 4:
            good.append(i)
    good.append(len(starts))
    runs = [(a, b) for a, b in zip(good, good[1:]) if b - a >= 6]
    if not runs:
        return None
    a, b = runs[int(rng.integers(len(runs)))]
    start = starts[a]
    end = starts[b - 1] + unit * per
    lead = 0.0 if a else start - min(n[0] for n in score["notes"])
    rows = [((n[0] - start) / unit, n[1], n[2] / unit) for n in score["notes"] if start - max(0, lead) - 1e-9 <= n[0] < end - 1e-9]
    if len(rows) < 20:
        return None
    beats = int(round((end - start) / unit))
    third = meter in COMPOUND
    swing, notes, stroke = .5, [], 0
    if score["kind"] == "guitar":
        for k, (q, p, d) in enumerate(rows):
            hand = 0 if p < 55 else 1
            notes.append((q, p - (12 if max(r[1] for r in rows) > 90 else 0), hand, float(np.clip(rng.normal(.6, .12), .1, 1)), int(round(q * 96)) + 1))
        bpm = tempo(rng, {True: 58}.get(third, 92), .27, 36, 190)
    else:
        pitches = np.array([r[1] for r in rows])
        shift = int(pick(rng, [-12, -7, -5, -2, 0, 2, 3, 5])) + (-12 if pitches.mean() > 76 else 0)
        way = pick(rng, ["line", "bass", "chords", "arpeggio", "waltz"], [3, 4, 2, 2, 1.5])
        if not third and meter in ("4/4", "2/4") and rng.random() < .25:
            swing = float(rng.uniform(.54, .68))
        for q, p, d in rows:
            on = abs(q - round(q)) < 1e-6
            if way != "line" and rng.random() < .06 and on and d >= 1:
                q -= .5 if not third else 1 / 3      # anticipated
            notes.append((q, p + shift, 1, float(np.clip(rng.normal(.7 + .06 * on, .1), .2, 1)), -1))
        bpm = tempo(rng, 72 if third else 100, .27, 40, 200)
        if way != "line":
            _accompany(rng, notes, rows, shift, way, per, beats, third, meter)
    # Bars after the last one that is written may be missing notes; that is as it is.
    first = 0
    if lead > 1e-6:
        pick_up = int(np.ceil(lead / unit - 1e-9))
        notes = [(q + pick_up, *rest) for q, *rest in notes]
        beats += pick_up
        first = pick_up
    bpm = fit_rate(notes, beats, bpm, 1.2, 8.0 if score["kind"] == "tune" else 9.0)
    return dict(meter=meter, beats=beats, first=first % per, notes=notes, bpm=bpm, swing=swing, fine=.5, click=rng.random() < .1, third=third)


def _accompany(rng, notes, rows, shift, way, per, beats, third, meter):
    sub = 3 if third else 2
    change = 1 if rng.random() < .75 or per % 2 else 2
    span = per // change
    last = None
    stroke = 10 ** 6
    for k in range(0, beats, span):
        inside = [(p + shift, min(d, k + span - q)) for q, p, d in rows if k <= q + 1e-9 < k + span]
        best, top = last, -1.0
        weight = np.zeros(12)
        for p, d in inside:
            weight[p % 12] += max(d, .1)
        for root in range(12):
            for shape in ("maj", "min"):
                s = sum(weight[(root + t) % 12] for t in SHAPES[shape]) + .3 * weight[root] + (.4 if (root, shape) == last else 0) + rng.normal(0, .15)
                if s > top:
                    best, top = (root, shape), s
        last = best
        grip = voicing(rng, best, strings=5)
        high = [p for p in grip[1:] if p < 66] or grip[:1]
        for b in range(span):
            beat = k + b
            place = beat % per
            if way == "bass":
                if (per == 4 and (place % 2 == 0 or rng.random() < .5)) or (per != 4 and (place == 0 or rng.random() < .25)):
                    p = grip[0] if place % 4 == 0 else pick(rng, [grip[0], grip[0] + 7 if grip[0] < 47 else grip[0] - 5])
                    notes.append((beat, p, 0, .6, -1))
            elif way == "waltz":
                if place == 0:
                    notes.append((beat, grip[0], 0, .65, -1))
                elif rng.random() < .8:
                    stroke += 1
                    for p in high[:3]:
                        notes.append((beat, p, 1, .4, stroke))
            elif way == "chords":
                if place == 0 or rng.random() < .25:
                    stroke += 1
                    notes.append((beat, grip[0], 0, .6, stroke))
                    for p in high[:3]:
                        notes.append((beat, p, 1, .45, stroke))
            else:
                if place in (0, 2) or third:
                    notes.append((beat, grip[0], 0, .6, -1))
                for s in range(1, sub):
                    if rng.random() < .8:
                        notes.append((beat + s / sub, high[(s + b) % len(high)], 1, .4, -1))
