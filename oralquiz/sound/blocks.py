"""The session's own rate, and the blocks in which a microphone delivers sound."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.sound.clip import Samples

SESSION_RATE = 16_000
"""Hertz. The recogniser's own rate, so that one clock needs no conversion between rates."""

BLOCK = SESSION_RATE // 50
"""Samples in one block of the microphone: 20 ms."""


def samples_in(duration_s: float) -> int:
    """How many samples of a session last ``duration_s`` seconds."""
    return round(duration_s * SESSION_RATE)


@dataclass(frozen=True, eq=False)
class Block:
    """``samples`` (n,) recorded from position ``start`` on."""

    start: int
    samples: Samples
