"""The network that judges, second by second, whether one plucked guitar is what sounds: its input, its shape, how it is
written down for `src/analysis/one_guitar`."""
import numpy as np

RATE = 22050
WINDOW, HOP, FRAMES = 1024, 512, 86  # 46 ms, 23 ms apart, 2 s in all
BANDS = 48
FLOOR = 1e-6  # power below the patch's strongest band that still counts: 60 dB
QUIET = 1e-3  # of the recording's loudness (30 dB below it): such a second is not judged
FIRST, SECOND, THIRD, HIDDEN, CLASSES = 56, 80, 80, 48, 3


def edges():
    """first bins of the bands, log-spaced from 64 Hz to 9.5 kHz, none of them empty"""
    e = np.round(np.geomspace(64, 9500, BANDS + 1) * WINDOW / RATE).astype(int)
    for i in range(1, len(e)):
        e[i] = max(e[i], e[i - 1] + 1)
    return e


def bands(x):
    """[frames, BANDS]: power, frame f centred on sample f * HOP"""
    xp = np.concatenate([np.zeros(WINDOW // 2), x, np.zeros(WINDOW)])
    n = len(x) // HOP + 1
    fr = np.lib.stride_tricks.sliding_window_view(xp, WINDOW)[::HOP][:n]
    w = .5 - .5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)
    X = np.abs(np.fft.rfft(fr * w, axis=1)) ** 2
    C = np.concatenate([np.zeros((n, 1)), np.cumsum(X, axis=1)], axis=1)
    e = edges()
    return C[:, e[1:]] - C[:, e[:-1]]


def windows(x):
    """-> [seconds, FRAMES, BANDS] around the middle of every whole second that is loud enough, and which seconds"""
    P = bands(x)
    loud = float(np.sort(P.sum(1))[int(.95 * (len(P) - 1))]) + 1e-12
    half, out, which = FRAMES // 2, [], []
    P = np.pad(P, ((half, half + 1), (0, 0)))
    for s in range(int(len(x) / RATE)):
        c = int((s + .5) * RATE / HOP)
        p = P[c:c + FRAMES]
        if p[half - 21:half + 22].sum(1).mean() < QUIET * loud:
            continue
        out.append(np.log10(p / (p.max() + 1e-14) + FLOOR) / 6 + 1)
        which.append(s)
    return np.array(out, np.float32).reshape(-1, FRAMES, BANDS), which


def steadied(p, prior=1.25, clear=6.9, changes=1 / 60, counts=.3):
    """probabilities of one guitar by second -> the same with those before and after (`src/analysis/one_guitar.rs`)"""
    own = counts * (np.clip(np.log(p / (1 - p)), -clear, clear) + prior)

    def along(own):
        before, out = 0.0, []
        for x in own:
            foretold = np.log(((1 - changes) * np.exp(before) + changes) / (changes * np.exp(before) + 1 - changes))
            out.append(foretold)
            before = foretold + x
        return np.array(out)

    return 1 / (1 + np.exp(-(along(own) + own + along(own[::-1])[::-1])))


def network():
    import torch
    from torch import nn

    class Solo(nn.Module):
        def __init__(self):
            super().__init__()
            self.c1, self.b1 = nn.Conv1d(BANDS, FIRST, 5, stride=2, padding=2), nn.BatchNorm1d(FIRST)
            self.c2, self.b2 = nn.Conv1d(FIRST, SECOND, 5, stride=2, padding=2), nn.BatchNorm1d(SECOND)
            self.c3, self.b3 = nn.Conv1d(SECOND, THIRD, 3, stride=2, padding=1), nn.BatchNorm1d(THIRD)
            self.h = nn.Linear(2 * THIRD, HIDDEN)
            self.o = nn.Linear(HIDDEN, CLASSES)
            self.drop = nn.Dropout(.2)

        def forward(self, x):  # [n, BANDS, FRAMES]
            for c, b in ((self.c1, self.b1), (self.c2, self.b2), (self.c3, self.b3)):
                x = torch.relu(b(c(x)))
            return self.o(torch.relu(self.h(self.drop(torch.cat([x.mean(2), x.amax(2)], 1)))))

    return Solo()


def export(net):
    """all weights in the order `src/analysis/one_guitar` reads them: little-endian f32, inputs outermost, outputs innermost,
    normalisations folded in"""
    import torch
    from network import folded
    net = net.cpu().eval()
    parts = []
    for c, b in ((net.c1, net.b1), (net.c2, net.b2), (net.c3, net.b3)):
        w, bias = folded(c.weight, c.bias, b)
        parts += [w.permute(2, 1, 0).reshape(-1), bias]
    for l in (net.h, net.o):
        parts += [l.weight.detach().double().t().reshape(-1), l.bias.detach().double()]
    return torch.cat([p.reshape(-1) for p in parts]).numpy().astype("<f4")


class Judge:
    """the exported weights, read with numpy alone"""

    def __init__(self, path):
        w, at = np.fromfile(path, "<f4").astype(np.float64), 0
        self.layers = []
        for shape in ((5, BANDS, FIRST), (FIRST,), (5, FIRST, SECOND), (SECOND,), (3, SECOND, THIRD), (THIRD,),
                      (2 * THIRD, HIDDEN), (HIDDEN,), (HIDDEN, CLASSES), (CLASSES,)):
            n = int(np.prod(shape))
            self.layers.append(w[at:at + n].reshape(shape))
            at += n
        assert at == len(w), (at, len(w))

    def __call__(self, x):  # [n, FRAMES, BANDS] -> [n, CLASSES]
        l = self.layers
        for i in (0, 2, 4):
            k = len(l[i])
            xp = np.pad(x, ((0, 0), (k // 2, k // 2), (0, 0)))
            m = (x.shape[1] + 1) // 2
            x = np.maximum(l[i + 1] + sum(xp[:, j:j + 2 * m - 1:2] @ l[i][j] for j in range(k)), 0)
        z = np.concatenate([x.mean(1), x.max(1)], 1)
        z = np.maximum(z @ l[6] + l[7], 0) @ l[8] + l[9]
        z = np.exp(z - z.max(1, keepdims=True))
        return z / z.sum(1, keepdims=True)
