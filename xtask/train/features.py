"""What the network reads at one instant of a recording.  `src/analysis/pluck_net/patch.rs` computes the
same numbers; a stored example keeps the two together.

All of it is taken from the recording at 22,050 Hz, mono.
"""
import numpy as np
import scipy.sparse as sp

RATE = 22050
PER_SEMITONE = 3
LOW_MIDI = 34  # the lowest bin lies a third of a semitone below it
BINS = PER_SEMITONE * 86
LOWEST, HIGHEST = 36, 88  # pitches that are told
PITCHES = HIGHEST - LOWEST + 1
FLOOR = 1e-6  # power below the patch's strongest bin that still counts: 60 dB
LONG, MEDIUM, SHORT, BRIEF = 4096, 2048, 1024, 512
# (window, first sample after the instant)
BEFORE_LONG, BEFORE_MEDIUM = (LONG, -132 - LONG), (MEDIUM, -132 - MEDIUM)
AFTER_SHORT, AFTER_MEDIUM, AFTER_LONG, LATER_LONG = (SHORT, -44), (MEDIUM, 0), (LONG, 0), (LONG, 1544)
# how much of a partial lies in these against those above tells when it began
ACROSS_SHORT, LATER_SHORT = (SHORT, -512), (SHORT, 440)
WINDOWS = [BEFORE_LONG, BEFORE_MEDIUM, AFTER_SHORT, AFTER_MEDIUM, AFTER_LONG, LATER_LONG, ACROSS_SHORT, LATER_SHORT] + [(BRIEF, s) for s in (-384, -128, 128, 384)]
CHANNELS = len(WINDOWS) + 2
# the envelope: 29 frames of 256 samples, 5 ms apart, centred from -60 to +80 ms, in 19 bands
FRAME, HOP, FRAMES, FIRST = 256, 110, 29, -12
EDGES = [1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 18, 22, 27, 33, 40, 48, 58, 70, 85, 105]
BANDS = len(EDGES) - 1
BLOCK = 1102  # 50 ms, for the loudness of the whole


def hann(n):
    return .5 - .5 * np.cos(2 * np.pi * np.arange(n) / n)


