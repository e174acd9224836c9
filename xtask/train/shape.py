"""Sizes of the network: `src/analysis/pluck_net/weights.rs` holds the same."""
FIRST, SECOND = 16, 20  # channels along the pitch axis
PITCH, WEIGHED = 32, 24  # channels of a pitch: from its partials and first look around; from the second
BEAT, CONTEXT = 24, 32  # channels along time, and what is kept of them
HIDDEN = 40
KINDS = 6
# told of every pitch: newly sounded, sounding, where it begins, and how: hammered or pulled, slid, harmonic, dead
SAYS = 7
# partials 1/3 1/2 1 .. 12 14 16 of a pitch, in thirds of a semitone
PARTIALS = [-57, -36, 0, 36, 57, 72, 84, 93, 101, 108, 114, 120, 125, 129, 137, 144]
# pitches a pitch is weighed against, semitones; the second time
NEIGHBOURS = [-24, -19, -12, -7, -5, -2, -1, 0, 1, 2, 5, 7, 12, 19, 24]
AGAIN = [-19, -12, -7, -5, 0, 5, 7, 12, 19]
