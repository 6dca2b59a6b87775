"""The doors through which sound and time enter a session.

The same runner serves a sound card, a browser's stream, a sound file and a virtual pupil: each is
an implementation of these protocols. All positions are samples at ``SESSION_RATE`` on one clock,
counted from 0 at the start of the session; what is played and what is recorded share it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from oralquiz.speak.clip import Samples

SESSION_RATE = 16_000
"""Hertz. The recogniser's own rate, so that one clock needs no conversion between rates."""

BLOCK = SESSION_RATE // 50
"""Samples in one block of the microphone: 20 ms."""


class Clock(Protocol):
    def now(self) -> int:
        """The position of the next sample that the microphone will deliver."""
        ...


class AudioOut(Protocol):
    def play(self, samples: Samples, at: int) -> int:
        """Have ``samples`` (n,) start at position ``at``, or as soon as possible after it.

        Returns at once, with the position at which the first sample leaves the speaker as the
        microphone's clock counts it (the device's delay is taken into account). Raises AudioError.
        """
        ...

    def stop(self) -> None:
        """Silence whatever is still playing."""
        ...


@dataclass(frozen=True, eq=False)
class Block:
    """``samples`` (n,) recorded from position ``start`` on."""

    start: int
    samples: Samples


class AudioIn(Protocol):
    def read(self) -> Block | None:
        """Wait for the next block of BLOCK samples; None when the stream has ended.

        Blocks are contiguous: each starts where the one before ended. A gap in the device's
        stream is filled with zeros by the implementation and counted. Raises AudioError.
        """
        ...
