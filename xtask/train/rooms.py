"""Rooms, microphones, machines: what lies between the strings and the file.  Nothing here moves the
direct sound in time."""
import numpy as np
import scipy.signal as ss
from scipy.fft import next_fast_len

SR = 22050


def logu(rng, a, b):
    return float(np.exp(rng.uniform(np.log(a), np.log(b))))


def room(rng, x):
    rt = logu(rng, .08, 1.2)
    n = int(rt * SR * 1.1)
    t = np.arange(n) / SR
    ir = np.zeros(n)
    for lo, hi, k in ((60, 400, rng.uniform(.7, 1.4)), (400, 2500, 1.0), (2500, 10000, rng.uniform(.3, .9))):
        ir += ss.sosfilt(ss.butter(1, [lo, hi], "band", fs=SR, output="sos"), rng.standard_normal(n)) * 10 ** (-3 * t / (rt * k))
    ir[: int(rng.uniform(.002, .012) * SR)] = 0
    ir *= 10 ** (rng.uniform(-32, -6) / 20) / (np.sqrt(np.sum(ir ** 2)) + 1e-12)
    for _ in range(rng.integers(0, 9)):
        k = int(rng.uniform(.0008, .035) * SR)
        if k < n:
            ir[k] += rng.choice([-1, 1]) * rng.uniform(.02, .3)
    ir[0] = 1
    return ss.fftconvolve(x, ir)[:len(x)]


def sympathetic(rng, x, open_midi_hz):
    """strings that nobody plucks ring along"""
    n = int(1.2 * SR)
    t = np.arange(n) / SR
    ir = np.zeros(n)
    for f0 in open_midi_hz:
        for k in range(1, 9):
            if f0 * k < 5000 and rng.random() < .8:
                ir += rng.uniform(.2, 1) / k * np.sin(2 * np.pi * f0 * k * (1 + 2e-5 * k * k) * t) * np.exp(-t * rng.uniform(2, 8) * (1 + .2 * k))
    y = ss.fftconvolve(x, ir)[:len(x)]
    return x + y / (np.std(y) + 1e-12) * np.std(x) * 10 ** (rng.uniform(-40, -22) / 20)


def equalise(rng, x):
    """a smooth random curve in frequency, +-10 dB"""
    n = len(x)
    knots = np.log2([30, 80, 160, 320, 640, 1280, 2560, 5120, 11025])
    g = rng.standard_normal(len(knots)) * rng.uniform(0, 5)
    g += (knots - knots.mean()) * rng.uniform(-2.5, 1.5)
    # minimum phase, so that nothing sounds before it is played
    size = 4096
    ff = np.fft.rfftfreq(size, 1 / SR)
    logm = np.interp(np.log2(np.maximum(ff, 20)), knots, g) * np.log(10) / 20
    c = np.fft.irfft(logm)
    w = np.zeros(size)
    w[0], w[1:size // 2], w[size // 2] = 1, 2, 1
    h = np.fft.irfft(np.exp(np.fft.rfft(c * w)))[:1024]
    return ss.fftconvolve(x, h)[:n]


def peak(rng, x, hz, db, q):
    """one resonance more, causal (a second-order section added to the sound)"""
    b, a = ss.iirpeak(hz, max(q, hz / 7000), fs=SR)  # a wider one would not die away
    return x + (10 ** (db / 20) - 1) * ss.lfilter(b, a, x)


def noise(rng, length):
    n = next_fast_len(length, real=True)
    f = np.fft.rfftfreq(n, 1 / SR)
    X = (rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f))) / np.maximum(f, 30) ** rng.uniform(0, 1)
    y = np.fft.irfft(X, n)[:length]
    return y / (np.std(y) + 1e-12)


def hum(rng, n):
    f0 = rng.choice([50, 60]) * rng.uniform(.998, 1.002)
    t = np.arange(n) / SR
    y = np.zeros(n)
    for k in range(1, rng.integers(2, 14)):
        y += rng.uniform(0, 1) / k ** rng.uniform(.3, 1.5) * np.sin(2 * np.pi * f0 * k * t + rng.uniform(0, 6.28))
    return y / (np.std(y) + 1e-12)


