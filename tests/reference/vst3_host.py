"""A second, independent host for the checks: the VST3 bundle in pedalboard.

The host knows nothing of Thumbline: it loads the bundle, moves parameters and reads sound. A
project's state reaches the plug-in as a .vstpreset (Steinberg's documented container: header, class
id, chunk list), as a host that stores presets would hand it over.

pedalboard is under the GPL. It is a tool of these checks only: nothing of it is linked into
Thumbline or shipped with it.
"""
import json
import os
import re
import struct
import sys
import time

import numpy as np
import pedalboard
from pedalboard import _pedalboard

# The host asks every parameter for a thousand texts. MIDI controllers are two thousand parameters
# in a VST3, and no check moves them.
_pedalboard.PARAMETER_NAME_REGEXES_TO_IGNORE.add(re.compile(r"MIDI Ch\."))

RATE = 48_000
BLOCK = 512


def bundle():
    """The bundle to be checked; leaves with 77 where there is none."""
    path = os.path.join(os.environ.get("THUMBLINE_BUNDLES", ""), "Thumbline.vst3")
    if not os.path.exists(path):
        print("there is no VST3 bundle to check")
        sys.exit(77)
    return path


def unpack(preset):
    """Class id and component state of a .vstpreset."""
    preset = bytes(preset)
    assert preset[:4] == b"VST3", preset[:4]
    class_id, at = preset[8:40], struct.unpack("<q", preset[40:48])[0]
    assert preset[at:at + 4] == b"List"
    for i in range(struct.unpack("<i", preset[at + 4:at + 8])[0]):
        name, start, size = struct.unpack("<4sqq", preset[at + 8 + 20 * i:at + 28 + 20 * i])
        if name == b"Comp":
            return class_id, preset[start:start + size]
    raise AssertionError("no component state")


def pack(class_id, state):
    """A .vstpreset of that state."""
    head = 48
    return (b"VST3" + struct.pack("<i", 1) + class_id + struct.pack("<q", head + len(state)) + state
            + b"List" + struct.pack("<i", 1) + struct.pack("<4sqq", b"Comp", head, len(state)))


class Session:
    """One instance in the host."""

    def __init__(self, path):
        self.plugin = pedalboard.load_plugin(path)
        self.set(through=0.0)
        self.run(0.05)

    def set(self, **values):
        """Sets parameters by their ids, normalised 0 to 1, as a host's automation does."""
        for name, value in values.items():
            names = {"through": "hear_the_input", "speed": "speed"}
            self.plugin.parameters[names.get(name, name)].raw_value = value

    def speed(self, percent):
        """Sets the speed, 25 to 150 %."""
        self.plugin.speed = float(percent)

    def run(self, seconds):
        """Renders silence through the plug-in; both outputs."""
        silence = np.zeros((2, int(seconds * RATE)), np.float32)
        return self.plugin.process(silence, RATE, buffer_size=BLOCK, reset=False)

    def state(self):
        """Class id, the whole state, the session inside it."""
        class_id, state = unpack(self.plugin.preset_data)
        state = json.loads(state)
        return class_id, state, json.loads(state["fields"]["session"])

    def restore(self, session):
        """Hands a session over, as a project that is opened."""
        class_id, state, _ = self.state()
        state["fields"]["session"] = json.dumps(session)
        self.plugin.preset_data = pack(class_id, json.dumps(state).encode())
        self.until_whole()

    def until_whole(self):
        """Waits until the recording is decoded: its identity is known then."""
        for _ in range(600):
            self.run(0.01)
            if (self.state()[2].get("recording") or {}).get("hash"):
                return
            time.sleep(0.1)
        raise AssertionError("the recording is never whole")

    def start(self):
        """Stops and starts."""
        self.plugin.play = False
        self.run(0.05)
        self.plugin.play = True
