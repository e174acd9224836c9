#!/usr/bin/env python3
"""Renders single plucks of a General MIDI soundfont (FluidR3, MIT licence) into one file.

    samples.py SOUNDFONT.sf2 OUT.xz

Guitars (24 nylon, 25 steel) at every other semitone and three velocities; other plucked strings
sparsely, for variety.  Mono, 22,050 Hz, 16 bits.
"""
import json
import lzma
import sys

import fluidsynth
import numpy as np
import soxr

PROGRAMS = {24: (2, (50, 85, 115)), 25: (2, (50, 85, 115)), 26: (4, (95,)), 27: (4, (95,)), 46: (4, (95,)), 105: (4, (95,)), 15: (4, (95,))}


def main(font, out):
    s = fluidsynth.Synth(gain=.5, samplerate=44100.0)
    for k, v in (("synth.reverb.active", 0), ("synth.chorus.active", 0)):
        s.setting(k, v)
    sid = s.sfload(font)
    keep = {}
    for prog, (step, vels) in PROGRAMS.items():
        s.program_select(0, sid, 0, prog)
        for midi in range(36, 90, step):
            for vel in vels:
                s.get_samples(4096)
                s.noteon(0, midi, vel)
                secs = 2.4 if prog in (24, 25) else 1.6
                st = s.get_samples(int(secs * 44100)).reshape(-1, 2).astype(np.float64).mean(axis=1)
                s.noteoff(0, midi)
                s.cc(0, 120, 0)
                s.get_samples(2048)
                x = soxr.resample(st, 44100, 22050)
                x *= 30000 / (np.abs(x).max() + 1e-9)
                keep["%d_%d_%d_1" % (prog, midi, vel)] = x.astype(np.int16)
    pack(out, keep)


def pack(out, sounds):
    """writes {name: samples of 16 bits} as the trainers read it (README.md, "The sampled sources")"""
    coded = {}
    for name in sorted(sounds):
        step = ((np.diff(sounds[name].astype(np.int32), prepend=0) + 32768) % 65536 - 32768).astype(np.int16).astype(np.int32)
        coded[name] = ((step << 1) ^ (step >> 15)).astype(np.uint16)
    names = json.dumps([(name, len(c)) for name, c in coded.items()]).encode()
    with lzma.open(out, "wb", preset=1) as f:
        f.write(len(names).to_bytes(8, "little") + names)
        for plane in (8, 0):
            for c in coded.values():
                f.write((c >> plane & 255).astype(np.uint8).tobytes())


if __name__ == "__main__":
    main(*sys.argv[1:3])