def thump(rng):
    """a foot, a knuckle on the box, a bumped microphone"""
    m = int(.2 * SR)
    t = np.arange(m) / SR
    y = np.zeros(m)
    base = logu(rng, 50, 250)
    for k in range(rng.integers(1, 6)):
        f = base * (1 + k * rng.uniform(.3, 1.2))
        y += rng.uniform(.2, 1) * np.sin(2 * np.pi * f * t + rng.uniform(0, 6.28)) * np.exp(-t / rng.uniform(.006, .05))
    hi = logu(rng, 400, 8000)
    y += rng.uniform(0, 1.2) * ss.sosfilt(ss.butter(1, hi, "low", fs=SR, output="sos"), rng.standard_normal(m)) * np.exp(-t / logu(rng, .002, .03))
    r = int(rng.uniform(.0003, .004) * SR) + 1
    y[:r] *= np.arange(r) / r
    return y / (np.abs(y).max() + 1e-12)


def squeak(rng):
    m = int(rng.uniform(.03, .16) * SR)
    f = np.linspace(logu(rng, 600, 2500), logu(rng, 900, 4000), m)
    tone = np.sin(2 * np.pi * np.cumsum(f) / SR) + .5 * np.sin(4 * np.pi * np.cumsum(f) / SR)
    nz = ss.sosfilt(ss.butter(1, [700, 5000], "band", fs=SR, output="sos"), rng.standard_normal(m))
    a = rng.uniform(0, 1)
    return (a * tone + (1 - a) * nz * 1.5) * np.hanning(m)


def ride(rng, x):
    """automatic gain as phones have it: quiet stretches come up, a loud stroke is pressed down and the gain
    climbs back over a second or so"""
    fast, slow = np.exp(-1 / (logu(rng, .002, .03) * SR)), np.exp(-1 / (logu(rng, .3, 3) * SR))
    env = ss.lfilter([1 - fast], [1, -fast], np.abs(x))
    step = 256
    n = len(x) // step + 1
    top = np.maximum.reduceat(env, np.arange(0, len(env), step))
    held, out = 0.0, np.empty(len(top))
    fall = slow ** step
    for i, v in enumerate(top):
        held = max(v, held * fall)
        out[i] = held
    g = 1 / np.maximum(out / (out.max() + 1e-12), 10 ** (-rng.uniform(6, 26) / 20))
    return x * np.interp(np.arange(len(x)), np.arange(n)[:len(g)] * step, g) ** rng.uniform(.4, 1)


def phone(rng, x):
    """the small microphone of a phone: no bass, a hump in the treble, now and then only a telephone's band"""
    x = ss.sosfilt(ss.butter(rng.integers(1, 4), logu(rng, 80, 320), "high", fs=SR, output="sos"), x)
    x = peak(rng, x, logu(rng, 1500, 6000), rng.uniform(-3, 10), rng.uniform(.5, 2))
    if rng.random() < .3:
        x = ss.sosfilt(ss.butter(rng.integers(3, 8), logu(rng, 3300, 8000), "low", fs=SR, output="sos"), x)
    return x