def bank(size, cents):
    """triangles on the bins of a spectrum of `size` points: as wide as a third of a semitone, or as the
    spectrum's own spacing where that is wider"""
    spacing = RATE / size
    freq = np.arange(size // 2 + 1) * spacing
    midi = LOW_MIDI + (np.arange(BINS) - 1) / PER_SEMITONE + cents / 100
    centre = 440 * 2 ** ((midi - 69) / 12)
    half = np.maximum(centre * (2 ** (1 / 36) - 1), spacing)
    w = np.maximum(0, 1 - np.abs(freq[None] - centre[:, None]) / half[:, None])
    return sp.csr_matrix(w / w.sum(axis=1, keepdims=True))


def loudness(x):
    """mean square of the loud part of a recording: the 95th percentile of its 50 ms blocks"""
    n = len(x) // BLOCK
    if n == 0:
        return float(np.mean(x ** 2)) if len(x) else 0.0
    e = np.sort((x[:n * BLOCK].reshape(n, BLOCK) ** 2).mean(axis=1))
    return float(e[(n - 1) * 95 // 100])


def squash(p, top):
    return np.log10(p / top + FLOOR) / 6 + 1


def patches(x, times, cents=0.0):
    """-> spectra [n, CHANNELS, BINS], envelope [n, BANDS, FRAMES], levels [n, 2], float32"""
    pad = LONG + 4096
    xp = np.concatenate([np.zeros(pad), x, np.zeros(pad + LONG)])
    at = np.round(np.asarray(times) * RATE).astype(int) + pad
    at = np.clip(at, LONG + 200, len(xp) - LONG - 1600)
    n = len(at)
    banks = {k: bank(k, cents) for k in (LONG, MEDIUM, SHORT, BRIEF)}
    wins = {k: hann(k) * 2 / hann(k).sum() for k in (LONG, MEDIUM, SHORT, BRIEF, FRAME)}
    P = np.zeros((n, len(WINDOWS), BINS))
    for c, (size, start) in enumerate(WINDOWS):
        seg = xp[(at + start)[:, None] + np.arange(size)[None]]
        X = np.abs(np.fft.rfft(seg * wins[size], axis=1)) ** 2
        P[:, c] = (banks[size] @ X.T).T
    top = P.reshape(n, -1).max(axis=1) + 1e-14
    rise_long = np.maximum(P[:, 4] - P[:, 0], 0)
    rise_medium = np.maximum(P[:, 3] - P[:, 1], 0)
    P = np.concatenate([P, rise_long[:, None], rise_medium[:, None]], axis=1)
    spectra = squash(P, top[:, None, None])
    env = np.zeros((n, BANDS, FRAMES))
    for f in range(FRAMES):
        seg = xp[(at + (FIRST + f) * HOP - FRAME // 2)[:, None] + np.arange(FRAME)[None]]
        X = np.abs(np.fft.rfft(seg * wins[FRAME], axis=1)) ** 2
        C = np.concatenate([np.zeros((n, 1)), np.cumsum(X, axis=1)], axis=1)
        env[:, :, f] = C[:, EDGES[1:]] - C[:, EDGES[:-1]]
    env = squash(env, env.reshape(n, -1).max(axis=1)[:, None, None] + 1e-14)
    ref = loudness(x) + 1e-14
    lev = np.zeros((n, 2))
    for i, (size, start) in enumerate((AFTER_MEDIUM, BEFORE_MEDIUM)):
        e = (xp[(at + start)[:, None] + np.arange(size)[None]] ** 2).mean(axis=1)
        lev[:, i] = np.clip(np.log10(e / ref + 1e-8) / 4, -2, 1)
    return spectra.astype(np.float32), env.astype(np.float32), lev.astype(np.float32)


def patches_torch(x, times, cents, device):
    """the same as `patches`, on an accelerator: tensors in steps of 1/255, as they are learned from"""
    import torch

    pad = LONG + 4096
    xp = torch.nn.functional.pad(torch.as_tensor(x, dtype=torch.float32, device=device), (pad, pad + LONG))
    at = np.clip(np.round(np.asarray(times) * RATE).astype(int) + pad, LONG + 200, len(xp) - LONG - 1600)
    at = torch.as_tensor(at, device=device)
    n = len(at)

    def power(size, start, at=at):
        seg = xp.unfold(0, size, 1)[at + start]
        w = torch.as_tensor(hann(size) * 2 / hann(size).sum(), dtype=torch.float32, device=device)
        return torch.fft.rfft(seg * w).abs() ** 2

    def bank_there(size):
        spacing = RATE / size
        freq = torch.arange(size // 2 + 1, device=device) * spacing
        midi = LOW_MIDI + (torch.arange(BINS, device=device, dtype=torch.float64) - 1) / PER_SEMITONE + cents / 100
        centre = (440 * 2 ** ((midi - 69) / 12)).float()
        half = (centre * (2 ** (1 / 36) - 1)).clamp(min=spacing)
        w = (1 - (freq[:, None] - centre[None]).abs() / half[None]).clamp(min=0)
        return w / w.sum(0, keepdim=True)

    banks = {k: bank_there(k) for k in (LONG, MEDIUM, SHORT, BRIEF)}
    bands_there = torch.zeros(FRAME // 2 + 1, BANDS, device=device)
    for i, (low, high) in enumerate(zip(EDGES[:-1], EDGES[1:])):
        bands_there[low:high, i] = 1
    P = torch.stack([power(size, start) @ banks[size] for size, start in WINDOWS], 1)
    top = P.reshape(n, -1).amax(1) + 1e-14
    P = torch.cat([P, (P[:, 4:5] - P[:, 0:1]).clamp(min=0), (P[:, 3:4] - P[:, 1:2]).clamp(min=0)], 1)
    squashed = lambda p, most: torch.log10(p / most + FLOOR) / 6 + 1
    spectra = squashed(P, top[:, None, None])
    starts = torch.arange(FIRST, FIRST + FRAMES, device=device) * HOP - FRAME // 2
    X = power(FRAME, starts, at[:, None])  # [n, FRAMES, bins]
    env = (X @ bands_there).transpose(1, 2)
    env = squashed(env, env.reshape(n, -1).amax(1)[:, None, None] + 1e-14)
    blocks = (xp[pad:pad + len(x) // BLOCK * BLOCK].reshape(-1, BLOCK) ** 2).mean(1).sort().values
    ref = blocks[(len(blocks) - 1) * 95 // 100] + 1e-14 if len(blocks) else (xp ** 2).mean() + 1e-14
    lev = torch.stack([(torch.log10((xp.unfold(0, size, 1)[at + start] ** 2).mean(1) / ref + 1e-8) / 4).clamp(-2, 1)
                       for size, start in (AFTER_MEDIUM, BEFORE_MEDIUM)], 1)
    byte = lambda v: (255 * v.clamp(0, 1)).round().to(torch.uint8)
    return byte(spectra), byte(env), lev.half()


def flux_peaks(x):
    """instants where any band rises: more than there are notes, few notes missing"""
    n = max(0, (len(x) - FRAME) // HOP)
    if n < 8:
        return np.zeros(0)
    fr = np.lib.stride_tricks.sliding_window_view(x, FRAME)[::HOP][:n]
    X = np.abs(np.fft.rfft(fr * hann(FRAME), axis=1)) ** 2
    C = np.concatenate([np.zeros((n, 1)), np.cumsum(X, axis=1)], axis=1)
    E = np.log10(C[:, EDGES[1:]] - C[:, EDGES[:-1]] + 1e-3 * np.median(C[:, -1]) + 1e-9)
    d = np.maximum(E[2:] - E[:-2], 0).sum(axis=1)
    d = np.convolve(d, [.25, .5, .25], "same")
    k = np.arange(3, len(d) - 3)
    win = np.lib.stride_tricks.sliding_window_view(d, 7).max(axis=1)
    base = np.convolve(d, np.ones(41) / 41, "same")
    pick = k[(d[k] >= win[k - 3]) & (d[k] > .6 * base[k] + .05)]
    return ((pick + 1) * HOP + FRAME / 2) / RATE


def resample(x, rate):
    """windowed sinc (Kaiser, beta 8, 16 crossings), output sample n exactly at n / RATE seconds"""
    if rate == RATE:
        return np.asarray(x, float)
    ratio = rate / RATE
    cut = .96 * min(1.0, 1 / ratio)
    n = int(np.ceil(len(x) / ratio))
    out = np.empty(n)
    reach = int(np.ceil(16 / cut))
    xp = np.concatenate([np.zeros(reach + 1), x, np.zeros(reach + 2)])
    k = np.arange(-reach, reach + 1)
    i0b = np.i0(8.0)
    for a in range(0, n, 20000):
        centre = np.arange(a, min(n, a + 20000)) * ratio
        base = np.floor(centre).astype(int)
        u = (k[None] - (centre - base)[:, None]) * cut
        w = np.sinc(u) * np.where(np.abs(u) <= 16, np.i0(8.0 * np.sqrt(np.maximum(0, 1 - (u / 16) ** 2))) / i0b, 0)
        out[a:a + len(centre)] = (xp[base[:, None] + k[None] + reach + 1] * w).sum(axis=1) * cut
    return out
