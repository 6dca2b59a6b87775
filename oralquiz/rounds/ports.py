"""The ports of a round: everything that the runner needs from outside.

The same runner serves a sound card, a browser's stream, a sound file and a virtual pupil: each is
an implementation of these protocols. All positions are samples at ``SESSION_RATE`` on one clock,
counted from 0 at the start of the session; what is played and what is recorded share it.
"""

from __future__ import annotations

from typing import Protocol

from oralquiz.rounds.events import Event
from oralquiz.rounds.round import Turn
from oralquiz.sound import Block, Clip, Samples
from oralquiz.speak import Dictation


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


class EchoFilter(Protocol):
    """Takes what is played out of what the microphone hears: see audio/echo_canceller.py."""

    def played(self, samples: Samples, at: int) -> None: ...

    def stopped(self, at: int) -> None: ...

    def clean(self, start: int, heard: Samples) -> Samples: ...


class Reader(Protocol):
    """Turns sums and phrases into sound at the session's rate."""

    def dictation(self, turn: Turn) -> Dictation: ...

    def phrase(self, text: str) -> Clip: ...


class Recorder(Protocol):
    """Keeps events and sound as they happen."""

    def event(self, at: int, event: Event) -> None: ...

    def sound(self, said: Samples, heard: Samples) -> None: ...
