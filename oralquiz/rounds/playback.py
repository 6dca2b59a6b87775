"""What is played in a session, on the session's clock."""

from __future__ import annotations

import numpy as np

from oralquiz.rounds.ports import AudioOut, EchoFilter
from oralquiz.sound import BLOCK, Mixer, Samples, quantise

SILENCE: Samples = np.zeros(BLOCK, dtype=np.float32)
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
        """Have ``samples`` (n,) start at position ``at`` or as soon as possible after it; where."""
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
        """What sounds in the ``count`` samples from ``start`` on. Asked for in order."""
        if self._sounds.silent(start, start + count):
            return SILENCE
        said = np.zeros(count, dtype=np.float32)
        self._sounds.mix(said, start)
        return said

    def cleaned(self, start: int, heard: Samples) -> Samples:
        """The block ``heard`` (n,) from ``start`` on without what was played."""
        return heard if self._echo_filter is None else self._echo_filter.clean(start, heard)
