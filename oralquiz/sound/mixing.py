"""Sounds that lie on one timeline, several at once where they overlap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from oralquiz.sound.clip import Samples


class Mixer:
    """Mixes sounds into the pieces of one timeline, in the order in which they were added."""

    def __init__(self) -> None:
        self._sounds: list[tuple[int, Samples]] = []

    def add(self, samples: Samples, at: int) -> None:
        """``samples`` (n,) sound from position ``at`` on."""
        self._sounds.append((at, samples))

    def stop(self, at: int) -> None:
        """Nothing that was added sounds from position ``at`` on."""
        self._sounds = [(start, sound[: max(0, at - start)]) for start, sound in self._sounds]

    def move(self, by: int) -> None:
        """Everything sounds ``by`` positions later (or earlier, below 0)."""
        self._sounds = [(start + by, sound) for start, sound in self._sounds]

    def clear(self) -> None:
        """Nothing sounds."""
        self._sounds = []

    def sounding(self, position: int) -> bool:
        """Whether something that began before ``position`` has not yet been mixed to its end."""
        return any(start < position for start, _ in self._sounds)

    def silent(self, start: int, end: int) -> bool:
        """Whether nothing sounds from position ``start`` up to ``end``; forgets what is over."""
        for at, sound in self._sounds:
            if at < end and at + len(sound) > start:
                return False
        if self._sounds:
            self._sounds = [(at, sound) for at, sound in self._sounds if at + len(sound) > end]
        return True

    def mix(self, into: NDArray[np.floating], start: int) -> None:
        """Add what sounds from position ``start`` on to ``into`` (n,); forget what is over then."""
        end = start + len(into)
        for at, sound in self._sounds:
            low, high = max(start, at), min(end, at + len(sound))
            if low < high:
                into[low - start : high - start] += sound[low - at : high - at]
        self._sounds = [(at, sound) for at, sound in self._sounds if at + len(sound) > end]
