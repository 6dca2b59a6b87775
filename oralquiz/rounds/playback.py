"""What is played in a session, on the session's clock."""

from __future__ import annotations

import numpy as np

from oralquiz.rounds.ports import AudioOut, EchoFilter
from oralquiz.sound import BLOCK, Mixer, Samples, quantise

MOST_AT_ONCE = 50
"""The most blocks of a stream (one second) that are taken in one go."""

SILENCE: Samples = np.zeros(MOST_AT_ONCE * BLOCK, dtype=np.float32)
SILENCE.setflags(write=False)


class Playback:
    """Plays through ``out`` and knows what sounds at every sample: for the recording, and for the
    ``echo_filter``, which takes it out of what the microphone hears (None: the two cannot meet).
    """

    def __init__(self, out: AudioOut, echo_filter: EchoFilter | None) -> None:
        self._out = out
        self._echo_filter = echo_filter
        self._sounds = Mixer()

    def play(self, samples: Samples, at: int) -> int:
        """Start ``samples`` (n,) at ``at``, or as soon after it as possible; gives the place."""
        samples = quantise(samples)
        start = self._out.play(samples, at)
        self._sounds.add(samples, start)
        if self._echo_filter is not None:
            self._echo_filter.played(samples, start)
        return start

    def stop(self, at: int) -> None:
        """Nothing sounds from position ``at`` on."""
        self._out.stop()
        if self._echo_filter is not None:
            self._echo_filter.stopped(at)
        self._sounds.stop(at)

    def mixed(self, start: int, count: int) -> Samples:
        """What sounds in the ``count`` samples from ``start`` on; to be asked for in order."""
        if self._sounds.silent(start, start + count):
            return SILENCE[:count]
        said = np.zeros(count, dtype=np.float32)
        self._sounds.mix(said, start)
        return said

    def cleaned(self, start: int, heard: Samples) -> Samples:
        """The blocks ``heard`` (k * BLOCK,) from ``start`` on without what was played."""
        if self._echo_filter is None:
            return heard
        places = range(0, len(heard), BLOCK)
        cleaned = [self._echo_filter.clean(start + at, heard[at : at + BLOCK]) for at in places]
        return cleaned[0] if len(cleaned) == 1 else np.concatenate(cleaned)
