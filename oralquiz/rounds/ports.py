"""The ports through which sound and time enter a session.

The same runner serves a sound card, a browser's stream, a sound file and a virtual pupil: each is
an implementation of these protocols. All positions are samples at ``SESSION_RATE`` on one clock,
counted from 0 at the start of the session; what is played and what is recorded share it.
"""

from __future__ import annotations

from typing import Protocol

from oralquiz.sound import Block, Samples


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


class AudioIn(Protocol):
    def read(self) -> Block | None:
        """Wait for the next block of BLOCK samples; None when the stream has ended.

        Blocks are contiguous: each starts where the one before ended. A gap in the device's
        stream is filled with zeros by the implementation and counted. Raises AudioError.
        """
        ...
