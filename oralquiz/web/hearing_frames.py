"""What this program and the processes that hear for it say to each other, over a pipe each way.

A frame is its length in bytes (32 bits, little-endian) and a pickled list of (number of a round,
what is said). Both ends are this program; nobody else has the pipes.
"""

from __future__ import annotations

import pickle
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from oralquiz.listen import Recognizer

HEAD = struct.Struct("<I")
NO_ROUND = 0


@dataclass(frozen=True)
class Begin:
    """What a process that hears begins with. ``recognizer`` can be pickled."""

    recognizer: Callable[[], Recognizer]


@dataclass(frozen=True)
class TimeAnAnswer:
    """How long does decoding an answer take?"""


@dataclass(frozen=True)
class AnswerTakes:
    """Seconds of a core that decoding an answer takes."""

    answer_s: float


@dataclass(frozen=True)
class Forget:
    """The round is over, and nothing more will be said to it."""


@dataclass(frozen=True)
class Forgotten:
    """The same, from the other side."""


@dataclass(frozen=True)
class Opened:
    """The round is opened."""


@dataclass(frozen=True)
class NotOpened:
    """The round cannot begin."""

    why: str


def frame(said: Sequence[tuple[int, Any]]) -> bytes:
    """``said`` as it travels."""
    data = pickle.dumps(said, pickle.HIGHEST_PROTOCOL)
    return HEAD.pack(len(data)) + data


def unpacked(data: bytes) -> Sequence[tuple[int, Any]]:
    """What a frame without its head says."""
    said: Sequence[tuple[int, Any]] = pickle.loads(data)
    return said
