"""Makes the small encoded files in tests/fixtures from a sound of our own: three decaying tones.

    python fixtures.py FOLDER [FFMPEG]

Deterministic up to the encoders of the ffmpeg in use. tests/load.rs makes the same sound and
compares what is read with it.
"""
import math
import struct
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

RATE = 16_000
FRAMES = 9_600
STARTS = (1_600, 4_000, 6_400)  # frames
TONES = (196.0, 293.66, 392.0)  # Hz

FILES = {
    "tones.mp3": ["-c:a", "libmp3lame", "-b:a", "48k"],
    "tones.ogg": ["-c:a", "libvorbis", "-q:a", "3"],
    "tones-aac.m4a": ["-c:a", "aac", "-b:a", "48k"],
    "tones.aac": ["-c:a", "aac", "-b:a", "48k", "-f", "adts"],
    "tones-alac.m4a": ["-c:a", "alac"],
    "tones.flac": ["-c:a", "flac"],
    "tones.aiff": ["-c:a", "pcm_s16be"],
    "tones.caf": ["-c:a", "pcm_s16be"],
}


def sound():
    """The sound as whole numbers of 16 bits."""
    out = []
    for n in range(FRAMES):
        s = 0.0
        for start, hz in zip(STARTS, TONES):
            if n >= start:
                t = (n - start) / RATE
                s += 0.3 * math.exp(-8.0 * t) * math.sin(2.0 * math.pi * hz * t)
        out.append(int(math.floor(s * 32767.0 + 0.5)))
    return out


def main():
    folder = Path(sys.argv[1])
    ffmpeg = sys.argv[2] if len(sys.argv) > 2 else "ffmpeg"
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as temporary:
        source = Path(temporary) / "tones.wav"
        with wave.open(str(source), "wb") as w:
            w.setnchannels(1)
            w.setsampwidth(2)
            w.setframerate(RATE)
            x = sound()
            w.writeframes(struct.pack("<%dh" % len(x), *x))
        for name, options in FILES.items():
            command = [ffmpeg, "-y", "-v", "error", "-i", str(source), "-map_metadata", "-1",
                       "-fflags", "+bitexact", "-flags:a", "+bitexact", *options, str(folder / name)]
            subprocess.run(command, check=True)
            print(name, (folder / name).stat().st_size, "bytes")


if __name__ == "__main__":
    main()
