"""Single plucked notes, in the mono of 22,050 Hz that the network listens to.

Four unlike families, so that nothing learned hangs on one of them: partials that ring and die
(stiff string, two polarisations), travelling waves in a loop, sampled plucks of real guitars (a folder
of them is an option of the trainer), and partials with loosely drawn strengths and decays that no real
string has.
Every call returns (signal, index of its onset); the onset is the first sample above 10 % of the
largest magnitude of the attack (60 ms).
"""
import numpy as np
import scipy.signal as ss
from numba import njit

SR = 22050
PAD = 220


def find_onset(x):
    a = np.abs(x)
    if a.max() <= 0:
        return 0
    first = int(np.argmax(a > .35 * a[: SR // 2].max()))
    peak = a[first: first + int(.06 * SR)].max()
    lo = max(0, first - int(.03 * SR))
    return lo + int(np.argmax(a[lo:first + 1] > .1 * peak))


@njit(cache=True, fastmath=True)
def ring(n, freq, amp, phase, decay, glide, glide_decay):
    """sum of dying sinusoids; `glide` is how much higher (as a share) all of them start"""
    out = np.zeros(n)
    sr = 22050.0
    for k in range(len(freq)):
        if amp[k] == 0.0 or freq[k] >= 10500.0:
            continue
        d = np.exp(-decay[k] / sr)
        # stop at -90 dB of itself
        m = min(n, int(10.4 / decay[k] * sr) + 1)
        c, s = amp[k] * np.cos(phase[k]), amp[k] * np.sin(phase[k])
        step = 64
        i = 0
        while i < m:
            g = glide * np.exp(-glide_decay * i / sr)
            w = 2 * np.pi * freq[k] * (1 + g) / sr
            rc, rs = d * np.cos(w), d * np.sin(w)
            for j in range(i, min(m, i + step)):
                out[j] += s
                c, s = c * rc - s * rs, c * rs + s * rc
            i += step
    return out


@njit(cache=True, fastmath=True)
def loop(n, f0, excite, damp, loss, stiff, detune, couple):
    """two delay loops (polarisations) with a one-zero damping, first-order dispersion and a little coupling"""
    out = np.zeros(n)
    sr = 22050.0
    size = 2048
    buf = np.zeros((2, size))
    z = np.zeros((2, 6))
    for i in range(n):
        prev = np.zeros(2)
        for p in range(2):
            f = f0 * (1 + detune * p)
            # total delay: loop filter half a sample, dispersion twice (1 - a) / (1 + a)
            ap = (1 - stiff) / (1 + stiff)
            d = sr / f - damp - 2 * ap
            di = int(d) - 1
            fr = d - di
            # cubic Lagrange around di..di+3 with fraction 1..2
            x0 = buf[p, (i - di) % size]
            x1 = buf[p, (i - di - 1) % size]
            x2 = buf[p, (i - di - 2) % size]
            x3 = buf[p, (i - di - 3) % size]
            h0 = -(fr - 1) * (fr - 2) * (fr - 3) / 6
            h1 = fr * (fr - 2) * (fr - 3) / 2
            h2 = -fr * (fr - 1) * (fr - 3) / 2
            h3 = fr * (fr - 1) * (fr - 2) / 6
            y = h0 * x0 + h1 * x1 + h2 * x2 + h3 * x3
            t = (1 - damp) * y + damp * z[p, 0]
            z[p, 0] = y
            for q in range(2):
                v = stiff * t + z[p, 1 + 2 * q] - stiff * z[p, 2 + 2 * q]
                z[p, 1 + 2 * q] = t
                z[p, 2 + 2 * q] = v
                t = v
            prev[p] = t * loss[p]
        e = excite[i] if i < len(excite) else 0.0
        buf[0, i % size] = prev[0] + couple * (prev[1] - prev[0]) + e
        buf[1, i % size] = prev[1] + couple * (prev[0] - prev[1]) + e * .6
        out[i] = prev[0] + .7 * prev[1] + .3 * e
    return out


# how often each of the sampled instruments is drawn (`samples.py` names them)
SHARES = {"shiny": 9.0, "spanish": 5.0, "24": 4.0, "25": 5.0, "t24": 3.0, "t25": 3.0, "shinyel": 1.0, "26": .5, "27": .5, "46": .5, "105": .5, "15": .5}


def rattle(rng, x):
    """a string that swings far enough to touch a fret: little bursts once a period, while it is loud"""
    a = np.abs(x)
    level = np.maximum.accumulate(a[::-1])[::-1] + 1e-9
    over = np.maximum(x / level.max() - rng.uniform(.3, .7), 0)
    y = ss.sosfilt(ss.butter(1, rng.uniform(1200, 4000), "high", fs=SR, output="sos"), np.sign(over) * rng.standard_normal(len(x)))
    return x + rng.uniform(.02, .3) * level.max() * y * np.minimum(over * 4, 1)


class Guitar:
    """one instrument and one way to play it: what stays the same through a piece"""

    def __init__(self, rng, samples=None):
        self.rng = rng
        kinds = ["modal", "loop", "loose"] + (["samples"] if samples is not None else [])
        weights = np.array([.34, .12, .10] + ([.44] if samples is not None else []))
        self.kind = rng.choice(kinds, p=weights / weights.sum())
        self.nylon = rng.random() < .35
        self.samples = samples
        if self.kind == "samples":
            names = sorted(n for n in samples if n in SHARES)
            w = np.array([SHARES[n] for n in names])
            self.program = names[rng.choice(len(names), p=w / w.sum())]
        ny = self.nylon
        self.wound = [6, 5, 4] if ny or rng.random() < .25 else [6, 5, 4, 3]
        self.scale = rng.uniform(.62, .66)
        self.B0 = np.exp(rng.uniform(np.log(8e-6), np.log(1.8e-4))) * (.6 if ny else 1)
        self.pluck = {"bass": rng.uniform(.03, .25), "melody": rng.uniform(.03, .25)}  # metres from the bridge
        cut = (700, 5000) if ny else (1100, 9500)
        old = rng.uniform(.3, .8) if rng.random() < .2 else 1.0  # strings that have been on for months
        self.soft = {r: old * np.exp(rng.uniform(*np.log(cut))) for r in ("bass", "melody")}
        self.rise = {r: .0025 for r in ("bass", "melody")}
        self.buzz = rng.uniform(.05, .5) if rng.random() < .15 else 0.0  # share of notes that rattle on a fret
        for r in ("bass", "melody"):
            if rng.random() < .3:  # flesh, not nail: dark, and slow to begin
                self.soft[r] = np.exp(rng.uniform(np.log(350), np.log(1500)))
                self.rise[r] = rng.uniform(.002, .006)
        self.t60 = (rng.uniform(1.2, 5) if ny else rng.uniform(1.8, 9.0)) * (.5 + .5 * old)
        self.t60_high = self.t60 * rng.uniform(.2, .55)
        self.loss = np.exp(rng.uniform(np.log(.4), np.log(4.0))) * (1.5 if ny else 1)
        self.slope = rng.uniform(.2, 1.1)
        self.angle = rng.uniform(.1, .9)
        self.beat = rng.uniform(0, .0012)
        self.noise = 10 ** (rng.uniform(-50, -18) / 20)
        self.knock = 10 ** (rng.uniform(-40, -12) / 20)
        self.glide = rng.uniform(0, .004)
        self.jitter = rng.uniform(0, 5)
        self.body = body(rng, ny)
        self.direct = rng.uniform(0, .8) if rng.random() < .85 else rng.uniform(2, 8)  # a pickup hears little of the box
        self.air = air_knock(rng)

    def note(self, midi, string, vel, role, kind, secs, order=1):
        """midi: sounding pitch with fraction; order: which partial a harmonic is of its open string"""
        rng = self.rng
        n = int(secs * SR)
        soft = kind == "legato"
        f0 = 440 * 2 ** ((midi - 69) / 12)
        if self.kind == "samples":
            x = self.sampled(midi, vel, n)
            if soft:
                on = find_onset(x)
                skip = int(rng.uniform(.015, .04) * SR)
                f = int(rng.uniform(.003, .01) * SR)
                x = x[on + skip:].copy()
                x[:f] *= .5 - .5 * np.cos(np.pi * np.arange(f) / f)
                x = np.concatenate([np.zeros(PAD), x])
            if order > 1:
                x = ss.sosfilt(ss.butter(2, min(f0 * rng.uniform(2.5, 6), 9000), "low", fs=SR, output="sos"), x)
        else:
            if self.kind == "loop" and f0 < 1200 and order == 1:
                x = self.travelling(f0, vel, role, soft, n)
            else:
                x = self.modal(f0, midi, string, vel, role, soft, n, order)
            if not soft:
                m = int(.05 * SR)
                nz = rng.standard_normal(m) * np.exp(-np.arange(m) / SR / rng.uniform(.001, .006))
                lo = rng.uniform(300, 2000)
                nz = ss.sosfilt(ss.butter(1, [lo, min(lo * rng.uniform(3, 10), 9500)], "band", fs=SR, output="sos"), nz)
                k = min(m, len(x))
                rms = np.sqrt(np.mean(x[:m * 2] ** 2)) + 1e-9
                x[:k] += (self.noise * 10 ** (rng.uniform(-8, 4) / 20) * rms / (np.std(nz) + 1e-9) * nz)[:k]
            else:
                f = int(rng.uniform(.001, .008) * SR)
                x[:f] *= .5 - .5 * np.cos(np.pi * np.arange(f) / f)
            y = ss.fftconvolve(x, self.body)[:n]
            x = self.direct * x / (np.std(x) + 1e-9) + y / (np.std(y) + 1e-9)
            if not soft:
                k = min(len(self.air), n)
                x[:k] += self.knock * (.4 + vel) * 6 * self.air[:k]
            x = np.concatenate([np.zeros(PAD), x])
            if not soft and rng.random() < .4:  # the finger touches the string a moment before
                m = int(rng.uniform(.002, .008) * SR)
                x[PAD - m:PAD] += rng.standard_normal(m) * np.hanning(m) * np.std(x[PAD:PAD + 2000]) * 10 ** (rng.uniform(-45, -22) / 20)
        if kind == "pluck" and rng.random() < self.buzz:
            x = rattle(rng, x)
        if kind == "dead":
            on = find_onset(x)
            tau = rng.uniform(.02, .09)
            env = np.ones(len(x))
            env[on:] = np.exp(-np.arange(len(x) - on) / SR / tau)
            x = ss.sosfilt(ss.butter(1, rng.uniform(500, 3500), "low", fs=SR, output="sos"), x * env)
        if kind == "slide":  # plucked one to four frets away, then moved
            on = find_onset(x)
            steps = rng.choice([-1, 1, 2, -2, 3, 4], p=[.2, .1, .15, .4, .1, .05])
            g, hold = rng.uniform(.04, .14) * SR, rng.uniform(.01, .06) * SR
            rate = np.ones(len(x))
            rate[on:] = 2 ** (steps / 12 * (1 - np.clip((np.arange(len(x) - on) - hold) / g, 0, 1)))
            x = np.interp(np.concatenate([[0], np.cumsum(rate[:-1])]), np.arange(len(x)), x)
        f = min(int(.03 * SR), len(x) // 4)
        x[-f:] *= np.linspace(1, 0, f)
        return x, find_onset(x)

    def modal(self, f0, midi, string, vel, role, soft, n, order):
        rng = self.rng
        fb = f0 / order
        kmax = min(int(9800 / fb), 110)
        k = np.arange(1, kmax + 1)
        B = self.B0 * (2.0 if string in (3,) and 3 not in self.wound else 1) * (f0 / 200) ** rng.uniform(0, .6)
        B = min(B, 6e-4)
        fk = fb * k * np.sqrt(1 + B * k * k) / np.sqrt(1 + B * order * order)
        length = self.scale * min(1.0, 2 ** ((40 + [24, 19, 15, 10, 5, 0][string - 1] - midi) / 12))
        pos = np.clip(self.pluck[role] * rng.uniform(.85, 1.15) / max(length, .15), .02, .48)
        amp = np.sin(np.pi * k * pos) / k ** self.slope
        cut = self.soft[role] * (.45 + vel) * (.5 if soft else 1)
        amp *= np.exp(-(fk / cut) ** rng.uniform(.8, 1.6))
        jit = self.jitter + (8 if self.kind == "loose" else 0)
        amp *= 10 ** (jit * rng.standard_normal(kmax) / 20)
        if order > 1:
            leak = 10 ** (rng.uniform(-45, -20) / 20)
            amp[(k % order) != 0] *= leak
        t60 = np.interp(midi, [38, 80], [self.t60, self.t60_high]) * rng.uniform(.8, 1.2)
        if midi > [64, 59, 55, 50, 45, 40][string - 1]:
            t60 *= rng.uniform(.6, 1)
        decay = 6.9 / t60 + self.loss * (fk / 1000) ** rng.uniform(.8, 1.5)
        decay *= np.exp(rng.standard_normal(kmax) * (.6 if self.kind == "loose" else .2))
        share = np.clip(self.angle + .2 * rng.standard_normal(), .05, .95)
        ph = np.where(rng.random() < .5, np.pi / 2, 0.0) + rng.standard_normal(kmax) * (1.5 if self.kind == "loose" else .2)
        g, gd = self.glide * vel * rng.random(), rng.uniform(8, 40)
        x = ring(n, fk, share * amp, ph, decay * rng.uniform(1, 3), g, gd)
        x += ring(n, fk * (1 + self.beat * rng.uniform(-1, 1)) + rng.uniform(-.4, .4), (1 - share) * amp, ph, decay, g, gd)
        rise = int(rng.uniform(.0002, self.rise[role]) * SR)
        if rise > 1:
            x[:rise] *= .5 - .5 * np.cos(np.pi * np.arange(rise) / rise)
        return x

    def travelling(self, f0, vel, role, soft, n):
        rng = self.rng
        per = int(SR / f0)
        width = max(2, int(SR / (self.soft[role] * (.45 + vel) * (.5 if soft else 1)) * .7))
        burst = rng.standard_normal(per) if rng.random() < .5 else np.sign(np.linspace(-1, 1, per) + rng.uniform(-.7, .7))
        burst = np.convolve(burst, np.hanning(width + 2), "same")
        d = max(1, int(per * np.clip(self.pluck[role] / self.scale * rng.uniform(.9, 1.3), .03, .45)))
        burst = burst - np.roll(burst, d)
        burst -= burst.mean()
        burst /= np.abs(burst).max() + 1e-9
        t60 = np.interp(69 + 12 * np.log2(f0 / 440), [38, 80], [self.t60, self.t60_high])
        g = 10 ** (-3 / (t60 * f0))
        damp = rng.uniform(.03, .28)
        stiff = -rng.uniform(.0, .25)
        return loop(n, f0, burst, damp, np.array([g, g ** rng.uniform(1, 2.5)]), stiff, self.beat * rng.uniform(-1, 1), rng.uniform(0, .01))

    def sampled(self, midi, vel, n):
        table = self.samples[self.program]
        keys = np.array(sorted({k for k, _ in table}))
        root = keys[np.argmin(np.abs(keys - midi + self.rng.choice([-1.5, 0, 0, 1.5])))]
        levels = sorted(v for k, v in table if k == root)
        v = levels[min(int(vel * len(levels)), len(levels) - 1)]
        takes = table[(root, v)]
        src = takes[self.rng.integers(len(takes))]
        r = 2 ** ((midi - root) / 12)
        at = np.arange(min(n, int((len(src) - 2) / r))) * r
        x = np.interp(at, np.arange(len(src)), src.astype(np.float64))
        rng = self.rng
        d, a = rng.integers(4, 40), rng.uniform(-.4, .4)
        y = x.copy()
        y[d:] += a * x[:-d]
        fc = np.exp(rng.uniform(np.log(1500), np.log(10000)))
        y = rng.uniform(.3, 1) * ss.sosfilt(ss.butter(1, fc, "low", fs=SR, output="sos"), y) + rng.uniform(0, .5) * y
        return np.concatenate([np.zeros(PAD), y])


def body(rng, nylon):
    """impulse response of a box: air and top resonances and a crowd of small ones, drawn anew"""
    n = int(.12 * SR)
    t = np.arange(n) / SR
    ir = np.zeros(n)
    a0 = rng.uniform(88, 125)
    main = [a0, a0 * rng.uniform(1.7, 2.3), a0 * rng.uniform(3.2, 4.4), a0 * rng.uniform(4.5, 6)]
    for i, f in enumerate(main):
        ir += rng.uniform(.2, 1.5) * np.sin(2 * np.pi * f * t) * np.exp(-np.pi * f / rng.uniform(10, 35) * t)
    m = rng.integers(30, 120)
    tilt = rng.uniform(.2, 1.0)
    for f in np.geomspace(rng.uniform(100, 300), 9500, m) * rng.uniform(.95, 1.05, m):
        q = rng.uniform(8, 40)
        ir += rng.standard_normal() * (f / (f + 400)) * (1 + f / 2000) ** -tilt * np.sin(2 * np.pi * f * t + rng.uniform(0, 6.28)) * np.exp(-np.pi * f / q * t)
    r = int(.0005 * SR)
    ir[:r] *= np.arange(r) / r
    return ir / np.sqrt(np.sum(ir ** 2))


def air_knock(rng):
    """the thud of a body, mean square about 1 over its first 50 ms"""
    t = np.arange(int(.15 * SR)) / SR
    x = np.zeros(len(t))
    for f in (rng.uniform(85, 120), rng.uniform(170, 240), rng.uniform(300, 480), rng.uniform(480, 800)):
        x += rng.uniform(.2, 1) * np.sin(2 * np.pi * f * t) * np.exp(-np.pi * f / rng.uniform(5, 15) * t)
    return x / (np.sqrt(np.mean(x[:1100] ** 2)) + 1e-9)