def breath(rng, n):
    """breath, cloth, a chair, a page: slow gusts of noise in a band, none of them a note"""
    y = np.zeros(n)
    for _ in range(rng.integers(1, 12)):
        m = int(logu(rng, .05, .9) * SR)
        a = int(rng.uniform(0, max(1, n - m)))
        lo = logu(rng, 100, 3000)
        z = ss.sosfilt(ss.butter(1, [lo, min(lo * rng.uniform(2, 6), 9500)], "band", fs=SR, output="sos"), rng.standard_normal(m))
        w = np.hanning(m) ** rng.uniform(.5, 3)
        if rng.random() < .3:
            w = w * (np.sin(2 * np.pi * np.cumsum(rng.uniform(8, 60) * np.exp(.3 * rng.standard_normal(m // 512 + 1)).repeat(512)[:m]) / SR) > .6)
        z = z * w
        y[a:a + m] += (z / (np.std(z) + 1e-9) * 10 ** (rng.uniform(-18, 0) / 20))[:max(0, n - a)]
    return y


def codec(rng, x):
    """what a lossy codec does: coarse steps in a transform of blocks, nothing above a limit"""
    n = int(rng.choice([256, 512, 1024, 1024]))
    w = np.sin(np.pi * (np.arange(2 * n) + .5) / (2 * n))
    xp = np.concatenate([np.zeros(n), x, np.zeros(2 * n - len(x) % n)])
    fr = np.lib.stride_tricks.sliding_window_view(xp, 2 * n)[::n] * w
    # MDCT by an FFT of the folded block
    a, b, c, d = np.split(fr, 4, axis=1)
    u = np.concatenate([-c[:, ::-1] - d, a - b[:, ::-1]], axis=1)
    from scipy.fft import dct, idct
    S = dct(u, type=4, axis=1, norm="ortho")
    edges = np.unique(np.geomspace(4, n, 22).astype(int))
    edges[0] = 0
    rel = rng.uniform(.05, .5) if rng.random() < .7 else rng.uniform(.5, 1.1)
    for i in range(len(edges) - 1):
        band = S[:, edges[i]:edges[i + 1]]
        step = rel * (np.sqrt((band ** 2).mean(axis=1, keepdims=True)) * 1.2 + 1e-5)
        S[:, edges[i]:edges[i + 1]] = np.round(band / step) * step
    S[:, int(rng.uniform(.45, 1.0) * n):] = 0
    v = idct(S, type=4, axis=1, norm="ortho")
    p, q = v[:, :n // 2], v[:, n // 2:]
    y = np.concatenate([q, -q[:, ::-1], -p[:, ::-1], -p], axis=1) * w
    out = np.zeros(len(xp))
    for i in range(len(y)):
        out[i * n:i * n + 2 * n] += y[i]
    return out[n:n + len(x)]


def record(rng, x):
    """-> what the file holds, peak below 1"""
    x = x / (np.abs(x).max() + 1e-12)
    near = rng.random()
    if near < .12:  # a pickup under the saddle or at each string: no room, a hard middle
        x = peak(rng, x, logu(rng, 700, 3000), rng.uniform(2, 12), rng.uniform(.4, 1.5))
    elif near < .95:
        x = room(rng, x)
        if near > .8:  # a microphone close to the sound hole: the box booms
            x = peak(rng, x, rng.uniform(85, 220), rng.uniform(2, 10), rng.uniform(.5, 3))
    if rng.random() < .85:
        x = equalise(rng, x)
    small = rng.random() < .25
    if small:
        x = phone(rng, x)
    x = ss.sosfilt(ss.butter(rng.integers(1, 3), logu(rng, 20, 110), "high", fs=SR, output="sos"), x)
    x /= np.abs(x).max() + 1e-12
    rms = np.std(x)
    if rng.random() < .85:
        x = x + rms * 10 ** (rng.uniform(-75, -22) / 20) * noise(rng, len(x))
    if rng.random() < .35:
        x = x + rms * 10 ** (rng.uniform(-60, -24) / 20) * hum(rng, len(x))
    if rng.random() < .25:
        x = x + rms * 10 ** (rng.uniform(-45, -12) / 20) * breath(rng, len(x))
    if rng.random() < (.5 if small else .08):
        x = ride(rng, x)
    if rng.random() < .35:
        thr, ratio = rng.uniform(-30, -6), rng.uniform(1.5, 8)
        a, r = np.exp(-1 / (logu(rng, .001, .03) * SR)), np.exp(-1 / (logu(rng, .05, .3) * SR))
        env = np.maximum(ss.lfilter([1 - a], [1, -a], np.abs(x)), ss.lfilter([1 - r], [1, -r], np.abs(x)))
        lev = 20 * np.log10(env / (np.abs(x).max() + 1e-12) + 1e-9)
        x = x * 10 ** (-np.maximum(lev - thr, 0) * (1 - 1 / ratio) / 20)
    if rng.random() < .12:
        g = rng.uniform(1, 5)
        x = np.tanh(g * x / np.abs(x).max()) / g
    if rng.random() < .08:  # too loud for the machine
        top = np.abs(x).max() * 10 ** (-rng.uniform(1, 12) / 20)
        x = np.clip(x, -top, top)
    if rng.random() < .35:
        x = ss.sosfilt(ss.butter(rng.integers(1, 5), logu(rng, 2500, 9500), "low", fs=SR, output="sos"), x)
    if rng.random() < .25:
        x = codec(rng, x)
    x = x / (np.abs(x).max() + 1e-12) * 10 ** (rng.uniform(-24, -.3) / 20)
    if rng.random() < .2:
        x = np.round(x * 32767) / 32767
    return x
