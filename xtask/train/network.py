"""The network, and how it is written down for `src/analysis/pluck_net`.

Small because it is told what a string is: the same weights look at every pitch, along the places of
its partials; and because it is asked only at instants where something may have begun.
"""
import torch
from torch import nn

import features as F
from shape import AGAIN, BEAT, CONTEXT, FIRST, HIDDEN, KINDS, NEIGHBOURS, PARTIALS, PITCH, SAYS, SECOND, WEIGHED


def around(h, far, first=0, step=1):
    """[n, ch, places] -> [n, far * ch, pitches]: what lies `far` from every pitch, zeros outside"""
    low, high = max(0, -min(far) - first), max(0, max(far) + first + step * F.PITCHES - h.shape[2])
    h = nn.functional.pad(h, (low, high))
    at = [low + first + d for d in far]
    return torch.cat([h[:, :, a:a + step * (F.PITCHES - 1) + 1:step] for a in at], 1)


def each(layer, x):
    """a dense layer at every pitch"""
    return nn.functional.conv1d(x, layer.weight[:, :, None], layer.bias)


class Ear(nn.Module):
    def __init__(self):
        super().__init__()
        self.c1, self.b1 = nn.Conv1d(F.CHANNELS, FIRST, 5, padding=2), nn.BatchNorm1d(FIRST)
        self.c2, self.b2 = nn.Conv1d(FIRST, SECOND, 3, padding=1), nn.BatchNorm1d(SECOND)
        self.t1, self.tb1 = nn.Conv1d(F.BANDS, BEAT, 3, padding=1), nn.BatchNorm1d(BEAT)
        self.t2, self.tb2 = nn.Conv1d(BEAT, BEAT, 3, stride=2, padding=1), nn.BatchNorm1d(BEAT)
        self.t3 = nn.Linear(BEAT * ((F.FRAMES + 1) // 2) + 2, CONTEXT)
        self.h, self.hb = nn.Linear(len(PARTIALS) * SECOND, PITCH), nn.BatchNorm1d(PITCH)
        self.ctx = nn.Linear(CONTEXT, PITCH, bias=False)
        self.p, self.pb = nn.Linear(len(NEIGHBOURS) * PITCH, PITCH), nn.BatchNorm1d(PITCH)
        self.q, self.qb = nn.Linear(len(AGAIN) * PITCH, WEIGHED), nn.BatchNorm1d(WEIGHED)
        self.out = nn.Linear(PITCH + WEIGHED, SAYS)
        nn.init.constant_(self.out.bias, -3.0)
        nn.init.constant_(self.out.bias[2], 0.0)
        self.g1 = nn.Linear(PITCH + WEIGHED + CONTEXT + 2, HIDDEN)
        self.g2 = nn.Linear(HIDDEN, 1 + KINDS + 1)
        self.e = nn.Linear(CONTEXT, 1)  # an onset, from the envelope alone

    def forward(self, spectra, env, lev):
        x = torch.relu(self.b1(self.c1(spectra)))
        x = torch.relu(self.b2(self.c2(x)))
        t = torch.relu(self.tb1(self.t1(env)))
        t = torch.relu(self.tb2(self.t2(t)))
        t = torch.relu(self.t3(torch.cat([t.flatten(1), lev], 1)))  # [n, BEAT * frames] channel-major
        h = each(self.h, around(x, PARTIALS, 3 * (F.LOWEST - F.LOW_MIDI) + 1, 3))
        h = torch.relu(self.hb(h) + self.ctx(t)[:, :, None])  # [n, ch, pitches]
        y = torch.relu(self.pb(each(self.p, around(h, NEIGHBOURS))))
        v = torch.relu(self.qb(each(self.q, around(y, AGAIN))))
        z = torch.cat([y, v], 1)
        out = each(self.out, z).transpose(1, 2)  # [n, pitches, says]
        g = torch.cat([z.amax(2), t, lev], 1)
        g = self.g2(torch.relu(self.g1(g)))
        return dict(early=self.e(t)[:, 0], pitch=out[..., 0], sounding=out[..., 1], begins=out[..., 2], made=out[..., 3:], onset=g[:, 0], kinds=g[:, 1:1 + KINDS], offset=g[:, -1])


def folded(w, b, bn):
    k = (bn.weight / torch.sqrt(bn.running_var + bn.eps)).detach().double()
    return w.detach().double() * k.reshape(-1, *[1] * (w.dim() - 1)), (b.detach().double() - bn.running_mean.double()) * k + bn.bias.detach().double()


def export(net):
    """all weights in the order `src/analysis/pluck_net/weights.rs` reads them: little-endian f32, inputs outermost,
    outputs innermost, normalisations folded in"""
    net = net.cpu().eval()
    parts = []

    def conv(w, b):  # [out, in, k] -> [k, in, out]
        parts.append(w.permute(2, 1, 0).reshape(-1))
        parts.append(b)

    def dense(w, b=None):  # [out, in] -> [in, out]
        parts.append(w.t().reshape(-1))
        if b is not None:
            parts.append(b)

    conv(*folded(net.c1.weight, net.c1.bias, net.b1))
    conv(*folded(net.c2.weight, net.c2.bias, net.b2))
    conv(*folded(net.t1.weight, net.t1.bias, net.tb1))
    conv(*folded(net.t2.weight, net.t2.bias, net.tb2))
    # the envelope's last layer is stored frame by frame
    frames = (F.FRAMES + 1) // 2
    w = net.t3.weight.detach().double()
    body = w[:, :BEAT * frames].reshape(CONTEXT, BEAT, frames).permute(0, 2, 1).reshape(CONTEXT, -1)
    dense(torch.cat([body, w[:, BEAT * frames:]], 1), net.t3.bias.detach().double())
    dense(*folded(net.h.weight, net.h.bias, net.hb))
    dense(net.ctx.weight.detach().double())
    dense(*folded(net.p.weight, net.p.bias, net.pb))
    dense(*folded(net.q.weight, net.q.bias, net.qb))
    for layer in (net.out, net.g1, net.g2, net.e):
        dense(layer.weight.detach().double(), layer.bias.detach().double())
    return torch.cat([p.reshape(-1) for p in parts]).numpy().astype("<f4")


def losses(out, y, dev):
    bce = nn.functional.binary_cross_entropy_with_logits

    def masked(logit, target, weight=1.0):
        m = (target >= 0).float()
        t = target.clamp(min=0).float()
        return (bce(logit, t, reduction="none", pos_weight=torch.tensor(weight, device=dev)) * m).sum() / len(logit)

    pitch = masked(out["pitch"], y["pitch"], 1.0)
    sounding = masked(out["sounding"], y["sounding"])
    onset = masked(out["onset"][:, None], y["onset"][:, None])
    early = masked(out["early"][:, None], y["onset"][:, None])
    kinds = (bce(out["kinds"], y["kinds"].float(), reduction="none") * (y["onset"][:, None] >= 0)).sum() / len(y["onset"])
    has = torch.isfinite(y["offset"])
    err = (out["offset"] - torch.nan_to_num(y["offset"]) / 10).abs() * has
    offset = err.sum() / len(has)
    # where and how each new pitch begins
    new = torch.isfinite(y["begins"])
    late = (out["begins"] - torch.nan_to_num(y["begins"]) / 10).abs() * new
    begins = late.sum() / len(has)
    made = (bce(out["made"], y["made"].float(), reduction="none") * (y["made"] >= 0)).sum() / len(has)
    total = pitch + .05 * sounding + onset + .3 * early + .4 * kinds + .5 * offset + begins + .3 * made
    return total, dict(pitch=pitch, sounding=sounding, onset=onset, early=early, kinds=kinds, offset=err.sum() / has.sum().clamp(min=1) * 10,
                       begins=late.sum() / new.sum().clamp(min=1) * 10, made=made)
