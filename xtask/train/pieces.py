"""Invented fingerstyle performances: who plucks what and when.

Everything is drawn at random: tuning, capo, hand positions, thumb and finger patterns, techniques,
timing.  No tune, pattern or recording is imitated.
"""
import numpy as np

TUNINGS = [[40, 45, 50, 55, 59, 64]] * 6 + [
    [38, 45, 50, 55, 59, 64], [38, 45, 50, 55, 59, 62], [38, 45, 50, 55, 57, 62], [38, 43, 50, 55, 59, 62],
    [38, 45, 50, 54, 57, 62], [36, 43, 48, 55, 60, 64], [38, 43, 48, 53, 57, 62], [39, 44, 49, 54, 58, 63],
    [36, 43, 50, 55, 57, 62], [40, 47, 52, 56, 59, 64], [38, 45, 50, 53, 57, 62], [38, 43, 50, 55, 58, 62],
    [36, 41, 46, 51, 55, 60], [36, 43, 48, 55, 58, 62], [40, 45, 52, 57, 61, 64], [38, 45, 50, 57, 59, 64]]
CHORDS = [(0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 4, 7, 11), (0, 5, 7), (0, 2, 7), (0, 3, 6, 9), (0, 4, 7, 9), (0, 7)]


# strings of a chord gripped without open strings
GRIPS = [(6, 4, 3, 2), (5, 4, 3, 2), (4, 3, 2, 1), (6, 4, 3), (5, 4, 3), (4, 3, 2), (3, 2, 1), (5, 3, 2), (6, 5, 4, 3, 2, 1)]


class Hand:
    """a chord: a fret for every string, or None where it is not used"""

    def __init__(self, rng, open_midi, loose, stopped=False):
        root, tones = rng.integers(12), CHORDS[rng.integers(len(CHORDS))]
        ok = {(root + t) % 12 for t in tones}
        pos = int(rng.choice([2, 3, 4, 5, 6, 7, 8, 9, 10] if stopped else [0, 0, 0, 1, 2, 3, 5, 7, 9]))
        self.pos = pos
        self.frets = {}
        for s in range(6, 0, -1):
            o = open_midi[6 - s]
            can = [f for f in ([0] if pos < 8 and not stopped else []) + list(range(max(1, pos), pos + 4)) if (o + f) % 12 in ok or rng.random() < loose]
            self.frets[s] = int(rng.choice(can)) if can and rng.random() < .95 else None
        if not any(self.frets[s] is not None for s in (6, 5, 4)):
            self.frets[int(rng.choice([6, 5, 4]))] = pos if stopped else 0
        if not any(self.frets[s] is not None for s in (3, 2, 1)):
            self.frets[int(rng.choice([3, 2, 1]))] = pos if stopped else 0

    def have(self, strings):
        return [s for s in strings if self.frets[s] is not None]


def spread(rng, count, gap, uneven):
    """seconds after the first of `count` strings at which each is struck; no hand crosses them evenly"""
    return np.concatenate([[0], np.cumsum(np.minimum(gap * np.exp(uneven * rng.standard_normal(max(0, count - 1))), .09))])


def logu(rng, a, b):
    return float(np.exp(rng.uniform(np.log(a), np.log(b))))


