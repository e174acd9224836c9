"""The network: a stack of dilated convolutions over frames, and how its weights are written."""
import numpy as np
import torch
from torch import nn
from frames import FEATURES, TEMPI
from styles import METERS

KERNEL = 5
BLOCKS = 11
OUTPUTS = 2 + TEMPI + len(METERS)      # beat, downbeat, tempo, meter


class Block(nn.Module):
    def __init__(self, width, dilation, drop):
        super().__init__()
        self.wide = nn.Conv1d(width, width, KERNEL, dilation=dilation, padding=dilation * (KERNEL // 2))
        self.mix = nn.Conv1d(width, width, 1)
        self.drop = nn.Dropout(drop)

    def forward(self, x):
        return x + self.mix(self.drop(torch.nn.functional.elu(self.wide(x))))


class Net(nn.Module):
    def __init__(self, width=40, drop=.1):
        super().__init__()
        self.first = nn.Conv1d(FEATURES, width, KERNEL, padding=KERNEL // 2)
        self.blocks = nn.ModuleList(Block(width, 2 ** k, drop) for k in range(BLOCKS))
        self.last = nn.Conv1d(width, OUTPUTS, 1)
        for b in self.blocks:
            with torch.no_grad():
                b.mix.weight.mul_(.5)

    def forward(self, x):
        """(batch, FEATURES, frames) → (batch, OUTPUTS, frames), logits."""
        x = self.first(x)
        for b in self.blocks:
            x = b(x)
        return self.last(torch.nn.functional.elu(x))


def widened(net, old):
    """Puts the weights of a smaller network into a larger one, which then says the same."""
    own = net.state_dict()
    for name, w in old.items():
        new = own[name]
        if name.endswith("bias"):
            new[: len(w)] = w
            continue
        if not name.startswith("first"):
            new[: w.shape[0], w.shape[1]:] = 0
        else:
            new[: w.shape[0]] = 0
        new[: w.shape[0], : w.shape[1]] = w
    net.load_state_dict(own)


def export(net, path):
    """All weights as half floats, little endian, in the order of the layers: weights (out, in, tap), then biases."""
    parts = []
    for layer in [net.first] + [m for b in net.blocks for m in (b.wide, b.mix)] + [net.last]:
        parts += [layer.weight.detach().float().cpu().numpy().ravel(), layer.bias.detach().float().cpu().numpy().ravel()]
    np.concatenate(parts).astype("<f2").tofile(path)


def losses(out, beat, down, tempo, meter):
    bce = nn.functional.binary_cross_entropy_with_logits
    ce = nn.functional.cross_entropy
    a = bce(out[:, 0], beat)
    b = bce(out[:, 1], down)
    t = ce(out[:, 2:2 + TEMPI], tempo, ignore_index=-1)
    m = ce(out[:, 2 + TEMPI:], meter, ignore_index=-1)
    return a, b, t, m
