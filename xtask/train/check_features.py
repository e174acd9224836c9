#!/usr/bin/env python3
"""Are the patches made on the accelerator those of `features.patches`?  Exits 1 where they are not."""
import sys

import numpy as np
import torch

import examples
import features as F

d = examples.make(7)[0]
dev = "cuda" if torch.cuda.is_available() else "cpu"
there = F.patches_torch(d["sound"], d["times"], d["known"], dev)
here = F.patches(d["sound"].astype(np.float64), d["times"], d["known"])
worst = [float(np.abs(a.cpu().numpy().astype(float) / s - b).max()) for a, b, s in zip(there, here, (255, 255, 1))]
mean = [float(np.abs(a.cpu().numpy().astype(float) / s - b).mean()) for a, b, s in zip(there, here, (255, 255, 1))]
print("largest difference of spectra, envelope, levels:", worst, "mean", mean)
sys.exit(max(mean) > .004)