def play(rng):
    """-> list of notes (t, midi, string, role, kind, vel, order, ring) and taps, seconds"""
    open_midi = np.array(TUNINGS[rng.integers(len(TUNINGS))]) + int(rng.choice([0, 0, 0, 0, 1, 2, 3, 4, 5]))
    secs = rng.uniform(16, 26)
    bpm = np.exp(rng.uniform(np.log(52), np.log(190)))
    beat = 60 / bpm
    sub = int(rng.choice([2, 2, 2, 3, 4])) if bpm < 120 else int(rng.choice([1, 2, 2, 3]))
    swing = rng.choice([.5, .5, rng.uniform(.5, .68)]) if sub == 2 else None
    bar = int(rng.choice([3, 4, 4, 4]))
    style = rng.choice(["alternate", "steady", "muted", "arpeggio", "strum", "solo", "free", "comp", "drag", "line", "tremolo"],
                       p=[.16, .06, .05, .11, .15, .07, .06, .12, .12, .06, .04])
    if style == "tremolo":  # the thumb goes on below, three or four fingers repeat one note above
        bpm, bar, swing = rng.uniform(60, 110), int(rng.choice([3, 4])), None
        beat, sub = 60 / bpm, int(rng.choice([4, 4, 5, 6, 8]))
    stopped = style == "comp" and rng.random() < .75
    density = rng.uniform(.25, .85)
    jitter = rng.uniform(.002, .014)
    flam = rng.uniform(.001, .012)
    dyn = rng.uniform(.05, .3)
    bal = rng.uniform(-.15, .25)
    brush = rng.uniform(0, .3) * (rng.random() < .4)  # the thumb takes two strings at once
    slow = rng.random() < .5  # strums that one can hear run over the strings
    chuck = rng.uniform(.05, .35) * (rng.random() < .35)  # strums on damped strings
    light = rng.uniform(.1, .5) * (rng.random() < .5)  # strums that hardly touch a chord that still rings
    uneven = rng.uniform(.1, .9)  # how unlike the steps of a strum are
    lean = rng.uniform(-.35, .35) * (rng.random() < .7)  # from the first string of a strum to its last, louder or softer
    short = logu(rng, .08, 1.5)  # how long a chord is held before the hand lets go
    sweep = logu(rng, .012, .05)
    tied = rng.uniform(0, .6)  # share of a line's notes that are hammered or pulled
    techs = {k: rng.uniform(0, .3 if k == "legato" else .16) * (rng.random() < .6) for k in ("legato", "slide", "harmonic", "dead", "ghost")}
    notes = []
    late = rng.uniform(-.02, .025)

    def add(t, s, fret, role, kind="pluck", vel=None, stop=None):
        midi, order = open_midi[6 - s] + fret, 1
        if kind == "harmonic":
            node, up, order = [(12, 12, 2), (7, 19, 3), (5, 24, 4)][rng.choice(3, p=[.5, .3, .2])]
            stop = fret if rng.random() < .2 else 0  # touched above a stopped note
            midi = open_midi[6 - s] + stop + up
        if vel is None:
            vel = .6 + (bal if role == "melody" else -bal) / 2 + dyn * np.clip(rng.standard_normal(), -2, 2)
        notes.append(dict(t=max(t, .05), midi=int(midi), string=s, role=role, kind=kind, vel=float(np.clip(vel, .05, 1)), order=order, fret=fret))
        if stop is not None:
            notes[-1]["stop"] = stop

    def strum(t, strings, gap, base, kind, stop=None):
        after = spread(rng, len(strings), gap, uneven)
        for i, s in enumerate(strings):
            ramp = lean * (i / max(1, len(strings) - 1) - .5)
            add(t + after[i], s, hand.frets[s], "bass" if s > 3 else "melody", kind if rng.random() < .94 else "dead",
                base + ramp + .1 * rng.standard_normal(), None if stop is None else stop + after[-1] + rng.normal(0, .005))

    t, k = rng.uniform(.1, .6), 0
    hand = Hand(rng, open_midi, .06, stopped)
    thumb_strings = hand.have((6, 5, 4))
    turn = 0
    walk = rng.uniform(.005, .03)
    grip = GRIPS[rng.integers(len(GRIPS))]
    treble = (1, None)
    neck = int(rng.integers(0, 13))
    at = (int(rng.integers(1, 7)), neck)
    while t < secs:
        if k % (bar * sub) == 0 and rng.random() < .75 or style == "free" and rng.random() < .1:
            hand = Hand(rng, open_midi, .06, stopped)
            thumb_strings = hand.have((6, 5, 4))
            turn = 0
        on_beat = k % sub == 0
        when = t
        if swing and k % 2 == 1:
            when = t + (swing - .5) * beat
        e = jitter * np.clip(rng.standard_normal(), -2.5, 2.5)
        # thumb
        thumb = False
        if style in ("alternate", "steady", "muted", "free"):
            thumb = on_beat and rng.random() < .93 or style == "free" and rng.random() < .15
        elif style in ("arpeggio", "solo"):
            thumb = k % (sub * (bar if style == "arpeggio" else 2)) == 0 and rng.random() < .8
        if thumb and thumb_strings:
            s = thumb_strings[0] if style == "steady" else thumb_strings[turn % len(thumb_strings)]
            turn += 1
            kind = "dead" if style == "muted" and rng.random() < .85 or rng.random() < techs["dead"] * .5 else "pluck"
            add(when + e, s, hand.frets[s], "bass", kind)
            if s - 1 in thumb_strings and rng.random() < brush:
                add(when + e + np.exp(rng.uniform(np.log(.003), np.log(.035))), s - 1, hand.frets[s - 1], "bass", kind)
        if style == "strum" and rng.random() < density:
            strings = [s for s in range(6, 0, -1) if hand.frets[s] is not None]
            if rng.random() < .5:
                strings = strings[rng.integers(0, 3):]
            if rng.random() < .3:
                strings = strings[:rng.integers(2, 5)]
            down = rng.random() < .6
            gap = logu(rng, .004, .045 if slow else .02)
            base = .6 + dyn * rng.standard_normal() - (rng.uniform(.15, .45) if rng.random() < light else 0)
            kind = "dead" if rng.random() < techs["dead"] + chuck else "pluck"
            strum(when + e, strings if down else strings[::-1], gap, base, kind)
        elif style == "comp" and rng.random() < .4 + .6 * density:
            grip = GRIPS[rng.integers(len(GRIPS))] if rng.random() < .3 else grip
            strings = hand.have(grip)
            if rng.random() < chuck:  # a stroke over strings that the hand only touches
                strum(when + e, strings, logu(rng, .002, .012), .5 + dyn * rng.standard_normal(), "dead")
            elif strings:
                gap = logu(rng, .0005, .006) if rng.random() < .35 else logu(rng, .005, .03)
                strum(when + e, strings if rng.random() < .8 else strings[::-1], gap, .6 + dyn * rng.standard_normal(), "pluck",
                      when + e + short * rng.uniform(.6, 1.4) if rng.random() < .85 else None)
        elif style == "drag" and rng.random() < .3 + .7 * density:
            low = rng.random() < .75
            strings = hand.have((6, 5, 4, 3, 2, 1) if low else (1, 2, 3, 4))
            first = rng.integers(0, 1 + min(2, max(0, len(strings) - 2)))
            strings = strings[first:first + int(rng.choice([1, 2, 3, 4], p=[.2, .35, .3, .15]))]
            kind = "dead" if rng.random() < techs["dead"] * .5 else "pluck"
            if strings:
                strum(when + e, strings, sweep * rng.uniform(.5, 1.5), .6 + dyn * rng.standard_normal(), kind,
                      when + e + short * rng.uniform(.6, 1.4) if rng.random() < .3 else None)
        elif style == "line" and rng.random() < .3 + .7 * density:
            s, f = at
            if rng.random() < .4:
                s = int(np.clip(s + rng.choice([-1, -1, 1, 1, 2, -2]), 1, 6))
            f = int(np.clip(f + rng.choice([-4, -3, -2, -1, 0, 1, 2, 3, 4]), neck, neck + 5))
            if s != at[0] and notes and rng.random() < .8:  # the finger leaves the last string about when the next is plucked
                notes[-1].setdefault("stop", when + e + rng.uniform(-.07, .04))
            kind = "legato" if s == at[0] and f != at[1] and rng.random() < tied else "slide" if rng.random() < techs["slide"] else "pluck"
            add(when + e, s, f, "bass" if s > 3 else "melody", kind)
            at = (s, f)
            if rng.random() < .04:
                neck = int(rng.integers(0, 13))
        elif style == "tremolo":
            if on_beat:
                s = thumb_strings[turn % len(thumb_strings)] if thumb_strings else 4
                turn += 1
                add(when + e, s, hand.frets[s] if hand.frets[s] is not None else 0, "bass")
                high = hand.have((2, 1)) or [1]
                treble = (int(rng.choice(high)), int(rng.integers(0, 13)) if rng.random() < .5 else None)
            else:
                s, f = treble
                f = f if f is not None else hand.frets[s] or 0
                add(when + .4 * e, s, f, "melody", "pluck", .5 + bal / 2 + .6 * dyn * rng.standard_normal())
        elif style not in ("strum", "comp", "drag", "line") and rng.random() < (density if style != "free" else .4):
            melody = hand.have((3, 2, 1)) if rng.random() < .93 else hand.have((4, 3, 2, 1))
            if style == "solo" and rng.random() < .4:
                melody = hand.have((6, 5, 4, 3, 2, 1))
            count = 1 if rng.random() < .82 else int(rng.choice([2, 3]))
            rng.shuffle(melody)
            pick = sorted(melody[:count], reverse=True)
            rolled = count > 1 and rng.random() < .3
            e2 = late + jitter * np.clip(rng.standard_normal(), -2.5, 2.5) if not (thumb and rng.random() < .5) else e
            for i, s in enumerate(pick):
                f = hand.frets[s]
                if rng.random() < .45:
                    f = int(np.clip(hand.pos + rng.integers(0, 6), 0, 15)) if rng.random() < .8 else 0
                tt = when + e2 + (i * rng.uniform(.015, .05) if rolled else flam * abs(rng.standard_normal()) * (i > 0))
                u = rng.random()
                if u < techs["harmonic"]:
                    add(tt, s, f, "melody", "harmonic")
                elif u < techs["harmonic"] + techs["slide"]:
                    add(tt, s, max(f, 2), "melody", "slide")
                elif u < techs["harmonic"] + techs["slide"] + techs["dead"] * .5:
                    add(tt, s, f, "melody", "dead")
                elif u < techs["harmonic"] + techs["slide"] + techs["dead"] * .5 + techs["ghost"]:
                    add(tt, s, f, "melody", "pluck", rng.uniform(.05, .2))
                else:
                    add(tt, s, f, "melody")
                    if rng.random() < techs["legato"] * 2:
                        gap = beat / sub if rng.random() < .6 else rng.uniform(.06, .2)
                        steps = rng.choice([-2, -1, 1, 2, 3, -3])
                        if f + steps >= 0:
                            add(tt + gap + .5 * jitter * rng.standard_normal(), s, f + steps, "melody", "legato")
        k += 1
        t += beat / sub * (1 + walk * rng.standard_normal())
        if style == "free" and rng.random() < .1:
            t += rng.uniform(0, .8)
        if rng.random() < .01:
            t += rng.uniform(.3, 1.5)
    notes.sort(key=lambda n: n["t"])
    out, last = [], {}
    for n in notes:
        p = last.get(n["string"])
        if p is not None and n["t"] - p["t"] < .05:
            continue
        if n["kind"] == "legato" and (p is None or n["t"] - p["t"] > 1.0 or p["kind"] == "dead" or p["midi"] == n["midi"]):
            n["kind"] = "pluck"
        last[n["string"]] = n
        out.append(n)
    damped = rng.random() < .3
    if rng.random() < (.5 if style in ("strum", "solo", "drag") else .15):  # the hand stops whole chords at once
        first = [i for i, n in enumerate(out) if i == 0 or n["t"] - out[i - 1]["t"] > .09]
        for a, b in zip(first, first[1:]):
            gap = out[b]["t"] - out[b - 1]["t"]
            if rng.random() < .7:
                stop = out[b - 1]["t"] + gap * rng.uniform(.2, .95)
                for n in out[a:b]:
                    n.setdefault("stop", stop + rng.normal(0, .006))
    for i, n in enumerate(out):
        nxt = next((m for m in out[i + 1:] if m["string"] == n["string"]), None)
        n["into"] = nxt["kind"] if nxt is not None else None
        end = n["t"] + 5 if nxt is None else nxt["t"]
        n["cut"] = "pluck" if nxt is not None else "damp"
        if damped and rng.random() < .7:
            stop = n["t"] + rng.uniform(.1, .9)
            if stop < end:
                end, n["cut"] = stop, "damp"
        elif n["fret"] > 0 and rng.random() < .3:
            stop = n["t"] + rng.uniform(.15, 2)
            if stop < end:
                end, n["cut"] = stop, "damp"
        n["choked"] = "stop" in n and n["stop"] < end
        if n["choked"]:
            end, n["cut"] = n["stop"], "damp"
        n["end"] = max(end, n["t"] + .05)
    taps = []
    if rng.random() < .25:
        tt = rng.uniform(0, 1)
        while tt < secs:
            taps.append(tt + .01 * rng.standard_normal())
            tt += beat if rng.random() < .8 else rng.uniform(.2, 2)
    return out, [x for x in taps if x > .05], secs + 1.0
