"""An echo filter for many tablets at once: it hears nothing while the sum is read aloud.

EchoCanceller takes the reading out of the microphone and lets an early answer through, at the cost
of a few hundredths of a core for each device. This one costs next to nothing, so that a small
computer can serve a whole class: until the reading has died away, nothing is listened to. The
lamp tells the pupils when to speak.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from oralquiz.sound import SESSION_RATE, Samples

TAIL_S = 0.12
"""Seconds for which a reading goes on sounding in the room, loud enough to be taken for a voice,
and by which the known delay may be wrong."""

ROOM = 100
"""Blocks (2 s) in which the room's own noise is looked for."""

QUIET = 4
"""The quietest of every so many blocks are taken for the room without a voice."""


class HalfDuplexGate:
    """Serves the runner as EchoCanceller does, but is deaf while something sounds: it puts the
    room's own noise of a moment before in its place, so that a listener's measure of quiet stays
    right."""

    def __init__(self) -> None:
        self._spans: list[tuple[int, int]] = []
        self._room: deque[Samples] = deque(maxlen=ROOM)
        self._noise: list[Samples] = []
        self._rng = np.random.default_rng(0)

    def played(self, samples: Samples, at: int) -> None:
        """``samples`` (n,) sound from session sample ``at`` on."""
        self._spans.append((at, at + len(samples) + round(TAIL_S * SESSION_RATE)))
        self._noise = []  # chosen when the sound begins: what is heard until then counts

    def stopped(self, at: int) -> None:
        """Everything that sounds stops at session sample ``at``."""
        end = at + round(TAIL_S * SESSION_RATE)
        self._spans = [(first, min(last, end)) for first, last in self._spans if first < at]

    def clean(self, start: int, heard: Samples) -> Samples:
        """The block ``heard`` (n,) from session sample ``start`` on, without what sounds."""
        if self._spans:
            self._spans = [span for span in self._spans if span[1] > start]
        if not self._spans or all(first >= start + len(heard) for first, _ in self._spans):
            self._room.append(heard)
            return heard
        if not self._noise:
            quietest = sorted(self._room, key=lambda block: float(np.dot(block, block)))
            self._noise = quietest[: max(1, len(quietest) // QUIET)]
        if not self._noise:  # it sounds from the very first block on
            return np.zeros_like(heard)
        return self._noise[self._rng.integers(len(self._noise))]
