"""The last seconds of a microphone, so that an answer can be cut out once it was heard."""

from __future__ import annotations

from collections import deque

import numpy as np

from oralquiz.sound import BLOCK, SESSION_RATE, Samples

AROUND_S = 0.4
"""Seconds of sound before and after an answer when the teacher listens to it."""

LONGEST_S = 12.0


class RecentAudio:
    """Keeps the last LONGEST_S seconds of blocks."""

    def __init__(self) -> None:
        self._blocks: deque[Samples] = deque(maxlen=round(LONGEST_S * SESSION_RATE / BLOCK))
        self._end = 0

    def add(self, samples: Samples) -> None:
        self._blocks.append(samples)
        self._end += len(samples)

    def cut(self, onset: int, offset: int) -> Samples:
        """A copy of ``onset`` .. ``offset`` and a little around it, as far as it is still here."""
        around = round(AROUND_S * SESSION_RATE)
        start = self._end - sum(map(len, self._blocks))
        first, last = max(start, onset - around), min(self._end, offset + around)
        if not self._blocks or last <= first:
            return np.zeros(0, dtype=np.float32)
        return np.concatenate(list(self._blocks))[first - start : last - start].copy()
