"""A guard for many tablets at once: it hears nothing while the sum is read.

EchoGuard takes the reading out of the microphone and lets an early answer through, at the price
of some hundredths of a core for each device. For a whole class on a small computer this one costs
nothing: what is heard before the reading has died away is not listened to. The lamp tells the
pupils when to speak.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from oralquiz.sound import SESSION_RATE, Samples

TAIL_S = 0.12
"""Seconds for which a reading stays in the room's air, loud enough to be taken for a voice, and
by which the sound's delay may be known wrongly."""

ROOM = 100
"""Blocks (2 s) in which the room's own noise is looked for."""

QUIET = 4
"""The quietest of every so many blocks are taken for the room without a voice."""


class HalfDuplexGate:
    """Does what EchoGuard does for the runner, without hearing: the room's own noise, from
    moments before, stands where something sounds, so that a listener's idea of quiet stays."""

    def __init__(self) -> None:
        self._spans: list[tuple[int, int]] = []
        self._room: deque[tuple[float, Samples]] = deque(maxlen=ROOM)
        self._noise: list[Samples] = []
        self._rng = np.random.default_rng(0)

    def played(self, samples: Samples, at: int) -> None:
        """``samples`` sound from session sample ``at`` on."""
        self._spans.append((at, at + len(samples) + round(TAIL_S * SESSION_RATE)))
        self._noise = []  # chosen when the sound begins: what is heard until then counts

    def stopped(self, at: int) -> None:
        """What sounds stops at ``at``."""
        end = at + round(TAIL_S * SESSION_RATE)
        self._spans = [(first, min(last, end)) for first, last in self._spans if first < at]

    def clean(self, start: int, heard: Samples) -> Samples:
        """The block that begins at ``start``, without what sounds."""
        self._spans = [span for span in self._spans if span[1] > start]
        if not any(first < start + len(heard) for first, _ in self._spans):
            self._room.append((float(np.dot(heard, heard)), heard))
            return heard
        if not self._noise:
            quietest = sorted(self._room, key=lambda one: one[0])
            self._noise = [block for _, block in quietest[: max(1, len(quietest) // QUIET)]]
        if not self._noise:  # it sounds from the very first block on
            return np.zeros_like(heard)
        return self._noise[self._rng.integers(len(self._noise))]
